"""Dynamic loading of oil-immersed transformers after IEC 60076-7, both of its forms.

Its winding exponent y is that of loading. The one that corrects a measured gradient to rated
current (IEC 60076-2) is another and stands elsewhere.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Annotated, ClassVar, Literal

import numpy as np
from annotated_types import Ge, Gt, Le, Lt

from calculation.errors import ImpossibleReading, refuse_unless_finite
from calculation.load_cycle import Floats, Loading, Temperatures
from calculation.nameplate import STRICT, NotNegative
from calculation.number import N

Kind = Literal[
    "distribution ONAN",
    "power ONAN",
    "power ONAN restricted",
    "power ONAF",
    "power ONAF restricted",
    "OF",
    "OF restricted",
    "OD",
]
Regime = Literal["normal cyclic", "long-time emergency", "short-time emergency"]
Size = Literal["distribution", "medium power", "large power"]
Minutes = Annotated[float, Gt(0), Le(10_000)]
Kelvins = Annotated[float, Gt(0), Lt(200)]
Exponent = Annotated[float, Ge(0.1), Le(3)]
Factor = Annotated[float, Gt(0), Le(10)]


@dataclass(frozen=True, slots=True)
class Characteristics:
    """Thermal characteristics of a unit at its rated load.

    `loss_ratio` R is load loss over no-load loss; `top_liquid_rise_k` over ambient;
    `hot_spot_gradient_k` hot spot over top liquid, H times the winding's gradient; x and y the
    exponents of liquid and winding; the constants of the model; time constants in minutes.
    """

    loss_ratio: float
    top_liquid_rise_k: float
    hot_spot_gradient_k: float
    x: float
    y: float
    k11: float
    k21: float
    k22: float
    oil_time_constant_min: float
    winding_time_constant_min: float

    def shortest_min(self) -> float:
        """The smallest time constant of the model, min."""
        return min(
            self.winding_time_constant_min,
            self.k11 * self.oil_time_constant_min,
            self.oil_time_constant_min / self.k22,
        )


# IEC 60076-7 (exponents and constants of its table of characteristics; R and rises those of its
# loading examples): distribution ONAN, power ONAN and ONAF read in transcriptions, save the rises
# of power ONAN, which with the other rows are from memory. A restricted flow changes k21 alone.
TABULATED: Mapping[Kind, Characteristics] = {
    "distribution ONAN": Characteristics(5, 55, 23, 0.8, 1.6, 1.0, 1.0, 2.0, 180, 4),
    "power ONAN": Characteristics(6, 52, 26, 0.8, 1.3, 0.5, 2.0, 2.0, 210, 10),
    "power ONAN restricted": Characteristics(6, 52, 26, 0.8, 1.3, 0.5, 3.0, 2.0, 210, 10),
    "power ONAF": Characteristics(6, 52, 26, 0.8, 1.3, 0.5, 2.0, 2.0, 150, 7),
    "power ONAF restricted": Characteristics(6, 52, 26, 0.8, 1.3, 0.5, 3.0, 2.0, 150, 7),
    "OF": Characteristics(6, 56, 22, 1.0, 1.3, 1.0, 1.3, 1.0, 90, 7),
    "OF restricted": Characteristics(6, 56, 22, 1.0, 1.3, 1.0, 1.45, 1.0, 90, 7),
    "OD": Characteristics(6, 49, 29, 1.0, 2.0, 1.0, 1.0, 1.0, 90, 7),
}


@dataclass(frozen=True, slots=True)
class StandardUncertainty:
    """Standard uncertainty of each characteristic that was measured or fitted, in its own unit."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    loss_ratio: NotNegative = 0.0
    top_liquid_rise_k: NotNegative = 0.0
    hot_spot_gradient_k: NotNegative = 0.0
    oil_time_constant_min: NotNegative = 0.0
    winding_time_constant_min: NotNegative = 0.0
    x: NotNegative = 0.0

    def given(self) -> dict[str, float]:
        """Those that are stated, by name."""
        return {f.name: u for f in fields(self) if (u := getattr(self, f.name)) > 0}


@dataclass(frozen=True, slots=True)
class LoadingUnit:
    """A unit as it was fitted or tabulated: what is None is what the standard tabulates.

    Fields as in `Characteristics`; `standard` holds the standard uncertainties of what was fitted.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    kind: Kind
    loss_ratio: Annotated[float, Gt(0), Le(1000)] | None = None
    top_liquid_rise_k: Kelvins | None = None
    hot_spot_gradient_k: Kelvins | None = None
    x: Exponent | None = None
    y: Exponent | None = None
    k11: Factor | None = None
    k21: Annotated[float, Ge(1), Le(10)] | None = None
    k22: Factor | None = None
    oil_time_constant_min: Minutes | None = None
    winding_time_constant_min: Minutes | None = None
    standard: StandardUncertainty = field(default_factory=StandardUncertainty)

    def given(self) -> dict[str, float]:
        """The characteristics that are the unit's own, by name."""
        names = (f.name for f in fields(Characteristics))
        return {name: v for name in names if (v := getattr(self, name)) is not None}

    def characteristics(self) -> Characteristics:
        """The unit's own where it has them, else the tabulated ones of its kind."""
        return replace(TABULATED[self.kind], **self.given())


@dataclass(frozen=True, slots=True)
class Limits:
    """What a loading may not exceed: degC and current per unit of rated."""

    hot_spot_c: float
    top_liquid_c: float
    current: float


# IEC 60076-7, limits of current and temperature beyond nameplate: temperatures and normal cyclic
# currents read in a transcription, emergency currents from memory. For short-time emergencies of
# distribution transformers the standard (from memory) names no temperature; those of power
# transformers are taken.
TEMPERATURES: Mapping[Regime, tuple[float, float]] = {
    "normal cyclic": (120, 105),
    "long-time emergency": (140, 115),
    "short-time emergency": (160, 115),
}
CURRENTS: Mapping[Regime, Mapping[Size, float]] = {
    "normal cyclic": {"distribution": 1.5, "medium power": 1.5, "large power": 1.3},
    "long-time emergency": {"distribution": 1.8, "medium power": 1.5, "large power": 1.3},
    "short-time emergency": {"distribution": 2.0, "medium power": 1.8, "large power": 1.5},
}


def limits_of_loading(regime: Regime, size: Size) -> Limits:
    """Limits of a regime for a size of transformer (IEC 60076-7); large is over 100 MVA."""
    return Limits(*TEMPERATURES[regime], CURRENTS[regime][size])


def steady_top_liquid_k(unit: Characteristics, load: N) -> N:
    """Top-liquid rise over ambient at a load that lasts, K: ((1 + R K^2)/(1 + R))^x times rated."""
    share = (1 + unit.loss_ratio * load**2) / (1 + unit.loss_ratio)
    rise: N = unit.top_liquid_rise_k * share**unit.x
    return rise


def steady_hot_spot_k(unit: Characteristics, load: N) -> N:
    """Hot spot over top liquid at a load that lasts, K: K^y times rated."""
    gradient: N = unit.hot_spot_gradient_k * load**unit.y
    return gradient


def f1(unit: Characteristics, minutes: Floats) -> Floats:
    """How much of a step of the top-liquid rise has come about after so many minutes."""
    return 1 - np.exp(-minutes / (unit.k11 * unit.oil_time_constant_min))


def f2(unit: Characteristics, minutes: Floats) -> Floats:
    """How much of a step of hot spot over top liquid has come about; passes 1 where k21 does."""
    winding = 1 - np.exp(-minutes / (unit.k22 * unit.winding_time_constant_min))
    liquid = 1 - np.exp(-minutes * unit.k22 / unit.oil_time_constant_min)
    return unit.k21 * winding - (unit.k21 - 1) * liquid


def exponential_form(
    unit: Characteristics, minutes: Floats, before: float, load: float, ambient_c: float
) -> Temperatures:
    """Temperatures after a step from a load that had lasted, IEC 60076-7, exponential equations.

    For an increase this is the solution of the differential equations. For a decrease the standard
    takes hot spot over top liquid to be at its new value at once.

    Raises:
        ImpossibleReading: a load below zero, or anything that is not finite.
    """
    refuse_unless_finite({"minutes": minutes, "load": load, "ambient_c": ambient_c})
    for name, value in (("before", before), ("load", load)):
        if not value >= 0:
            raise ImpossibleReading({name: value}, "a load is not below zero")
    first, last = (steady_top_liquid_k(unit, at) for at in (before, load))
    top_liquid_c = ambient_c + first + (last - first) * f1(unit, minutes)
    start, end = (steady_hot_spot_k(unit, at) for at in (before, load))
    risen = f2(unit, minutes) if load >= before else 1.0
    return Temperatures(minutes, top_liquid_c, top_liquid_c + start + (end - start) * risen)


def difference_form(
    unit: Characteristics, loading: Loading, periodic: bool = False
) -> Temperatures:
    """Temperatures under any loading, IEC 60076-7, difference equations.

    Starts in balance with the first load and ambient, or where `periodic`, in the state in which
    the loading, repeated for ever, also ends.

    Raises:
        ImpossibleReading: a step longer than half the smallest time constant.
    """
    steps = loading.steps_min
    most = unit.shortest_min() / 2
    if steps.max() > most * (1 + 1e-9):
        facts = {"step_min": steps.max(), "half the smallest time constant": most}
        raise ImpossibleReading(facts, "the step is too long for the difference equations")
    tau_o, tau_w = unit.oil_time_constant_min, unit.winding_time_constant_min
    gradient = steady_hot_spot_k(unit, loading.load)
    driven = (
        (unit.k11 * tau_o, steady_top_liquid_k(unit, loading.load) + loading.ambient_c),
        (unit.k22 * tau_w, unit.k21 * gradient),
        (tau_o / unit.k22, (unit.k21 - 1) * gradient),
    )
    top_liquid, winding, liquid = (
        _following(target, steps / tau, periodic) for tau, target in driven
    )
    return Temperatures(loading.time_min, top_liquid, top_liquid + winding - liquid)


def _following(target: Floats, parts: Floats, periodic: bool) -> Floats:
    """What goes each step the given part of its way to the target; shape of the target."""
    aims, shares = target[1:].tolist(), parts.tolist()
    first = float(target[0])
    if periodic:
        # The end depends on the start by a straight line whose slope is what the steps leave over.
        left = float(np.prod(1 - parts))
        first = (_steps(first, aims, shares)[-1] - left * first) / (1 - left)
    return np.array(_steps(first, aims, shares))


def _steps(value: float, aims: list[float], shares: list[float]) -> list[float]:
    found = [value]
    for aim, share in zip(aims, shares, strict=True):
        value += share * (aim - value)
        found.append(value)
    return found
