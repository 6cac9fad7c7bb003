"""An instrument that goes on saying the same, to the last digit, of something that is there."""

from collections.abc import Sequence

from drivers.description import Instrument
from drivers.link import BadAnswer
from drivers.reading import Reading

S = 1_000_000_000
# Below that share of its smallest range a value may be nothing at all, which has no noise.
THERE = 0.01
MEASURED = ("V", "A", "W", "°C")


class Frozen:
    """Finds an instrument that stands still; where its file gives no time, none.

    The last digits of what is measured are never at rest for long. The same answer for
    `frozen_after_s`, with a value in it that is more than a hundredth of its smallest range, is an
    old one: a display held, a memory read instead of a meter.
    """

    def __init__(self, instrument: Instrument) -> None:
        after_s = instrument.frozen_after_s
        self._name = instrument.name
        self._after = None if after_s is None else round(after_s * S)
        self._floors = {
            c.name: THERE * c.ranges[0]
            for c in instrument.channel
            if c.ranges and c.unit in MEASURED
        }
        self._said: object = None
        self._since = 0

    def judge(self, asked: str, said: object, readings: Sequence[Reading]) -> None:
        """Take an answer and its readings. Raises BadAnswer for one that is an old one."""
        if self._after is None:
            return
        t = readings[-1].t
        if said != self._said:
            self._said, self._since = said, t
        elif t - self._since >= self._after and any(map(self._is_there, readings)):
            still_s = (t - self._since) / S
            raise BadAnswer(
                self._name,
                asked,
                f"the same to the last digit for {still_s:.0f} s: it stands still",
            )

    def _is_there(self, reading: Reading) -> bool:
        floor = self._floors.get(reading.channel)
        return floor is not None and reading.value is not None and abs(reading.value) > floor
