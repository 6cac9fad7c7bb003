"""Polling on the wall clock: the one thread that ever talks to an instrument."""

from collections.abc import Callable
from threading import Event, Thread
from typing import NamedTuple

from acquire.clock import S, WallClock
from drivers.instrument import PolledInstrument
from drivers.link import InstrumentFault
from drivers.reading import Reading


class Polled(NamedTuple):
    """What came of one poll; no readings where the driver itself has failed."""

    instrument: str
    readings: tuple[Reading, ...]
    fault: InstrumentFault | None


class Owner:
    """Polls one instrument at its own period in a thread of its own, and publishes what came.

    A poll that takes longer than its period leaves out the next ones and makes up for none. One
    that hangs holds up nobody; its channels grow stale. How long a link that fails is left alone
    is a matter of the link.
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
            self._publish(self._poll())
            self.polls += 1
            due = self.next_due(due, self._clock.now())

    def next_due(self, due: int, ended: int) -> int:
        """Return when the poll after the one that was `due` is due, ns of stand time."""
        late = max(ended - due, 0)
        return due + max(-(-late // self._period), 1) * self._period

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
