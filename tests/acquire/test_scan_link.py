"""The outputs' link as the scan uses it."""

from collections.abc import Callable
from threading import Event
from typing import cast

import pytest

from acquire.scan_link import ScanLink
from drivers.link import Block, ConnectionLost, NoAnswer, RegisterLink


class Cut:
    """A link that fails as long as it is cut; its opening waits until it is let go."""

    def __init__(self) -> None:
        self.cut = False
        self.written: list[int] = []
        self.opened = 0
        self.may_open = Event()

    def read(self, block: Block, _timeout_s: float) -> tuple[int, ...]:
        self._try()
        return (0,) * block.count

    def write(self, _address: int, values: tuple[int, ...], _timeout_s: float) -> None:
        self._try()
        self.written += values

    def reopen(self) -> None:
        self.may_open.wait()
        self.opened += 1
        if self.cut:
            raise ConnectionLost("outputs", "open", "refused")

    def close(self) -> None:
        self.written.append(-1)

    def _try(self) -> None:
        if self.cut:
            raise NoAnswer("outputs", "write", "nothing")


def until(reached: Callable[[], bool]) -> None:
    for _ in range(3000):
        if reached():
            return
        Event().wait(0.01)
    raise AssertionError("never")


def test_a_write_that_fails_is_told_and_the_next_does_not_wait_for_the_opening() -> None:
    link = Cut()
    scanned = ScanLink(cast(RegisterLink, link), "outputs")
    link.cut = True
    with pytest.raises(NoAnswer):
        scanned.write(1, (1,), 0.1)
    # The opening hangs: were it made here, so would this test.
    for _ in range(5):
        with pytest.raises(ConnectionLost, match="opened again"):
            scanned.write(1, (0,), 0.1)
    assert link.opened == 0
    scanned.close()
    link.may_open.set()


def test_an_opening_gets_out_once_the_link_is_there_again() -> None:
    link = Cut()
    scanned = ScanLink(cast(RegisterLink, link), "outputs")
    link.may_open.set()
    link.cut = True
    with pytest.raises(NoAnswer):
        scanned.write(1, (1,), 0.1)
    until(lambda: link.opened >= 2)
    link.cut = False

    def written() -> bool:
        try:
            scanned.write(1, (7,), 0.1)
        except ConnectionLost:
            return False
        return True

    until(written)
    assert link.written == [7]
    scanned.close()
    assert link.written[-1] == -1
