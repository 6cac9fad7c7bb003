"""Signals of a run in the foreground."""

import os
import signal

from acquire.signals import heeded


class Ends:
    """What was asked of it."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def stop(self, why: str) -> None:
        self.asked.append(why)

    def stop_by_hand(self, why: str) -> None:
        self.asked.append(f"by hand: {why}")

    def lost(self) -> None:
        self.asked.append("lost")


def test_each_does_what_it_should_and_what_it_did_before_afterwards() -> None:
    ends = Ends()
    numbers = (signal.SIGINT, signal.SIGQUIT, signal.SIGTERM, signal.SIGHUP, signal.SIGTSTP)
    before = [signal.getsignal(number) for number in numbers]
    with heeded(ends):
        for number in numbers:
            os.kill(os.getpid(), number)
    assert ends.asked == [
        "by hand: SIGINT came (Ctrl-C)",
        "SIGQUIT came (Ctrl-\\)",
        "SIGTERM came",
        "lost",
    ]
    assert [signal.getsignal(number) for number in numbers] == before
