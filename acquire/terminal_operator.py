"""The operator on the terminal: what is asked, what is typed, and who ends the run."""

from collections import deque
from typing import NamedTuple

from drivers.link import Clock
from sequences.prompt import OPERATOR_ABORT, OPERATOR_HOLD, OPERATOR_STOP, Answer, Prompt

SAYS = {"y": True, "yes": True, "n": False, "no": False}
HOW = "type y or n and your name, as in: y Ada Example"
TERMINAL = "terminal"


class Asked(NamedTuple):
    """A prompt, and the stand time (ns) at which it was put."""

    prompt: Prompt
    put: int


class TerminalOperator:
    """Takes lines that somebody types, and signals, to answers that the next scan sees.

    Any thread and any signal handler may call it; nothing waits. Unattended, a terminal that is
    lost ends nothing.
    """

    def __init__(self, clock: Clock, *, unattended: bool = False) -> None:
        self.asked: Asked | None = None
        self.name = ""
        self._clock = clock
        self._unattended = unattended
        self._answers: deque[Answer] = deque()
        self._stops = 0

    def put(self, prompt: Prompt, t: int) -> None:
        """Have a prompt stand open; what was asked before no longer matters."""
        self.asked = Asked(prompt, t)

    def answers(self) -> list[Answer]:
        """Return what was answered since the last call."""
        answers = []
        while self._answers:
            answers.append(self._answers.popleft())
        return answers

    def heard(self, line: str) -> str:
        """Take a line that was typed; return what to say back to whoever typed it."""
        word, _, name = line.strip().partition(" ")
        word, name = word.casefold(), name.strip()
        if word == "stop":
            self.stop(TERMINAL)
            return "stopping: current and voltage to zero, then both contactors open"
        if word == "hold":
            self._say(OPERATOR_HOLD, name or self.name, True, self._clock.now())
            return "a heat run that soaks will hold; nothing else can"
        if word not in SAYS:
            return f"not understood; {HOW}" if word else ""
        return self._answer(SAYS[word], name)

    def stop(self, source: str) -> None:
        """End the run: stop category 1, and category 0 when asked once more."""
        what = OPERATOR_ABORT if self._stops else OPERATOR_STOP
        self._stops += 1
        self._say(what, self.name or source, True, self._clock.now(), source)

    def lost(self) -> None:
        """Nobody can be asked any more: stop category 1, unless the stand may be left alone."""
        if not self._unattended and not self._stops:
            self.stop("terminal lost")

    def _answer(self, value: bool, name: str) -> str:
        asked = self.asked
        if asked is None:
            return "nothing is asked"
        if not (name or self.name):
            return f"an answer has a name; {HOW}"
        self.name = name or self.name
        if self.asked is asked:
            self.asked = None
        self._say(asked.prompt.id, self.name, value, asked.put)
        return ""

    def _say(self, prompt: str, by: str, value: bool, saw: int, source: str = TERMINAL) -> None:
        self._answers.append(Answer(prompt, by, source, self._clock.now(), value, saw))
