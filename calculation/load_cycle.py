"""What a loading model is fed with and what it gives: load and ambient over time, temperatures."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np
from annotated_types import Ge, Gt, Le, Lt
from numpy.typing import NDArray

from calculation.errors import ImpossibleReading, refuse_unless_finite
from calculation.nameplate import STRICT

Floats = NDArray[np.float64]
LoadPu = Annotated[float, Ge(0), Le(5)]
AmbientC = Annotated[float, Gt(-60), Lt(90)]


@dataclass(frozen=True, slots=True)
class CyclePoint:
    """A corner of a load cycle: hours since its start, load per unit of rated, ambient in degC."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    hours: Annotated[float, Ge(0), Le(1000)]
    load: LoadPu
    ambient_c: AmbientC


@dataclass(frozen=True, slots=True)
class Loading:
    """Load (per unit) and ambient (degC) at n + 1 instants (min): a state at the first, n steps.

    The value at an instant holds for the step that ends there.

    Raises:
        ImpossibleReading: fewer than two instants, of unequal number, time that does not rise, a
            load below zero, or anything that is not finite.
    """

    time_min: Floats
    load: Floats
    ambient_c: Floats

    def __post_init__(self) -> None:
        counts = {"time_min": len(self.time_min), "load": len(self.load)}
        counts["ambient_c"] = len(self.ambient_c)
        if len(set(counts.values())) > 1 or counts["load"] < 2:
            raise ImpossibleReading(counts, "each of two instants or more needs load and ambient")
        refuse_unless_finite(
            {"time_min": self.time_min, "load": self.load, "ambient_c": self.ambient_c}
        )
        if not bool((np.diff(self.time_min) > 0).all()):
            raise ImpossibleReading({"time_min": self.time_min}, "time must rise")
        if bool((self.load < 0).any()):
            raise ImpossibleReading({"load": self.load}, "a load is not below zero")

    @property
    def steps_min(self) -> Floats:
        """Length of every step, min; shape (n,)."""
        return np.diff(self.time_min)


@dataclass(frozen=True, slots=True)
class Temperatures:
    """What a model gives: degC at each instant (min), the first of them the state at the start."""

    time_min: Floats
    top_liquid_c: Floats
    hot_spot_c: Floats


def loading_of(points: Sequence[CyclePoint], step_min: float) -> Loading:
    """A cycle in even steps of at most `step_min`, straight between its points.

    Two points at one hour make a step of the load: the earlier holds up to that instant.

    Raises:
        ImpossibleReading: fewer than two points, hours that fall, a cycle of no length, a step that
            is none.
    """
    refuse_unless_finite({"step_min": step_min})
    hours = np.array([point.hours for point in points])
    if len(hours) < 2 or bool((np.diff(hours) < 0).any()) or hours[-1] <= hours[0] or step_min <= 0:
        facts = {"points": len(hours), "step_min": step_min}
        raise ImpossibleReading(facts, "a cycle needs two points or more, in order of their hours")
    minutes = 60.0 * hours
    count = int(np.ceil((minutes[-1] - minutes[0]) / step_min - 1e-9))
    time_min = np.linspace(minutes[0], minutes[-1], count + 1)

    def between(values: Sequence[float]) -> Floats:
        # Run backwards: of two points at one instant interp takes the later.
        backwards = np.interp(-time_min[::-1], -minutes[::-1], np.array(values)[::-1])
        return np.asarray(backwards[::-1], dtype=np.float64)

    return Loading(
        time_min,
        between([point.load for point in points]),
        between([point.ambient_c for point in points]),
    )
