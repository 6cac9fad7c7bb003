"""The time that an exchange with a simulated instrument takes."""

from typing import NoReturn

from drivers.link import Block, Clock, NoAnswer
from drivers.simulated.machinery import SECOND
from drivers.simulated.stand import SimulatedStand


class Wire:
    """The wire to one instrument of the simulated stand.

    On the virtual clock a poll runs ahead on its own local time, and the next event may be due
    before it ends. So the plant is moved on when a question is asked or a value written, never
    when an exchange ends: instants of asking are in order, those of answering are not.
    """

    def __init__(self, plant: SimulatedStand, clock: Clock, name: str) -> None:
        self._plant = plant
        self._clock = clock
        self._name = name

    def begin(self, asked: str, timeout_s: float) -> int:
        """Move the plant on to now and return when the answer will be there, ns.

        Raises NoAnswer, once the time-out is over, where the instrument is silent or slower.
        """
        plant = self._plant
        now = self._clock.now()
        latency = plant.latencies_s.get(self._name, 0.0)
        if self._name in plant.silent or latency > timeout_s:
            self._time_out(asked, timeout_s)
        plant.advance(now)
        return now + round(latency * SECOND)

    def end(self, t: int) -> None:
        """Wait until the answer is there."""
        self._clock.wait_until(t)

    def text(self, asked: str, answer: str, timeout_s: float) -> str:
        """Return what arrives of an answer. Raises InstrumentFault where nothing does."""
        for tampering in self._plant.tampering.get(self._name, ()):
            arrived = tampering.text(asked, answer)
            if arrived is None:
                self._time_out(asked, timeout_s)
            answer = arrived
        return answer

    def registers(self, asked: Block, answer: tuple[int, ...], timeout_s: float) -> tuple[int, ...]:
        """Return what arrives of a block. Raises InstrumentFault where nothing does."""
        for tampering in self._plant.tampering.get(self._name, ()):
            arrived = tampering.registers(asked, answer)
            if arrived is None:
                self._time_out("read", timeout_s)
            answer = arrived
        return answer

    def reopened(self) -> None:
        """The link was closed and opened: what was on its way is gone."""
        for tampering in self._plant.tampering.get(self._name, ()):
            tampering.reopened()

    def _time_out(self, asked: str, timeout_s: float) -> NoReturn:
        self._clock.wait_until(self._clock.now() + round(timeout_s * SECOND))
        raise NoAnswer(self._name, asked, f"no answer within {timeout_s:g} s")
