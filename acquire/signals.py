"""Signals of a run in the foreground: what ends it, and what the loss of its terminal means."""

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Protocol

Handler = Callable[[int, FrameType | None], object]

# A key that halts the program in the foreground must not halt a scan.
IGNORED = (signal.SIGTSTP, signal.SIGTTIN, signal.SIGTTOU)


class Ends(Protocol):
    """Who is told that the run is to end. Called between any two steps: it must not wait."""

    def stop(self, why: str) -> None:
        """End the run: category 1, however often it is asked."""
        ...

    def stop_by_hand(self, why: str) -> object:
        """End the run: category 1, and category 0 when asked once more."""
        ...

    def lost(self) -> None:
        """The terminal is gone."""
        ...


@contextmanager
def heeded(ends: Ends) -> Iterator[None]:
    """Have Ctrl-C, Ctrl-\\ and SIGTERM end the run, and SIGHUP tell that its terminal is lost.

    Only Ctrl-C counts as a person who insists: a supervisor may send several signals at once, and a
    category 1 stop is what it wants. Ctrl-Z does nothing meanwhile. Only in the main thread.
    Afterwards they do what they did before.
    """
    handlers: dict[signal.Signals, Handler | signal.Handlers] = {
        signal.SIGINT: lambda _number, _frame: ends.stop_by_hand("SIGINT came (Ctrl-C)"),
        signal.SIGQUIT: lambda _number, _frame: ends.stop("SIGQUIT came (Ctrl-\\)"),
        signal.SIGTERM: lambda _number, _frame: ends.stop("SIGTERM came"),
        signal.SIGHUP: lambda _number, _frame: ends.lost(),
        **dict.fromkeys(IGNORED, signal.SIG_IGN),
    }
    before = {number: signal.signal(number, handler) for number, handler in handlers.items()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
