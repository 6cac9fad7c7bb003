"""Polling on the virtual clock: at its due instant ask, publish when the answer is there."""

from collections.abc import Callable

from acquire.clock import Order, S, VirtualClock
from drivers.instrument import PolledInstrument
from drivers.link import InstrumentFault
from drivers.reading import Reading

POLL, PUBLICATION = Order.POLL, Order.PUBLICATION
Publish = Callable[[str, tuple[Reading, ...], InstrumentFault | None], None]


class VirtualPoller:
    """Polls one instrument at its own period; a late answer delays nobody but itself."""

    def __init__(
        self,
        instrument: PolledInstrument,
        period_s: float,
        phase_s: float,
        clock: VirtualClock,
        publish: Publish,
    ) -> None:
        self.instrument = instrument
        self._period = round(period_s * S)
        self._clock = clock
        self._publish = publish
        self._due = clock.now() + round(phase_s * S)
        clock.at(self._due, POLL, self._poll)

    def _poll(self) -> None:
        instrument, clock = self.instrument, self._clock
        readings = instrument.poll()
        fault, ended = instrument.fault, clock.now()
        if clock.is_next(ended):
            self._publish(instrument.name, readings, fault)
        else:
            clock.at(
                ended,
                PUBLICATION,
                lambda: self._publish(instrument.name, readings, fault),
            )
        self._due += self._period
        while self._due < ended:
            self._due += self._period
        clock.at(self._due, POLL, self._poll)
