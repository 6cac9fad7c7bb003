"""Temperature rises of a heat run, from what was read at its end to rated loss and current.

IEC 60076-2:2011 for liquid-filled, IEC 60076-11 for dry-type units; exponents, factors and bounds
from memory. Operators only, so that uncertain numbers pass through the same lines.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Generic, Literal

from calculation.errors import ImpossibleReading, everywhere, nominal
from calculation.number import N
from calculation.resistance import winding_temperature

LiquidCooling = Literal["ONAN", "ONAF", "OFAN", "OFAF", "OFWF", "ODAN", "ODAF", "ODWF"]
DryCooling = Literal["AN", "AF"]

# Up to here a unit is a distribution transformer, VA.
DISTRIBUTION_VA = 2.5e6
# How far a test may be from rated and still be corrected.
LOSS_BOUND = 0.20
CURRENT_BOUND = 0.10

GRADIENT_EXPONENT = {"ON": 1.6, "OF": 1.6, "OD": 2.0}
DRY_EXPONENT: dict[DryCooling, float] = {"AN": 1.6, "AF": 1.8}
COMBINING_EXPONENT: dict[DryCooling, float] = {"AN": 0.8, "AF": 0.9}


@dataclass(frozen=True, slots=True)
class Liquid(Generic[N]):
    """Liquid at top and bottom of a unit, and the air or water that cools it, degC."""

    top_c: N
    bottom_c: N
    ambient_c: N


@dataclass(frozen=True, slots=True)
class Winding(Generic[N]):
    """One winding cold (ohm, degC) and at shutdown (ohm), its T_k (K).

    `current_ratio` is rated current over that of the test in this very winding: the twins differ.
    """

    cold_ohm: N
    cold_c: N
    hot_ohm: N
    constant_k: float
    current_ratio: N

    def temperature_c(self) -> N:
        """Its mean temperature at shutdown, degC.

        Raises:
            ImpossibleReading: a resistance that is not above zero.
        """
        return winding_temperature(self.hot_ohm, self.cold_ohm, self.cold_c, self.constant_k)


@dataclass(frozen=True, slots=True)
class WindingRises(Generic[N]):
    """One winding: its temperature at shutdown, degC, and at rated its rises over the coolant, K.

    `gradient_k` is winding average less liquid average; None of a dry-type unit, as its hot spot.
    """

    temperature_c: N
    average_k: N
    gradient_k: N | None = None
    hot_spot_k: N | None = None


@dataclass(frozen=True, slots=True)
class Rises(Generic[N]):
    """Rises of one unit over its coolant at rated loss and current, K; liquid None of dry type."""

    windings: Mapping[str, WindingRises[N]]
    top_liquid_k: N | None = None
    average_liquid_k: N | None = None


@dataclass(frozen=True, slots=True)
class LiquidTest(Generic[N]):
    """What the heat run of one liquid-filled unit read.

    `steady` is the mean of the hour that gives the liquid's rises, `shutdown` the instant that
    gives the gradients; `loss_ratio` rated total loss over that of the test. Exponents None: those
    of the standard.
    """

    windings: Mapping[str, Winding[N]]
    steady: Liquid[N]
    shutdown: Liquid[N]
    loss_ratio: N
    cooling: LiquidCooling
    power_va: float
    liquid_exponent: N | None = None
    gradient_exponent: N | None = None

    def rises(self) -> Rises[N]:
        """The rises.

        Raises:
            ImpossibleReading: a test too far from rated; liquid not above its coolant, or colder at
                the top than at the bottom; a winding colder than the liquid round it.
        """
        x: Any = self.liquid_exponent
        x = liquid_exponent(self.cooling, self.power_va) if x is None else x
        y: Any = self.gradient_exponent
        y = gradient_exponent(self.cooling) if y is None else y
        top = at_rated_loss(top_liquid_rise(self.steady), self.loss_ratio, x)
        average = at_rated_loss(average_liquid_rise(self.steady), self.loss_ratio, x)
        factor = hot_spot_factor(self.power_va)
        found = {}
        for name, winding in self.windings.items():
            temperature = winding.temperature_c()
            read = gradient(name, temperature, self.shutdown)
            rated = at_rated_current(read, winding.current_ratio, y)
            found[name] = WindingRises(
                temperature, average + rated, rated, hot_spot_rise(top, rated, factor)
            )
        return Rises(found, top, average)


@dataclass(frozen=True, slots=True)
class DryTest(Generic[N]):
    """What the heat run of one dry-type unit read: its windings, its cooling air at the end, degC.

    The exponent None: that of its cooling.
    """

    windings: Mapping[str, Winding[N]]
    ambient_c: N
    cooling: DryCooling
    exponent: N | None = None

    def rises(self) -> Rises[N]:
        """The rises.

        Raises:
            ImpossibleReading: a current too far from rated, a winding not above its cooling air.
        """
        q = DRY_EXPONENT[self.cooling] if self.exponent is None else self.exponent
        found = {}
        for name, winding in self.windings.items():
            temperature = winding.temperature_c()
            read = temperature - self.ambient_c
            if not everywhere(nominal(read) > 0):
                facts = {f"{name}.temperature_c": temperature, "ambient_c": self.ambient_c}
                raise ImpossibleReading(facts, "a winding no warmer than its cooling air")
            found[name] = WindingRises(
                temperature, at_rated_current(read, winding.current_ratio, q)
            )
        return Rises(found)


def top_liquid_rise(liquid: Liquid[N]) -> N:
    """Top liquid over the coolant, K.

    Raises:
        ImpossibleReading: liquid not above its coolant.
    """
    rise = liquid.top_c - liquid.ambient_c
    if not everywhere(nominal(rise) > 0):
        facts = {"top_liquid_c": liquid.top_c, "ambient_c": liquid.ambient_c}
        raise ImpossibleReading(facts, "liquid no warmer than its coolant")
    return rise


def average_liquid_rise(liquid: Liquid[N]) -> N:
    """Average liquid over the coolant, K: top less half of top to bottom (IEC 60076-2).

    Raises:
        ImpossibleReading: liquid not above its coolant, or warmer at the bottom than at the top.
    """
    if not everywhere(nominal(liquid.top_c) >= nominal(liquid.bottom_c)):
        facts = {"top_liquid_c": liquid.top_c, "bottom_liquid_c": liquid.bottom_c}
        raise ImpossibleReading(facts, "liquid warmer at the bottom than at the top")
    return top_liquid_rise(liquid) - (liquid.top_c - liquid.bottom_c) / 2


def gradient(name: str, winding_c: N, liquid: Liquid[N]) -> N:
    """Winding average less liquid average at the same instant, K; `name` is for the refusal.

    Raises:
        ImpossibleReading: a winding colder than the liquid round it.
    """
    difference = winding_c - (liquid.top_c + liquid.bottom_c) / 2
    if not everywhere(nominal(difference) >= 0):
        facts = {
            f"{name}.temperature_c": winding_c,
            "top_liquid_c": liquid.top_c,
            "bottom_liquid_c": liquid.bottom_c,
        }
        raise ImpossibleReading(facts, "a winding colder than the liquid round it")
    return difference


def hot_spot_rise(top_liquid_k: N, gradient_k: N, factor: float) -> N:
    """Hot spot over the coolant, K: top-liquid rise and H times the gradient (IEC 60076-2)."""
    return top_liquid_k + factor * gradient_k


def hot_spot_factor(power_va: float) -> float:
    """H: 1.1 of a distribution transformer, 1.3 of a larger one (IEC 60076-2; from memory)."""
    return 1.1 if power_va <= DISTRIBUTION_VA else 1.3


def liquid_exponent(cooling: LiquidCooling, power_va: float) -> float:
    """x of the liquid's rise with loss (IEC 60076-2; from memory): 0.8, 0.9 or 1.0."""
    if not cooling.startswith("ON"):
        return 1.0
    return 0.8 if cooling == "ONAN" and power_va <= DISTRIBUTION_VA else 0.9


def gradient_exponent(cooling: LiquidCooling) -> float:
    """y of the gradient with current (IEC 60076-2; from memory); that of loading is another."""
    return GRADIENT_EXPONENT[cooling[:2]]


def at_rated_loss(rise_k: N, loss_ratio: N, exponent: Any) -> N:
    """A liquid's rise carried to rated loss, K: times (P_r/P_t)^x (IEC 60076-2; from memory).

    Raises:
        ImpossibleReading: a test beyond 20 % from rated loss.
    """
    _refuse_far("loss of the test over rated", loss_ratio, LOSS_BOUND)
    rated: N = rise_k * loss_ratio**exponent
    return rated


def at_rated_current(rise_k: N, current_ratio: N, exponent: Any) -> N:
    """A gradient or dry-type rise carried to rated current, K: times (I_r/I_t)^y or ^q.

    IEC 60076-2 and 60076-11, from memory; q unverified.

    Raises:
        ImpossibleReading: a test beyond 10 % from rated current.
    """
    _refuse_far("current of the test over rated", current_ratio, CURRENT_BOUND)
    rated: N = rise_k * current_ratio**exponent
    return rated


def combined_dry_rise(load_k: N, no_load_k: N, cooling: DryCooling) -> N:
    """Rise with both losses, K, of separate runs with one each: load (c) and no load (e).

    c (1 + (e/c)^(1/K))^K, K 0.8 natural, 0.9 forced air (IEC 60076-11; from memory). A pair under
    back-to-back test has both losses at once and needs none of it.

    Raises:
        ImpossibleReading: a rise that is not above zero.
    """
    if not (everywhere(nominal(load_k) > 0) and everywhere(nominal(no_load_k) >= 0)):
        raise ImpossibleReading({"load_k": load_k, "no_load_k": no_load_k}, "rises are above zero")
    k = COMBINING_EXPONENT[cooling]
    combined: N = load_k * (1 + (no_load_k / load_k) ** (1 / k)) ** k
    return combined


def quantities_of(rises: Rises[N]) -> dict[str, N]:
    """Every rise of a unit by name: `top_liquid_k`, `average_k(a_hv)`, `gradient_k(a_hv)`, ..."""
    liquid = {name: getattr(rises, name) for name in ("top_liquid_k", "average_liquid_k")}
    of_windings = {
        f"{name}({winding})": getattr(found, name)
        for winding, found in rises.windings.items()
        for name in ("temperature_c", "average_k", "gradient_k", "hot_spot_k")
    }
    return {name: value for name, value in (liquid | of_windings).items() if value is not None}


def _refuse_far(name: str, rated_over_test: Any, bound: float) -> None:
    ratio = nominal(rated_over_test)
    if not everywhere(ratio > 0) or not everywhere(abs(1 / ratio - 1) <= bound + 1e-12):
        shown = 1 / ratio if everywhere(ratio > 0) else ratio
        raise ImpossibleReading({name: shown}, f"not within ±{100 * bound:g} %: not corrected")
