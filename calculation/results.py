"""What a loss test results in, as frozen values and as plain ones for JSON."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class At:
    """A value at one load and power factor."""

    load: float
    power_factor: float
    leading: bool
    value: float

    @property
    def where(self) -> str:
        """Load and power factor in words: "0.5, 0.8, leading"."""
        lead = ", leading" if self.leading else ""
        return f"{self.load:g}, {self.power_factor:g}{lead}"


@dataclass(frozen=True, slots=True)
class PairMean:
    """Mean of the two units: no load on the LV side at rated voltage, load on the HV side at rated
    current and `winding_temperature_c`; reference, efficiency and regulation at reference values.

    `impedance_at_rated_voltage_ohm` comes from the load stage alone, where a ratio mismatch d
    shifts it by up to d/(2 u_k); `equivalent_impedance_ohm` from the prove stage where there is
    one, its reactance with the load stage's resistance.
    """

    no_load_loss_w: float
    no_load_current_a: float
    no_load_current_percent: float
    no_load_power_factor: float
    core_loss_current_a: float
    magnetizing_current_a: float
    core_loss_resistance_ohm: float
    magnetizing_reactance_ohm: float
    wave_shape_percent: float
    load_loss_w: float
    equivalent_resistance_ohm: float
    equivalent_impedance_ohm: float
    equivalent_reactance_ohm: float
    impedance_percent: float
    impedance_at_rated_voltage_ohm: float
    impedance_at_rated_voltage_percent: float
    winding_temperature_c: float
    load_loss_reference_w: float
    impedance_reference_percent: float
    reference_temperature_c: float
    efficiency: tuple[At, ...] = ()
    regulation_percent: tuple[At, ...] = ()


@dataclass(frozen=True, slots=True)
class PlainSplit:
    """Each wattmeter halved, as if nothing were exchanged; shown, never used for a verdict.

    `exchanged_power_w` flows from the LV supply into the loop; `least_ratio_mismatch_percent` is
    the smallest mismatch that explains it.
    """

    no_load_loss_w: float
    load_loss_w: float
    exchanged_power_w: float
    least_ratio_mismatch_percent: float


@dataclass(frozen=True, slots=True)
class ProveResult:
    """Cold values of the pair's mean at rated current, LV at half the impedance voltage."""

    load_loss_w: float
    equivalent_resistance_ohm: float
    equivalent_impedance_ohm: float
    equivalent_reactance_ohm: float
    impedance_percent: float
    winding_temperature_c: float


@dataclass(frozen=True, slots=True)
class LossTestResult:
    """Results of a loss test. `ratio_mismatch_percent` d is 2 r, r the `series_ratio_percent`."""

    pair_mean: PairMean
    plain_split: PlainSplit
    prove: ProveResult | None
    ratio_mismatch_percent: float
    series_ratio_percent: float


def as_plain(result: Any) -> Any:
    """A result as JSON-ready dicts, lists, numbers and words."""
    if is_dataclass(result):
        return {f.name: as_plain(getattr(result, f.name)) for f in fields(result)}
    if isinstance(result, (tuple, list)):
        return [as_plain(item) for item in result]
    if isinstance(result, Mapping):
        return {name: as_plain(item) for name, item in result.items()}
    return result
