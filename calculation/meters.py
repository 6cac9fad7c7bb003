"""What the instruments before a reduction may be wrong by, and a reading with those errors in it.

Fixed errors belong to the instrument: every reading that it took in a run shares them, so that
they drop out of differences as they do on the bench. Repeatability and resolution belong to the
single reading.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import inf
from typing import Any, TypeVar

from calculation.instruments import MINUTE, Limits
from calculation.source import Source

Means = TypeVar("Means")


@dataclass(frozen=True, slots=True)
class MeterLimits:
    """Limits of error of one meter channel: percent of reading plus percent of the range in use.

    `range_value` and `resolution` in the unit of the channel. Meters with the same word in
    `shared` share their error of reading: calibrated against one standard, or one instrument.
    """

    reading_percent: float = 0.0
    range_percent: float = 0.0
    range_value: float = 0.0
    resolution: float = 0.0
    shared: str = ""


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Standard deviation of the mean of one averaged reading, and its degrees of freedom."""

    standard: float
    freedom: float = inf


@dataclass(frozen=True, slots=True)
class Instruments:
    """All instruments of a test.

    `meters` by channel ("lv.voltage", "hv.power"), `transformers` by side and kind ("hv.ct",
    "lv.vt") where there are any, `repeatability` by reading ("load.hv_power_w").
    """

    meters: Mapping[str, MeterLimits]
    transformers: Mapping[str, Limits] = field(default_factory=dict)
    repeatability: Mapping[str, Repeatability] = field(default_factory=dict)

    def fixed_sources(self) -> list[Source]:
        """The errors that instruments keep for the whole run."""
        found: dict[str, Source] = {}
        for channel, meter in self.meters.items():
            _add(found, f"{meter.shared or channel}, of reading", meter.reading_percent / 100)
            of_range = meter.range_percent / 100 * meter.range_value
            _add(found, f"{channel}, of range", of_range)
        for name, limits in self.transformers.items():
            _add(found, f"{name}, ratio", limits.ratio_percent / 100)
            _add(found, f"{name}, displacement", limits.displacement_minutes * MINUTE)
        return list(found.values())

    def reading_sources(self, reading: str, channel: str) -> list[Source]:
        """The errors of one reading alone."""
        found: dict[str, Source] = {}
        meter = self.meters.get(channel, MeterLimits())
        _add(found, f"{reading}, resolution", meter.resolution / 2)
        repeated = self.repeatability.get(reading)
        if repeated is not None and repeated.standard:
            name = f"{reading}, repeatability"
            found[name] = Source(name, 0.0, repeated.standard, "normal", repeated.freedom)
        return list(found.values())

    def corrected(
        self, x: Mapping[str, Any], reading: str, channel: str, value: float, reactive_var: float
    ) -> Any:
        """A reading less the errors `x`, of which each has the expectation zero.

        `reactive_var` goes with a power: what phase displacement turns into active power.
        """
        meter = self.meters.get(channel, MeterLimits())
        side, quantity = channel.split(".")[:2]
        gain = x.get(f"{meter.shared or channel}, of reading", 0.0)
        if quantity != "current":
            gain = gain + x.get(f"{side}.vt, ratio", 0.0)
        if quantity in {"current", "power"}:
            gain = gain + x.get(f"{side}.ct, ratio", 0.0)
        offset = x.get(f"{channel}, of range", 0.0)
        offset = offset + x.get(f"{reading}, resolution", 0.0)
        offset = offset + x.get(f"{reading}, repeatability", 0.0)
        if quantity == "power":
            lead = x.get(f"{side}.vt, displacement", 0.0) - x.get(f"{side}.ct, displacement", 0.0)
            offset = offset - reactive_var * lead
        return value * (1 - gain) - offset

    def corrected_means(
        self,
        x: Mapping[str, Any],
        stage: str,
        means: Means,
        channels: Mapping[str, str],
        reactive_var: Mapping[str, float],
    ) -> Means:
        """The means of a stage less the errors `x`; `channels` says who read which field."""
        changed = {
            name: self.corrected(
                x,
                f"{stage}.{name}",
                channel,
                getattr(means, name),
                reactive_var.get(f"{stage}.{name}", 0.0),
            )
            for name, channel in channels.items()
        }
        return replace(means, **changed)  # type: ignore[type-var]  # every means is a dataclass


def _add(found: dict[str, Source], name: str, limit: float) -> None:
    if limit:
        found[name] = Source(name, 0.0, limit)
