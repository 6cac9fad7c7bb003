"""The averaged readings that the reductions take. SI units, degrees Celsius for temperatures."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class NoLoadMeans:
    """LV supply of both units, loop contactor open: V r.m.s., V mean x 1.1107, A, W."""

    voltage_v: float
    voltage_mean_v: float
    current_a: float
    power_w: float


@dataclass(frozen=True, slots=True)
class LoadMeans:
    """Loop across both units, and the LV supply at the same time: V, A, W."""

    hv_voltage_v: float
    hv_current_a: float
    hv_power_w: float
    lv_voltage_v: float
    lv_power_w: float


@dataclass(frozen=True, slots=True)
class ProveMeans:
    """As `LoadMeans`, with LV at half the impedance voltage and rated current in the loop."""

    hv_voltage_v: float
    hv_current_a: float
    hv_power_w: float
    lv_voltage_v: float
    lv_power_w: float


@dataclass(frozen=True, slots=True)
class LossReadings:
    """All that a loss test read.

    `series_voltage_v` across the gap at rated LV, loop contactor open; `loss_exponent` the local
    exponent of no-load loss against voltage seen in the ramp; temperatures of the windings, degC.
    """

    no_load: NoLoadMeans
    load: LoadMeans
    prove: ProveMeans | None
    series_voltage_v: float
    loss_exponent: float
    winding_temperature_c: float
    prove_temperature_c: float | None = None
