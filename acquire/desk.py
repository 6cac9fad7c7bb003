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
from acquire.terminal_operator import HOW, TerminalOperator
from sequences.expected import Expected

PAINTED_EVERY_S = 0.25
# Where the output is no terminal: a line now and then.
LINE_EVERY_S = 30.0


class Desk:
    """What is typed goes to the operator, what happens to the screen, each in its own thread.

    A terminal shows events above and how the run stands below them, painted anew in place; what is
    no terminal gets lines. Where the result is to be JSON all else goes to standard error.
    """

    def __init__(
        self, expected: Expected, clock: WallClock, *, unattended: bool, as_json: bool
    ) -> None:
        self.operator = TerminalOperator(clock, unattended=unattended)
        self.follower = Follower()
        self._expected = expected
        self._console = Terminal(stderr=as_json)
        self._report = Report(self._console)
        self._typing = Typing(self._heard, self.operator.lost)
        self._said = ""
        self._live = Live(console=self._console, auto_refresh=False, transient=True)
        every_s = PAINTED_EVERY_S if self._console.is_terminal else LINE_EVERY_S
        self._teller = Teller(self._paint, every_s, clock)

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
            self._console.print(Text(HOW, MANDATORY))

    def _heard(self, line: str) -> None:
        said = self.operator.heard(line)
        self._said = said
        if said and not self._console.is_terminal:
            self._teller.show(lambda: self._console.print(Text(said)))

    def _paint(self) -> None:
        at = self.follower.standing
        if at is None:
            return
        if not self._console.is_terminal:
            self._console.print(status_line(at, self._expected), soft_wrap=True)
            return
        self._live.start()
        size = (self._console.width, self._console.height)
        picture = frame(at, self._expected, size, self._typing.line, self._said)
        self._live.update(picture, refresh=True)
