"""The operator on the terminal: what is asked, what is typed, and who ends the run."""

from collections import deque
from itertools import count
from typing import NamedTuple

from drivers.link import Clock
from sequences.prompt import OPERATOR_ABORT, OPERATOR_HOLD, OPERATOR_STOP, Answer, Prompt

SAYS = {"y": True, "yes": True, "n": False, "no": False}
STOP, HOLD = "stop", "hold"
HOW = "type y or n and your name, as in: y Ada Example"
TERMINAL = "terminal"
UNNAMED = "asked at the terminal, no name given"


class Asked(NamedTuple):
    """A prompt, and the stand time (ns) at which it was put."""

    prompt: Prompt
    put: int


class TerminalOperator:
    """Takes lines that somebody types, and signals, to answers that the next scan sees.

    Any thread and any signal handler may call it; nothing waits. Unattended, a terminal that is
    lost ends nothing. An answer counts for a prompt only where its line was begun once that prompt
    had been shown: nobody answers what nobody has read.
    """

    def __init__(self, clock: Clock, *, unattended: bool = False) -> None:
        self.asked: Asked | None = None
        self._clock = clock
        self._unattended = unattended
        self._answers: deque[Answer] = deque()
        self._shown: int | None = None
        self._read: int | None = None
        self._by_hand = count()
        self._ending = False

    def put(self, prompt: Prompt, t: int) -> None:
        """Have a prompt stand open; what was asked before no longer matters."""
        self.asked = Asked(prompt, t)

    def shown(self, put: int) -> None:
        """Know that the prompt put at this stand time (ns) can now be read."""
        self._shown = put

    def begun(self) -> None:
        """Know that a line is begun: whoever types it has read what is shown now."""
        self._read = self._shown

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
        if word == STOP:
            return self._stop_typed(name)
        if word == HOLD:
            self._say(OPERATOR_HOLD, name, TERMINAL if name else UNNAMED)
            return "a heat run that soaks will hold; nothing else can"
        if word not in SAYS:
            return f"not understood; {HOW}" if word else ""
        return self._answer(SAYS[word], name)

    def stop(self, why: str) -> None:
        """End the run for what came: stop category 1, however often it comes."""
        self._ending = True
        self._say(OPERATOR_STOP, "", why)

    def stop_by_hand(self, why: str, by: str = "") -> bool:
        """End the run as somebody wants it: stop category 1, and category 0 when asked once more.

        Return whether it was asked before.
        """
        self._ending = True
        again = next(self._by_hand) > 0
        self._say(OPERATOR_ABORT if again else OPERATOR_STOP, by, why)
        return again

    def lost(self, why: str = "the terminal was lost") -> None:
        """Nobody can be asked any more: stop category 1, unless the stand may be left alone."""
        if not self._unattended and not self._ending:
            self.stop(why)

    def _stop_typed(self, name: str) -> str:
        if self.stop_by_hand(TERMINAL if name else UNNAMED, name):
            return "everything opens at once"
        return "stopping: current and voltage to zero, then both contactors open"

    def _answer(self, value: bool, name: str) -> str:
        asked = self.asked
        if asked is None:
            return "nothing is asked"
        if asked.put != self._read:
            return f"asked only since you began to type: read it; {HOW}"
        if not name:
            return f"every answer needs its name; {HOW}"
        if self.asked is asked:
            self.asked = None
        self._say(asked.prompt.id, name, TERMINAL, value, asked.put)
        return ""

    def _say(
        self, prompt: str, by: str, source: str, value: bool = True, saw: int | None = None
    ) -> None:
        now = self._clock.now()
        self._answers.append(Answer(prompt, by, source, now, value, now if saw is None else saw))


def is_answer(line: str) -> bool:
    """Return whether a line, perhaps half typed, is none of a stop or a hold."""
    word = line.strip().partition(" ")[0].casefold()
    return not word or not any(wish.startswith(word) for wish in (STOP, HOLD))
