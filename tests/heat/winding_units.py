"""Units, rooms and instruments of the heat runs by which winding rises are judged, at random.

The plant is that of `drivers/simulated/thermal`. Every range is invented, after what a test room
for distribution transformers meets; nothing was measured on hardware.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.random import Generator

from calculation.heat_readings import Floats
from drivers.simulated.pair import WindingResistance
from drivers.simulated.thermal.truth import TrueBody, TrueLiquid, TrueRoom, TrueThermalUnit
from drivers.simulated.thermal.unit import Cooling, DryUnit, LiquidUnit

Body = TypeVar("Body", TrueBody, TrueLiquid)

COPPER_K = 235.0
SIDES = ("lv", "hv")
# A third of the windings give their heat off with the power 1.25 of their rise.
CONVECTIVE = 1 / 3


@dataclass(frozen=True)
class Instruments:
    """Limits of error and, drawn within them once, the errors that stay for a run."""

    sensor_k: float
    sensor_noise_k: float
    sensor_lag_s: float
    air_lag_s: float
    meter_percent: float
    linearity_percent: float
    of_reading: float
    waves: float
    phase: float
    scatter: float
    power_error: float
    current_error: float
    late_s: float

    def resistance(self, rng: Generator, true_ohm: Floats, full_ohm: float) -> Floats:
        """What the meter shows on one range: an error that goes with reading, one that bends."""
        bend = np.sin(self.waves * true_ohm / full_ohm + self.phase) * self.linearity_percent / 100
        noise = self.scatter * rng.standard_normal(len(true_ohm))
        return np.asarray(true_ohm * (1 + self.of_reading + bend + noise), np.float64)


def instruments(rng: Generator) -> Instruments:
    """Sensors of 0.1 to 0.5 K, a meter of 0.02 to 0.2 % of reading and 0.003 to 0.03 % besides."""
    meter, linearity = rng.uniform(0.02, 0.2), rng.uniform(0.003, 0.03)
    return Instruments(
        sensor_k=rng.uniform(0.1, 0.5),
        sensor_noise_k=rng.uniform(0.003, 0.03),
        sensor_lag_s=rng.uniform(30.0, 120.0),
        air_lag_s=rng.uniform(60.0, 900.0),
        meter_percent=meter,
        linearity_percent=linearity,
        of_reading=rng.uniform(-meter, meter) / 100,
        waves=rng.uniform(3.0, 12.0),
        phase=rng.uniform(0.0, 2 * np.pi),
        scatter=10 ** rng.uniform(-4.7, -3.6),
        power_error=rng.uniform(-0.005, 0.005),
        current_error=rng.uniform(-0.002, 0.002),
        late_s=rng.uniform(0.0, 0.4),
    )


@dataclass
class Unit:
    """A unit of the plant with what is true of it.

    Before the run its liquid lies in layers, top over bottom by `layers_k`, and each winding's mean
    stands `aside` from the middle of them, as a share.
    """

    plant: LiquidUnit | DryUnit
    true: TrueThermalUnit
    layers_k: float
    aside: Mapping[str, float]
    settling_s: Mapping[str, float]

    @property
    def places(self) -> tuple[str, ...]:
        """Where its sensors are."""
        dry = self.true.liquid is None
        return ("winding_lv", "winding_hv", "core") if dry else ("top_liquid", "bottom_liquid")

    def true_c(self, place: str, *, cold: bool) -> float:
        """True temperature where a sensor is."""
        layers = self.layers_k if cold else 0.0
        shift = {"top_liquid": layers / 2, "bottom_liquid": -layers / 2}.get(place, 0.0)
        return float(getattr(self.plant, f"{place}_c")) + shift

    def winding_c(self, side: str, *, cold: bool) -> float:
        """True mean temperature of a winding."""
        layers = self.layers_k * self.aside[side] if cold else 0.0
        return float(getattr(self.plant, f"winding_{side}_c")) + layers

    def loss_w(self) -> float:
        """Its total loss as it is now."""
        return self.plant.lv_w + self.plant.hv_w + self.plant.core_w


def design(rng: Generator, *, dry: bool) -> TrueThermalUnit:
    """What both units of a pair were made to.

    Liquid-filled: gradients 5 to 30 K with 3 to 12 min, liquid 30 to 48 K with 1.2 to 3 h. Dry:
    windings 60 to 105 K with 15 to 60 min.
    """
    load_w = 10 ** rng.uniform(3.0, 4.0)
    core_w = load_w * rng.uniform(0.12, 0.3)
    rise = (60.0, 105.0) if dry else (5.0, 30.0)
    constant_s = (900.0, 3600.0) if dry else (180.0, 720.0)
    share = rng.uniform(0.4, 0.6)
    lv, hv = (
        TrueBody(
            load_w * part,
            rng.uniform(*rise),
            rng.uniform(*constant_s),
            0.8 if rng.random() < CONVECTIVE else 1.0,
        )
        for part in (share, 1 - share)
    )
    core = TrueBody(core_w, rng.uniform(8.0, 25.0) * (4 if dry else 1), rng.uniform(3000, 7200))
    if dry:
        return TrueThermalUnit(lv, hv, core)
    liquid = TrueLiquid(
        load_w + core_w,
        rng.uniform(30.0, 48.0),
        rng.uniform(1.2, 3.0) * 3600,
        rng.uniform(0.76, 0.88),
        rng.uniform(5.0, 20.0),
    )
    return TrueThermalUnit(lv, hv, core, liquid)


def made(rng: Generator, twin: TrueThermalUnit, start_c: float) -> Unit:
    """One unit to a design, within 3 %; settling constants 3 to 90 s, alike by ratio."""
    liquid = None if twin.liquid is None else _made(rng, twin.liquid)
    lv, hv, core = _made(rng, twin.lv), _made(rng, twin.hv), _made(rng, twin.core)
    true = TrueThermalUnit(lv, hv, core, liquid)
    additional = rng.uniform(0.03, 0.12)
    warm = COPPER_K + rated_c(true)
    up_and_down = [
        WindingResistance(
            COPPER_K, body.loss_w * (1 - additional) / warm, body.loss_w * additional * warm
        )
        for body in (lv, hv)
    ]
    resistances = up_and_down[0], up_and_down[1]
    if true.liquid is None:
        plant: LiquidUnit | DryUnit = DryUnit(true, resistances, Cooling(), start_c)
    else:
        plant = LiquidUnit(true, true.liquid, resistances, Cooling(), start_c)
    layers_k = rng.uniform(0.0, 1.0) if true.liquid is not None else 0.0
    aside = {side: rng.uniform(-0.3, 0.3) for side in SIDES}
    settling_s = {side: 3.0 * 30.0 ** rng.uniform(0.0, 1.0) for side in SIDES}
    return Unit(plant, true, layers_k, aside, settling_s)


def room(rng: Generator, twin: TrueThermalUnit) -> tuple[TrueRoom, float]:
    """A room that follows the day by 0.3 to 3 K, drifts and warms; its temperature at the start."""
    pair_kw = 2 * (twin.lv.loss_w + twin.hv.loss_w + twin.core.loss_w) / 1000
    true = TrueRoom(
        day_k=rng.uniform(0.3, 3.0),
        warmest_h=rng.uniform(0.0, 24.0),
        drift_k_per_day=rng.uniform(-1.5, 1.5),
        warming_k_per_kw=rng.uniform(0.0, 3.0) / pair_kw,
    )
    return true, rng.uniform(15.0, 27.0)


def rated_c(true: TrueThermalUnit) -> float:
    """Where rated losses hold, degC."""
    return 120.0 if true.liquid is None else 75.0


def _made(rng: Generator, body: Body) -> Body:
    rise, constant = rng.uniform(0.97, 1.03), rng.uniform(0.97, 1.03)
    return replace(body, rise_k=body.rise_k * rise, time_constant_s=body.time_constant_s * constant)
