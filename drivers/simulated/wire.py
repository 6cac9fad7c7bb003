"""The time that an exchange with a simulated instrument takes."""

from drivers.link import Clock, NoAnswer
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
            self._clock.wait_until(now + round(timeout_s * SECOND))
            raise NoAnswer(self._name, asked, f"no answer within {timeout_s:g} s")
        plant.advance(now)
        return now + round(latency * SECOND)

    def end(self, t: int) -> None:
        """Wait until the answer is there."""
        self._clock.wait_until(t)
