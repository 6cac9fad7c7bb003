"""Signals of a run in the foreground: what ends it, and what the loss of its terminal means."""

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Protocol

Handler = Callable[[int, FrameType | None], None]

# A key that halts the program in the foreground must not halt a scan.
IGNORED = (signal.SIGTSTP, signal.SIGTTIN, signal.SIGTTOU)


class Ends(Protocol):
    """Who is told that the run is to end. Called between any two steps: it must not wait."""

    def stop(self, source: str) -> None:
        """End the run: category 1, then category 0."""
        ...

    def lost(self) -> None:
        """The terminal is gone."""
        ...


@contextmanager
def heeded(ends: Ends) -> Iterator[None]:
    """Have Ctrl-C and SIGTERM end the run, and SIGHUP tell that its terminal is lost.

    Ctrl-Z does nothing meanwhile. Only in the main thread. Afterwards they do what they did before.
    """
    handlers: dict[signal.Signals, Handler | signal.Handlers] = {
        signal.SIGINT: lambda _number, _frame: ends.stop("Ctrl-C"),
        signal.SIGTERM: lambda _number, _frame: ends.stop("SIGTERM"),
        signal.SIGHUP: lambda _number, _frame: ends.lost(),
        **dict.fromkeys(IGNORED, signal.SIG_IGN),
    }
    before = {number: signal.signal(number, handler) for number, handler in handlers.items()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
