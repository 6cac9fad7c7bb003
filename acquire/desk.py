"""The desk of a run in the foreground: keyboard and screen, and who sits there."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import Any

from rich.live import Live
from rich.text import Text

from acquire.clock import WallClock
from acquire.display import Follower, frame, status_line
from acquire.keyboard import Typing, listening
from acquire.records import Outcome
from acquire.report import Report
from acquire.teller import Teller
from acquire.terminal import MANDATORY, Terminal
from acquire.terminal_operator import HOW, TerminalOperator, is_answer
from sequences.expected import Expected
from sequences.prompt import Answer, Prompt

PAINTED_EVERY_S = 0.25
# Where the output is no terminal: a line now and then.
LINE_EVERY_S = 30.0


class Desk:
    """What is typed goes to the operator, what happens to the screen, each in its own thread.

    A terminal shows events above and how the run stands below them, painted anew in place; what is
    no terminal gets lines. Where the result is to be JSON all else goes to standard error. A screen
    that shows nothing any more is a terminal that is lost.
    """

    def __init__(
        self, expected: Expected, clock: WallClock, *, unattended: bool, as_json: bool
    ) -> None:
        self.operator = TerminalOperator(clock, unattended=unattended)
        self.follower = Follower()
        self._expected = expected
        self._console = Terminal(stderr=as_json)
        self._report = Report(self._console)
        self._typing = Typing(self._heard, self.operator.lost, self.operator.begun)
        self._said = ""
        self._live = Live(console=self._console, auto_refresh=False, transient=True)
        every_s = PAINTED_EVERY_S if self._console.is_terminal else LINE_EVERY_S
        self._teller = Teller(self._paint, every_s, clock, self._unseen)

    def put(self, prompt: Prompt, t: int) -> None:
        """Have a prompt stand open; what was typed or said to the one before no longer matters."""
        self.operator.put(prompt, t)
        self._said = ""
        # A stop half typed is still one.
        if is_answer(self._typing.line):
            self._typing.line = ""

    def answers(self) -> list[Answer]:
        """Return what was answered since the last call."""
        return self.operator.answers()

    def observer(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        """Have an event of stand time `t` (ns) shown; never waits."""
        self._teller.show(lambda: self._show(t, kind, facts))

    @contextmanager
    def manned(self) -> Iterator[None]:
        """Listen and show while a run runs; afterwards the terminal is as it was."""
        with listening(self._typing):
            self._teller.start()
            try:
                yield
            finally:
                self._teller.close()
                with suppress(OSError):
                    self._live.stop()

    def result(self, outcome: Outcome) -> None:
        """Show how the run ended; a terminal that is gone is told nothing."""
        with suppress(OSError):
            self._report.result(outcome)

    def _show(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        self._report.event(t, kind, facts)
        if kind == "prompt" and not self._console.is_terminal:
            self.operator.shown(t)
            self._console.print(Text(HOW, MANDATORY))
        self._refuse_silence()

    def _heard(self, line: str) -> None:
        said = self.operator.heard(line)
        self._said = said
        if said and not self._console.is_terminal:
            self._teller.show(lambda: self._console.print(Text(said)))

    def _paint(self) -> None:
        self._refuse_silence()
        at = self.follower.standing
        if at is None:
            return
        if not self._console.is_terminal:
            self._console.print(status_line(at, self._expected), soft_wrap=True)
            return
        self._live.start()
        picture = frame(at, self._expected, self._console, self._typing.line, self._said)
        self._live.update(picture, refresh=True)
        if at.scan.asked is not None:
            self.operator.shown(at.scan.asked[1])

    def _refuse_silence(self) -> None:
        if self._console.quiet:
            raise BrokenPipeError("nobody reads it any more")

    def _unseen(self, error: Exception) -> None:
        why = f"{type(error).__name__}: {error}"
        self.operator.lost(f"the terminal was lost: nothing is shown there any more ({why})")
