"""The thread that owns an instrument: its period, its rests, and that it never dies in silence."""

from queue import SimpleQueue

import pytest

from acquire.clock import S, WallClock
from acquire.owner import Owner, Polled
from drivers.link import InstrumentFault, NoAnswer
from drivers.reading import Quality, Reading

PATIENCE_S = 30.0


class Canned:
    """An instrument whose polls do what a test lists: answer, time out, or raise."""

    def __init__(self, *does: str) -> None:
        self.name = "canned"
        self.fault: InstrumentFault | None = None
        self.does = list(does)
        self.opened = 0

    def open(self) -> None:
        self.opened += 1

    def poll(self) -> tuple[Reading, ...]:
        does = self.does.pop(0) if self.does else "answer"
        if does == "raise":
            raise TypeError("a library's own mistake")
        self.fault = NoAnswer("canned", "MEAS?", "nothing") if does == "silent" else None
        return (Reading("x", 1, 1, None, Quality.BAD) if self.fault else Reading("x", 1, 1, 2.0),)


def owner(instrument: Canned, published: SimpleQueue[Polled] | None = None) -> Owner:
    queue = published or SimpleQueue()
    return Owner(instrument, 0.2, 0.0, WallClock(speed=100.0), queue.put)


class TestWhenThePollAfterIsDue:
    """The period's own grid, without catching up."""

    @pytest.mark.parametrize(
        ("took_s", "due_s"), [(0.0, 10.2), (0.1, 10.2), (0.2, 10.2), (0.21, 10.4), (1.0, 11.0)]
    )
    def test_a_long_poll_leaves_out_those_that_it_missed(self, took_s: float, due_s: float) -> None:
        due = owner(Canned()).next_due(10 * S, 10 * S + round(took_s * S))
        assert due == round(due_s * S)


class TestTheThread:
    """What it publishes, in order, whatever the driver does."""

    def test_readings_and_fault_of_every_poll_are_published(self) -> None:
        published: SimpleQueue[Polled] = SimpleQueue()
        polling = owner(Canned("answer", "silent", "answer"), published)
        polling.start()
        got = [published.get(timeout=PATIENCE_S) for _ in range(3)]
        polling.stop()
        assert [p.readings[0].value for p in got] == [2.0, None, 2.0]
        assert [p.fault is None for p in got] == [True, False, True]

    def test_an_exception_is_a_fault_and_the_link_is_opened_afresh(self) -> None:
        published: SimpleQueue[Polled] = SimpleQueue()
        instrument = Canned("raise", "answer")
        polling = owner(instrument, published)
        polling.start()
        broken, well = (published.get(timeout=PATIENCE_S) for _ in range(2))
        polling.stop()
        assert broken.fault is not None
        assert "library" in broken.fault.came_back
        assert broken.readings == ()
        assert instrument.opened == 1
        assert well.fault is None
