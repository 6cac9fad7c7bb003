"""Polling on the wall clock: the one thread that ever talks to an instrument."""

from collections.abc import Callable
from threading import Event, Thread
from typing import NamedTuple

from acquire.clock import S, WallClock
from drivers.instrument import PolledInstrument
from drivers.link import InstrumentFault
from drivers.reading import Reading

# What a link that fails again and again is left alone for, doubled each time; s of stand time.
FIRST_REST_S = 0.5
LONGEST_REST_S = 5.0


class Polled(NamedTuple):
    """What came of one poll; no readings where the driver itself has failed."""

    instrument: str
    readings: tuple[Reading, ...]
    fault: InstrumentFault | None


class Owner:
    """Polls one instrument at its own period in a thread of its own, and publishes what came.

    A poll that takes longer than its period leaves out the next ones and makes up for none. After
    a second failure in a row the instrument is left alone for a while, longer each time: some
    links leak a little at each opening. One that hangs holds up nobody; its channels grow stale.
    """

    def __init__(
        self,
        instrument: PolledInstrument,
        period_s: float,
        phase_s: float,
        clock: WallClock,
        publish: Callable[[Polled], None],
    ) -> None:
        self.instrument = instrument
        self.polls = 0
        self._period = round(period_s * S)
        self._phase = round(phase_s * S)
        self._clock = clock
        self._publish = publish
        self._failures = 0
        self._broken = False
        self._stopped = Event()
        self._thread = Thread(target=self._run, name=instrument.name, daemon=True)

    def start(self) -> None:
        """Begin to poll."""
        self._thread.start()

    def stop(self) -> None:
        """Have no further poll begin; one that is under way is not waited for."""
        self._stopped.set()

    def _run(self) -> None:
        due = self._clock.now() + self._phase
        while not self._stopped.wait(self._clock.until_s(due)):
            polled = self._poll()
            self.polls += 1
            self._publish(polled)
            due = self.next_due(due, self._clock.now(), failed=polled.fault is not None)

    def next_due(self, due: int, ended: int, *, failed: bool) -> int:
        """Return when the poll after the one that was `due` is due, ns of stand time."""
        late = max(ended - due, 0)
        due += max(-(-late // self._period), 1) * self._period
        self._failures = self._failures + 1 if failed else 0
        if self._failures < 2:
            return due
        rest_s = min(FIRST_REST_S * 2.0 ** min(self._failures - 2, 10), LONGEST_REST_S)
        return max(due, ended + round(rest_s * S))

    def _poll(self) -> Polled:
        name = self.instrument.name
        try:
            if self._broken:
                self.instrument.open()
                self._broken = False
            return Polled(name, self.instrument.poll(), self.instrument.fault)
        except Exception as error:  # no thread dies in silence, whatever a library raises
            self._broken = True
            came_back = str(error) if isinstance(error, InstrumentFault) else repr(error)
            return Polled(name, (), InstrumentFault(name, "poll", came_back))
