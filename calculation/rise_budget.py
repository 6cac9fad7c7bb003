"""Uncertainty of temperature rises: the reduction of `rises` as the model, errors as its inputs.

An error that stays for the whole run (a sensor's, a meter's, that of the cold temperature) is one
source however often it was read: it is never divided by the root of a count.

Sensors zeroed against each other in prepare all carry the error of their mean, and of their own
only what zeroing left. The common one drops out of liquid over ambient; of winding over ambient it
leaves R2/R1 - 1 of itself, since the cold temperature was told by the same sensors.

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
LIQUID_EXPONENT, GRADIENT_EXPONENT = "exponent of the liquid", "exponent of the winding"
SENSORS = ("cold", "top liquid", "bottom liquid", "ambient")


@dataclass(frozen=True, slots=True)
class RiseAllowance:
    """Limits of error beside what the readings show themselves; K, percent, s, and bare exponents.

    `balance_k` is how far the cold winding may be from what the sensors told of it, `sensor_k` the
    limit of one sensor, `zeroed_k` what zeroing them against each other left (None: not done).
    `meter_percent` and `linearity_percent` are of the resistance meter's reading, the second for
    cold and hot apart.
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


@dataclass(frozen=True, slots=True)
class Extrapolated:
    """Of one winding: standard uncertainty at shutdown (K) and of the mean cold resistance (ohm).

    `cooling_k_per_s` is how fast the winding cooled at shutdown.
    """

    standard_k: float
    cold_standard_ohm: float
    cooling_k_per_s: float


def extrapolated(curve: CoolingCurve, cold: ColdResistance) -> Extrapolated:
    """What the budget needs to know of a winding's cooling curve and cold readings."""
    cold_standard = cold.scatter_ohm / max(cold.readings, 1) ** 0.5
    return Extrapolated(curve.standard_k, cold_standard, curve.cooling_k_per_s)


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
    sources = [
        Source(COMMON, 0.0, limits.sensor_k if zeroed else 0.0),
        *(Source(f"sensor: {name}", 0.0, own) for name in SENSORS),
        Source(BALANCE, 0.0, limits.balance_k),
        Source(METER, 0.0, limits.meter_percent / 100),
        Source(INSTANT, 0.0, limits.shutdown_s),
        Source(LOSS, 0.0, limits.loss_percent / 100),
        Source(CURRENT, 0.0, limits.current_percent / 100),
        Source(LIQUID_EXPONENT, 0.0, limits.exponent),
        Source(GRADIENT_EXPONENT, 0.0, limits.exponent),
    ]
    for name, known in windings.items():
        sources += [
            Source(f"{name}: linearity, cold", 0.0, limits.linearity_percent / 100),
            Source(f"{name}: linearity, hot", 0.0, limits.linearity_percent / 100),
            Source(f"{name}: cold scatter", 0.0, known.cold_standard_ohm, "normal"),
            Source(f"{name}: extrapolation", 0.0, known.standard_k, "normal"),
        ]
    return [source for source in sources if source.limit]


def rise_model(test: HeatTest, windings: Mapping[str, Extrapolated]) -> Model:
    """The rises as a function of the errors named in `rise_sources`."""

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        changed = {
            name: _winding(x, name, winding, windings[name])
            for name, winding in test.windings.items()
        }
        if isinstance(test, DryTest):
            dry: Any = replace(
                test,
                windings=changed,
                ambient_c=_sensed(x, "ambient", test.ambient_c),
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


def _sensed(x: Mapping[str, Any], sensor: str, value: float) -> Any:
    return value - x.get(COMMON, 0.0) - x.get(f"sensor: {sensor}", 0.0)


def _liquid(x: Mapping[str, Any], liquid: Liquid[float]) -> Any:
    return replace(
        liquid,
        top_c=_sensed(x, "top liquid", liquid.top_c),
        bottom_c=_sensed(x, "bottom liquid", liquid.bottom_c),
        ambient_c=_sensed(x, "ambient", liquid.ambient_c),
    )


def _winding(x: Mapping[str, Any], name: str, winding: Winding[float], known: Extrapolated) -> Any:
    # What is wrong in kelvin is put where the reduction meets it: on the hot resistance.
    late = known.cooling_k_per_s * x.get(INSTANT, 0.0)
    kelvin = x.get(f"{name}: extrapolation", 0.0) + late
    share = kelvin / (winding.constant_k + winding.temperature_c())
    meter = x.get(METER, 0.0)
    cold = winding.cold_ohm * (1 - meter - x.get(f"{name}: linearity, cold", 0.0))
    return replace(
        winding,
        cold_ohm=cold - x.get(f"{name}: cold scatter", 0.0),
        cold_c=_sensed(x, "cold", winding.cold_c) - x.get(BALANCE, 0.0),
        hot_ohm=winding.hot_ohm * (1 - meter - x.get(f"{name}: linearity, hot", 0.0) - share),
        current_ratio=winding.current_ratio * (1 + x.get(CURRENT, 0.0)),
    )


def _exponent(x: Mapping[str, Any], source: str, given: float | None, standard: float) -> Any:
    return (standard if given is None else given) - x.get(source, 0.0)
