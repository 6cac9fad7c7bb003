"""What a meter makes of the truth: class, ranges, noise, digits, and what may be wrong with it."""

from collections.abc import Callable
from random import Random

from drivers.description import Channel, Instrument, Stand
from drivers.simulated.circuit import Solution
from drivers.simulated.truth import TrueInstrument, Truth

OVER_RANGE = "9.9E+37"

# The quantity behind a channel. The rectified mean times 1.1107 is the r.m.s. value of a sine,
# and sines are all that this stand has.
QUANTITIES: dict[str, Callable[[Solution], float]] = {
    "lv.voltage.1": lambda s: abs(s.bus),
    "lv.voltage_mean.1": lambda s: abs(s.bus),
    "lv.current.1": lambda s: abs(s.lv_supply),
    "lv.power.1": lambda s: s.lv_power,
    "series.voltage.1": lambda s: abs(s.gap),
    "hv.voltage.1": lambda s: abs(s.hv_voltage),
    "hv.voltage_mean.1": lambda s: abs(s.hv_voltage),
    "hv.current.1": lambda s: abs(s.loop),
    "hv.power.1": lambda s: s.hv_power,
}


class Meter:
    """One channel of one instrument, with the fixed error that it has in this run.

    The error is within the stated class: `reading_error` and `range_error`, in percent of reading
    and of the range in use, each drawn once, uniform between its limits. Noise is drawn for each
    value. Voltages and currents never show less than nought.

    For hands: both errors, `multiplier` (a forgotten or reversed transformer), `dead` (a perfect
    nought), and `frozen` (goes on saying what it said).
    """

    def __init__(self, channel: Channel, behaviour: TrueInstrument, seed: int) -> None:
        self.channel = channel
        self.multiplier = 1.0
        self.dead = False
        self.frozen = False
        drawn = Random(f"{seed}/{channel.name}/error")
        accuracy = channel.accuracy
        self.reading_error = drawn.uniform(-1, 1) * (accuracy.reading_percent if accuracy else 0)
        self.range_error = drawn.uniform(-1, 1) * (accuracy.range_percent if accuracy else 0)
        self._sigma = behaviour.noise_percent / 100
        self._gauss = Random(f"{seed}/{channel.name}").gauss
        self._signed = channel.unit in {"W", "°C"}
        self._format = f"%.{behaviour.digits}G"
        self._shown: float | None = 0.0

    def value(self, true: float) -> float | None:
        """Return what it makes of a true value, in the channel's unit; None above every range."""
        if not self.frozen:
            self._shown = 0.0 if self.dead else self._measured(true * self.multiplier)
        return self._shown

    def text(self, true: float) -> str:
        """Return what the instrument says of a true value: before the channel's ratio."""
        value = self.value(true)
        return OVER_RANGE if value is None else self._format % (value / self.channel.ratio)

    def _measured(self, true: float) -> float | None:
        span = self._range(abs(true))
        if span is None:
            return None
        gain = 1 + self.reading_error / 100 + self._gauss(0.0, self._sigma)
        shown = true * gain + self.range_error / 100 * span
        return shown if self._signed or shown >= 0.0 else 0.0

    def _range(self, magnitude: float) -> float | None:
        ranges = self.channel.ranges
        if not ranges:
            return 0.0
        for span in ranges:
            if magnitude <= span:
                return span
        return None


def stand_meters(stand: Stand, truth: Truth, seed: int) -> dict[str, Meter]:
    """Return the meter behind every channel of the stand, by name."""
    plain = TrueInstrument()

    def meter(instrument: Instrument, channel: Channel) -> Meter:
        return Meter(channel, truth.instrument.get(instrument.name, plain), seed)

    return {c.name: meter(i, c) for i in stand.instrument for c in i.channel}
