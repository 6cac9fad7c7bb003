"""What readings by hand result in: one transformer or the mean of a pair."""

from dataclasses import dataclass
from typing import Any, Literal

from calculation.results import At, PlainSplit, as_plain

Method = Literal["balance", "plain split", "short circuit"]


@dataclass(frozen=True, slots=True)
class Best:
    """Where efficiency is greatest."""

    load: float
    power_factor: float
    value: float


@dataclass(frozen=True, slots=True)
class UnitResult:
    """One transformer, or the mean of a pair: names as `PairMean`, both sides where referred.

    Reference values are None where no winding temperature was given; efficiency and regulation
    are then those of the temperature measured at. A pair's impedance is that at rated voltage,
    which a ratio mismatch d shifts by up to d/(2 u_k); one transformer alone has none such.
    """

    no_load_loss_w: float
    no_load_current_a: float
    no_load_current_percent: float
    no_load_power_factor: float
    core_loss_current_a: float
    magnetizing_current_a: float
    core_loss_resistance_ohm: float
    magnetizing_reactance_ohm: float
    core_loss_resistance_hv_ohm: float
    magnetizing_reactance_hv_ohm: float
    wave_shape_percent: float
    load_loss_w: float
    equivalent_resistance_ohm: float
    equivalent_reactance_ohm: float
    equivalent_impedance_ohm: float
    equivalent_resistance_lv_ohm: float
    equivalent_reactance_lv_ohm: float
    equivalent_impedance_lv_ohm: float
    resistance_percent: float
    reactance_percent: float
    impedance_percent: float
    winding_temperature_c: float | None
    load_loss_reference_w: float | None
    impedance_reference_percent: float | None
    reference_temperature_c: float | None
    efficiency: tuple[At, ...]
    regulation_percent: tuple[At, ...]
    max_efficiency: Best | None
    peak_efficiency_index_percent: float
    all_day_efficiency: float | None


@dataclass(frozen=True, slots=True)
class HandResult:
    """Results of readings by hand, and how the load loss was found.

    `ratio_mismatch_percent` comes from the gap's voltage where that was read.
    """

    units: int
    method: Method
    unit: UnitResult
    plain_split: PlainSplit | None
    ratio_mismatch_percent: float | None


def plain_of_hand(result: HandResult) -> dict[str, Any]:
    """The result as JSON-ready values: `pair_mean` or `transformer`, and what stands beside it.

    A pair's loop is fed at rated voltage, so its impedance goes by both names of `PairMean`.
    """
    unit = as_plain(result.unit)
    name = "transformer" if result.units == 1 else "pair_mean"
    if result.units == 2:
        unit["impedance_at_rated_voltage_ohm"] = unit["equivalent_impedance_ohm"]
        unit["impedance_at_rated_voltage_percent"] = unit["impedance_percent"]
    mismatch = result.ratio_mismatch_percent
    return {
        "units": result.units,
        "method": result.method,
        name: unit,
        "plain_split": as_plain(result.plain_split),
        "ratio_mismatch_percent": mismatch,
        "series_ratio_percent": None if mismatch is None else mismatch / 2,
        "max_efficiency": unit["max_efficiency"],
    }


def quantities_of_hand(result: HandResult) -> dict[str, Any]:
    """Every measured quantity by name, `total_loss_w` and mismatch beside those of the unit."""
    found: dict[str, Any] = {}
    for name in result.unit.__dataclass_fields__:
        value = getattr(result.unit, name)
        if isinstance(value, tuple):
            found |= {f"{name}({at.where})": at.value for at in value}
        elif isinstance(value, Best):
            found[name] = value.value
        elif value is not None and not name.endswith("temperature_c"):
            found[name] = value
    reference = result.unit.load_loss_reference_w
    if reference is not None:
        found["total_loss_w"] = result.unit.no_load_loss_w + reference
    if result.ratio_mismatch_percent is not None:
        found["ratio_mismatch_percent"] = result.ratio_mismatch_percent
        found["series_ratio_percent"] = result.ratio_mismatch_percent / 2
    return found
