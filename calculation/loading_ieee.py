"""Dynamic loading after clause 7 of IEEE C57.91-2011: top oil and hot spot, each exponential."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from calculation.errors import ImpossibleReading, refuse_unless_positive
from calculation.load_cycle import Floats, Loading, Temperatures
from calculation.number import N

Cooling = Literal["ONAN", "ONAF", "OFAF", "ODAF"]

# n of the top-oil rise and m of the winding's, IEEE C57.91-2011 clause 7 (from memory).
EXPONENTS: Mapping[Cooling, tuple[float, float]] = {
    "ONAN": (0.8, 0.8),
    "ONAF": (0.9, 0.8),
    "OFAF": (0.9, 0.8),
    "ODAF": (1.0, 1.0),
}
# W h/K of a pound of core and coils, a pound of tank and fittings, a US gallon of oil.
CAPACITIES: Mapping[Cooling, tuple[float, float, float]] = {
    "ONAN": (0.06, 0.04, 1.33),
    "ONAF": (0.06, 0.04, 1.33),
    "OFAF": (0.06, 0.06, 1.93),
    "ODAF": (0.06, 0.06, 1.93),
}


@dataclass(frozen=True, slots=True)
class Clause7:
    """A unit as clause 7 takes it: rises at rated load in K, time constants in min.

    `loss_ratio` R is load loss over no-load loss; `hot_spot_gradient_k` hot spot over top oil.
    """

    cooling: Cooling
    loss_ratio: float
    top_oil_rise_k: float
    hot_spot_gradient_k: float
    oil_time_constant_min: float
    winding_time_constant_min: float

    def __post_init__(self) -> None:
        names = ("loss_ratio", "top_oil_rise_k", "hot_spot_gradient_k")
        times = ("oil_time_constant_min", "winding_time_constant_min")
        refuse_unless_positive({name: getattr(self, name) for name in names + times})


def thermal_capacity(
    cooling: Cooling, core_and_coils_lb: float, tank_lb: float, oil_gal: float
) -> float:
    """Thermal capacity of a unit, W h/K, by its weights in lb and its oil in US gallons.

    IEEE C57.91-2011 clause 7 (transcribed).

    Raises:
        ImpossibleReading: a weight or volume that is not positive.
    """
    weights = {"core_and_coils_lb": core_and_coils_lb, "tank_lb": tank_lb, "oil_gal": oil_gal}
    refuse_unless_positive(weights)
    coils, tank, oil = CAPACITIES[cooling]
    return coils * core_and_coils_lb + tank * tank_lb + oil * oil_gal


def oil_time_constant(capacity_wh_k: float, top_oil_rise_k: float, total_loss_w: float) -> float:
    """Time constant of the oil at rated load, min: C rise/P (IEEE C57.91-2011 clause 7).

    Raises:
        ImpossibleReading: anything that is not positive.
    """
    facts = {"capacity_wh_k": capacity_wh_k, "top_oil_rise_k": top_oil_rise_k}
    refuse_unless_positive(facts | {"total_loss_w": total_loss_w})
    return 60 * capacity_wh_k * top_oil_rise_k / total_loss_w


def ultimate_top_oil_k(unit: Clause7, load: N) -> N:
    """Top-oil rise over ambient at a load that lasts, K: ((K^2 R + 1)/(R + 1))^n times rated."""
    share = (load**2 * unit.loss_ratio + 1) / (unit.loss_ratio + 1)
    rise: N = unit.top_oil_rise_k * share ** EXPONENTS[unit.cooling][0]
    return rise


def ultimate_hot_spot_k(unit: Clause7, load: N) -> N:
    """Hot spot over top oil at a load that lasts, K: K^(2m) times rated."""
    gradient: N = unit.hot_spot_gradient_k * load ** (2 * EXPONENTS[unit.cooling][1])
    return gradient


def corrected_time_constant(unit: Clause7, initial_k: float, ultimate_k: float) -> float:
    """Oil time constant for a way between two rises, min, where n is not 1.

    (u - i)/(u^(1/n) - i^(1/n)) times that at rated load, u and i per unit of the rated rise; where
    both are one, its limit.

    Raises:
        ImpossibleReading: a rise that is not positive.
    """
    refuse_unless_positive({"initial_k": initial_k, "ultimate_k": ultimate_k})
    rated, n = unit.top_oil_rise_k, EXPONENTS[unit.cooling][0]
    return unit.oil_time_constant_min * _correction(initial_k / rated, ultimate_k / rated, n)


def _correction(initial: float, ultimate: float, n: float) -> float:
    if n == 1:
        return 1.0
    over = ultimate - initial
    # Nearer than this the quotient is rounding.
    if over * over < 1e-12 * ultimate * ultimate:
        return n * math.pow(ultimate, 1 - 1 / n)
    return over / (math.pow(ultimate, 1 / n) - math.pow(initial, 1 / n))


def clause_7(unit: Clause7, loading: Loading) -> Temperatures:
    """Temperatures under any loading, from balance with the first load; ambient acts at once.

    Each step is an exponential way to the ultimate rises of its load, with the time constant
    corrected for it.

    Raises:
        ImpossibleReading: a step longer than half the smallest time constant.
    """
    steps = loading.steps_min
    most = min(unit.oil_time_constant_min, unit.winding_time_constant_min) / 2
    if steps.max() > most * (1 + 1e-9):
        facts = {"step_min": steps.max(), "half the smallest time constant": most}
        raise ImpossibleReading(facts, "the step is too long for the load to be followed")
    oil = _top_oil(unit, ultimate_top_oil_k(unit, loading.load), steps)
    ends = ultimate_hot_spot_k(unit, loading.load).tolist()
    parts = (1 - np.exp(-steps / unit.winding_time_constant_min)).tolist()
    gradient = [ends[0]]
    for end, part in zip(ends[1:], parts, strict=True):
        gradient.append(gradient[-1] + part * (end - gradient[-1]))
    top_oil_c = loading.ambient_c + oil
    return Temperatures(loading.time_min, top_oil_c, top_oil_c + np.array(gradient))


def _top_oil(unit: Clause7, ultimate_k: Floats, steps: Floats) -> Floats:
    n = EXPONENTS[unit.cooling][0]
    ends = (ultimate_k / unit.top_oil_rise_k).tolist()
    parts = (steps / unit.oil_time_constant_min).tolist()
    rise = ends[0]
    found = [rise]
    for end, part in zip(ends[1:], parts, strict=True):
        rise -= math.expm1(-part / _correction(rise, end, n)) * (end - rise)
        found.append(rise)
    return unit.top_oil_rise_k * np.array(found)
