"""How much load a unit bears for how long, by its fitted or tabulated thermal model.

The load steps up (or down) from a preload that had lasted, at one ambient; the temperatures are the
solution of the differential equations of IEC 60076-7 for that step, and the load found is the
greatest that keeps every limit until its time is over.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal, NamedTuple

import numpy as np

from calculation.ageing import Paper, relative_ageing
from calculation.errors import ImpossibleReading, refuse_unless_finite, refuse_unless_positive
from calculation.load_cycle import Floats
from calculation.loading_iec import (
    Characteristics,
    Limits,
    LoadingUnit,
    f1,
    f2,
    steady_hot_spot_k,
    steady_top_liquid_k,
)

Limit = Literal["hot spot", "top liquid", "loss of life", "current"]

# Instants at which the hot spot is looked at, denser at first: its greatest within a millikelvin.
INSTANTS = 600
# To which a load is found, per unit.
LOAD_WITHIN = 1e-9
FACTOR = 2.0  # of expanded over standard uncertainty: many inputs, near normal


@dataclass(frozen=True, slots=True)
class Conditions:
    """Under what an overload is permissible.

    `preload` per unit, in balance before; `loss_of_life_h` the most that the overload itself may
    cost, in hours at the paper's reference rate; None: no limit.
    """

    preload: float
    limits: Limits
    paper: Paper = "normal"
    loss_of_life_h: float | None = None


@dataclass(frozen=True, slots=True)
class PermissibleLoad:
    """The greatest load for so many hours at an ambient, per unit of rated, and what it comes to.

    `limited_by` is the limit that is just met; temperatures are the greatest of the overload.
    `contributions` is what each stated standard uncertainty makes of the load, with its sign, and
    `standard` their root sum of squares (the inputs taken as uncorrelated); both are empty where
    none was stated.
    """

    hours: float
    ambient_c: float
    load: float
    limited_by: Limit
    hot_spot_c: float
    top_liquid_c: float
    loss_of_life_h: float
    contributions: Mapping[str, float]
    standard: float | None

    @property
    def expanded(self) -> float | None:
        """Expanded uncertainty for 95 %, factor 2."""
        return None if self.standard is None else FACTOR * self.standard


class Course(NamedTuple):
    """The greatest temperatures of an overload, degC, and the life that it costs, h."""

    hot_spot_c: float
    top_liquid_c: float
    loss_of_life_h: float


def permissible_load(
    unit: LoadingUnit, conditions: Conditions, hours: float, ambient_c: float
) -> PermissibleLoad:
    """The greatest load for so many hours at an ambient, with its uncertainty.

    Raises:
        ImpossibleReading: even no load violates a limit, for this unit or for one that differs from
            it by a stated standard uncertainty; hours that are none.
    """
    refuse_unless_finite({"ambient_c": ambient_c})
    refuse_unless_positive({"hours": hours, "current limit": conditions.limits.current})

    def found(characteristics: Characteristics) -> tuple[float, Limit]:
        return _greatest(characteristics, conditions, hours, ambient_c)

    known = unit.characteristics()
    load, limited_by = found(known)
    course = overload_course(known, conditions, hours, ambient_c, load)
    parts = contributions(unit, lambda shifted: found(shifted)[0])
    standard = float(np.hypot.reduce(list(parts.values()))) if parts else None
    return PermissibleLoad(hours, ambient_c, load, limited_by, *course, parts, standard)


def contributions(
    unit: LoadingUnit, result: Callable[[Characteristics], float]
) -> dict[str, float]:
    """What each stated standard uncertainty of a unit makes of a result, with its sign.

    JCGM 100, 5.1.3 note 2: the result's change with the input moved by its uncertainty, here the
    larger of both ways, so that a kink hides nothing.

    Raises:
        ImpossibleReading: an input that its uncertainty takes to nothing; as `result`.
    """
    known = unit.characteristics()
    middle = result(known)
    found = {}
    for name, standard in unit.standard.given().items():
        value = getattr(known, name)
        if not value > standard:
            why = f"its standard uncertainty of {standard:g} takes it to nothing"
            raise ImpossibleReading({name: value}, why)
        up, down = (result(replace(known, **{name: value + way})) for way in (standard, -standard))
        found[name] = max(up - middle, middle - down, key=abs)
    return found


def overload_course(
    unit: Characteristics, conditions: Conditions, hours: float, ambient_c: float, load: float
) -> Course:
    """The greatest temperatures of an overload, and the life that it costs.

    Raises:
        ImpossibleReading: a load below zero.
    """
    if not load >= 0:
        raise ImpossibleReading({"load": load}, "a load is not below zero")
    return _course(unit, conditions, _Step.of(unit, hours), ambient_c, load)


class _Step(NamedTuple):
    """Instants of an overload (min), and how far a step of the load has come about at each."""

    minutes: Floats
    liquid: Floats
    winding: Floats

    @classmethod
    def of(cls, unit: Characteristics, hours: float) -> "_Step":
        minutes = 60 * hours * np.linspace(0, 1, INSTANTS) ** 3
        return cls(minutes, f1(unit, minutes), f2(unit, minutes))


def _course(
    unit: Characteristics, conditions: Conditions, step: _Step, ambient_c: float, load: float
) -> Course:
    before = steady_top_liquid_k(unit, conditions.preload)
    after = steady_top_liquid_k(unit, load)
    top_liquid = ambient_c + before + (after - before) * step.liquid
    before, after = (steady_hot_spot_k(unit, at) for at in (conditions.preload, load))
    hot_spot = top_liquid + before + (after - before) * step.winding
    # Tried loads may age beyond all measure: that is beyond any limit too.
    with np.errstate(over="ignore"):
        rate = relative_ageing(hot_spot, conditions.paper)
        lost = float(np.trapezoid(rate, step.minutes)) / 60
    return Course(float(hot_spot.max()), float(top_liquid.max()), lost)


def _greatest(
    unit: Characteristics, conditions: Conditions, hours: float, ambient_c: float
) -> tuple[float, Limit]:
    """The greatest load that keeps every limit, and the limit that ends it."""
    step = _Step.of(unit, hours)
    course = partial(_course, unit, conditions, step, ambient_c)
    most = conditions.limits.current
    bounds: dict[Limit, tuple[int, float]] = {
        "hot spot": (0, conditions.limits.hot_spot_c),
        "top liquid": (1, conditions.limits.top_liquid_c),
    }
    if conditions.loss_of_life_h is not None:
        bounds["loss of life"] = (2, conditions.loss_of_life_h)
    none = course(0.0)
    found: tuple[float, Limit] = (most, "current")
    for name, (place, bound) in bounds.items():
        if none[place] > bound:
            facts = {"preload": conditions.preload, "hours": hours, "ambient_c": ambient_c}
            why = f"even no load after this preload goes beyond the limit of {name}, {bound:g}"
            raise ImpossibleReading(facts, why)
        if course(found[0])[place] > bound:
            found = _crossing(course, place, bound, found[0]), name
    return found


def _crossing(course: Callable[[float], Course], place: int, bound: float, high: float) -> float:
    """The load up to which one value of the course keeps its bound: it rises with the load.

    False position (Illinois); every third try halves, which ends it in any case.
    """
    low, side, tries = 0.0, 0, 0
    below, above = course(low)[place] - bound, course(high)[place] - bound
    while high - low > LOAD_WITHIN:
        tries += 1
        tried = (low * above - high * below) / (above - below) if tries % 3 else (low + high) / 2
        # Never so near an end that the bracket could not close from the other side.
        tried = min(max(tried, low + LOAD_WITHIN / 2), high - LOAD_WITHIN / 2)
        excess = course(tried)[place] - bound
        if excess > 0:
            below = below / 2 if side > 0 else below
            high, above, side = tried, excess, 1
        else:
            above = above / 2 if side < 0 else above
            low, below, side = tried, excess, -1
    return low
