"""Uncertainty of temperature rises: the reduction of `rises` as the model, errors as its inputs.

An error that stays for the whole run (a sensor's, a meter's, that of the cold temperature) is one
source however often it was read: it is never divided by the root of a count.

A cold temperature told by the unit's own liquid sensors has their errors, which then drop out of
gradient and winding rise but for R2/R1 - 1 of them and what is left over ambient. Different sensors
have errors of their own: the mean of n of them, told by each apart, has 1/sqrt(n) of one.

Sensors that were zeroed against each other, those of the air included, all carry the error of their
mean instead, and of their own only what zeroing left. The common one drops out of liquid over
ambient; of winding over ambient it leaves R2/R1 - 1 of itself.

A resistance meter's error of reading drops out of R2/R1; its linearity and the step between ranges
don't. Not in it: what a steady state leaves unreached, and H of the hot spot, a convention.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, ClassVar

from annotated_types import Ge, Le

from calculation.cooling_curve import CoolingCurve
from calculation.heat_readings import ColdResistance
from calculation.nameplate import STRICT
from calculation.rises import (
    DRY_EXPONENT,
    DryTest,
    Liquid,
    LiquidTest,
    Winding,
    gradient_exponent,
    liquid_exponent,
    quantities_of,
)
from calculation.source import Source
from calculation.uncertainty import Budget, Model, propagate

HeatTest = LiquidTest[float] | DryTest[float]
Limit = Annotated[float, Ge(0), Le(100)]

COMMON = "sensors: common error"
BALANCE = "cold temperature: balance of winding and sensor"
METER = "resistance meter, of reading"
INSTANT = "instant of shutdown"
LOSS, CURRENT = "loss of the test", "current of the test"
COLD, AMBIENT = "sensor: cold", "sensor: ambient"
TOP, BOTTOM = "sensor: top liquid", "sensor: bottom liquid"
LIQUID_EXPONENT, GRADIENT_EXPONENT = "exponent of the liquid", "exponent of the winding"


@dataclass(frozen=True, slots=True)
class RiseAllowance:
    """Limits of error beside what the readings show themselves; K, percent, s, and bare exponents.

    `balance_k` is how far the cold winding may be from what the sensors told of it, where the run
    itself didn't show that; `sensor_k` the limit of one sensor, `zeroed_k` what zeroing all against
    each other, also liquid against air, left (None: not done), `air_sensors` how many different
    ones the ambient is the mean of. `meter_percent` and `linearity_percent` are of the resistance
    meter's reading, the second for cold and hot apart. `exponent` is of the liquid's rise; a
    winding's goes with the 1.6 of the standard where its heat flow has the power 1.25, with the 2.0
    of its loss where that is linear, and a cooling curve can't tell the one from the other.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    balance_k: Limit = 1.0
    sensor_k: Limit = 0.5
    zeroed_k: Limit | None = 0.1
    meter_percent: Limit = 0.1
    linearity_percent: Limit = 0.02
    shutdown_s: Limit = 0.5
    loss_percent: Limit = 0.5
    current_percent: Limit = 0.2
    exponent: Limit = 0.1
    gradient_exponent: Limit = 0.4
    air_sensors: Annotated[int, Ge(1)] = 1


@dataclass(frozen=True, slots=True)
class Extrapolated:
    """Of one winding: standard uncertainty at shutdown (K) and of the mean cold resistance (ohm).

    `model_k` is the bounded part of the first, taken as uniform. `cooling_k_per_s` is how fast the
    winding cooled at shutdown; `cold_sensors` and `apart_k` are those of its cold resistance.
    """

    standard_k: float
    cold_standard_ohm: float
    cooling_k_per_s: float
    cold_sensors: int = 0
    apart_k: float | None = None
    model_k: float = 0.0


def extrapolated(curve: CoolingCurve, cold: ColdResistance) -> Extrapolated:
    """What the budget needs to know of a winding's cooling curve and cold readings."""
    cold_standard = cold.scatter_ohm / max(cold.readings, 1) ** 0.5
    return Extrapolated(
        curve.standard_k,
        cold_standard,
        curve.cooling_k_per_s,
        cold.sensors,
        cold.apart_k,
        curve.model_k,
    )


def rise_budgets(
    test: HeatTest,
    windings: Mapping[str, Extrapolated],
    allowance: RiseAllowance | None = None,
) -> dict[str, Budget]:
    """Budget of every rise and gradient of a unit, by the names of `rises.quantities_of`.

    Raises:
        ImpossibleReading: as `rises`.
    """
    return propagate(rise_sources(windings, allowance), rise_model(test, windings)).budgets


def rise_sources(
    windings: Mapping[str, Extrapolated], allowance: RiseAllowance | None = None
) -> list[Source]:
    """Every source of uncertainty of a unit's rises; each an error whose expectation is zero."""
    limits = allowance or RiseAllowance()
    zeroed = limits.zeroed_k is not None
    own = limits.sensor_k if limits.zeroed_k is None else limits.zeroed_k
    # All windings of a unit have their cold temperature from the same sensors.
    cold_sensors = min((known.cold_sensors for known in windings.values()), default=0)
    sources = [
        Source(COMMON, 0.0, limits.sensor_k if zeroed else 0.0),
        _mean_of(COLD, own, cold_sensors),
        _mean_of(TOP, own, 1),
        _mean_of(BOTTOM, own, 1),
        _mean_of(AMBIENT, own, limits.air_sensors),
        _balance(windings, limits.balance_k),
        Source(METER, 0.0, limits.meter_percent / 100),
        Source(INSTANT, 0.0, limits.shutdown_s),
        Source(LOSS, 0.0, limits.loss_percent / 100),
        Source(CURRENT, 0.0, limits.current_percent / 100),
        Source(LIQUID_EXPONENT, 0.0, limits.exponent),
        Source(GRADIENT_EXPONENT, 0.0, limits.gradient_exponent),
    ]
    for name, known in windings.items():
        sources += [
            Source(f"{name}: linearity, cold", 0.0, limits.linearity_percent / 100),
            Source(f"{name}: linearity, hot", 0.0, limits.linearity_percent / 100),
            Source(f"{name}: cold scatter", 0.0, known.cold_standard_ohm, "normal"),
            Source(f"{name}: extrapolation, fit", 0.0, _beside(known), "normal"),
            Source(f"{name}: extrapolation, decay", 0.0, known.model_k * 3**0.5),
        ]
    return [source for source in sources if source.limit]


def _mean_of(sensor: str, limit_k: float, count: int) -> Source:
    """The error of the mean of so many different sensors."""
    if count <= 1:
        return Source(sensor, 0.0, limit_k)
    return Source(sensor, 0.0, limit_k / (3 * count) ** 0.5, "normal")


def _beside(known: Extrapolated) -> float:
    """What the extrapolation's standard uncertainty has beside its bounded part, K."""
    return float(max(known.standard_k**2 - known.model_k**2, 0.0) ** 0.5)


def _balance(windings: Mapping[str, Extrapolated], limit_k: float) -> Source:
    """How far the cold windings were from their sensors: as the run showed, else by its limit."""
    seen = [known.apart_k for known in windings.values() if known.apart_k is not None]
    if seen and len(seen) == len(windings):
        return Source(BALANCE, 0.0, max(seen), "normal")
    return Source(BALANCE, 0.0, limit_k)


def rise_model(test: HeatTest, windings: Mapping[str, Extrapolated]) -> Model:
    """The rises as a function of the errors named in `rise_sources`."""

    sensors = min((known.cold_sensors for known in windings.values()), default=0)
    if isinstance(test, DryTest):
        sensors = 0

    def model(errors: Mapping[str, Any]) -> dict[str, Any]:
        x = _told_by_liquid(errors, sensors) if sensors else errors
        changed = {
            name: _winding(x, name, winding, windings[name])
            for name, winding in test.windings.items()
        }
        if isinstance(test, DryTest):
            dry: Any = replace(
                test,
                windings=changed,
                ambient_c=_sensed(x, AMBIENT, test.ambient_c),
                exponent=_exponent(x, GRADIENT_EXPONENT, test.exponent, DRY_EXPONENT[test.cooling]),
            )
            return quantities_of(dry.rises())
        liquid = liquid_exponent(test.cooling, test.power_va)
        winding = gradient_exponent(test.cooling)
        wet: Any = replace(
            test,
            windings=changed,
            steady=_liquid(x, test.steady),
            shutdown=_liquid(x, test.shutdown),
            loss_ratio=test.loss_ratio * (1 + x.get(LOSS, 0.0)),
            liquid_exponent=_exponent(x, LIQUID_EXPONENT, test.liquid_exponent, liquid),
            gradient_exponent=_exponent(x, GRADIENT_EXPONENT, test.gradient_exponent, winding),
        )
        return quantities_of(wet.rises())

    return model


def _told_by_liquid(x: Mapping[str, Any], sensors: int) -> Mapping[str, Any]:
    """Errors where the cold temperature is the mean of the liquid's own one or two sensors."""
    top = x.get(TOP, 0.0)
    bottom = x.get(BOTTOM, 0.0) if sensors > 1 else top
    return {**x, BOTTOM: bottom, COLD: (top + bottom) / 2}


def _sensed(x: Mapping[str, Any], sensor: str, value: float) -> Any:
    return value - x.get(COMMON, 0.0) - x.get(sensor, 0.0)


def _liquid(x: Mapping[str, Any], liquid: Liquid[float]) -> Any:
    return replace(
        liquid,
        top_c=_sensed(x, TOP, liquid.top_c),
        bottom_c=_sensed(x, BOTTOM, liquid.bottom_c),
        ambient_c=_sensed(x, AMBIENT, liquid.ambient_c),
    )


def _winding(x: Mapping[str, Any], name: str, winding: Winding[float], known: Extrapolated) -> Any:
    # What is wrong in kelvin is put where the reduction meets it: on the hot resistance.
    late = known.cooling_k_per_s * x.get(INSTANT, 0.0)
    kelvin = late + x.get(f"{name}: extrapolation, fit", 0.0)
    kelvin += x.get(f"{name}: extrapolation, decay", 0.0)
    share = kelvin / (winding.constant_k + winding.temperature_c())
    meter = x.get(METER, 0.0)
    cold = winding.cold_ohm * (1 - meter - x.get(f"{name}: linearity, cold", 0.0))
    return replace(
        winding,
        cold_ohm=cold - x.get(f"{name}: cold scatter", 0.0),
        cold_c=_sensed(x, COLD, winding.cold_c) - x.get(BALANCE, 0.0),
        hot_ohm=winding.hot_ohm * (1 - meter - x.get(f"{name}: linearity, hot", 0.0) - share),
        current_ratio=winding.current_ratio * (1 + x.get(CURRENT, 0.0)),
    )


def _exponent(x: Mapping[str, Any], source: str, given: float | None, standard: float) -> Any:
    return (standard if given is None else given) - x.get(source, 0.0)
