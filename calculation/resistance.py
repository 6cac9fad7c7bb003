"""Winding temperature from resistance, and the cold resistance from several readings."""

from collections.abc import Sequence
from dataclasses import dataclass

from calculation.accumulate import Accumulator
from calculation.correction import resistance_at
from calculation.errors import ImpossibleReading, everywhere, nominal, refuse_unless_positive
from calculation.number import N


@dataclass(frozen=True, slots=True)
class ColdResistance:
    """Mean of cold readings carried to one temperature: ohm, degC, spread of one, count."""

    resistance_ohm: float
    temperature_c: float
    spread_ohm: float
    count: int


def winding_temperature(hot_ohm: N, cold_ohm: N, cold_c: N, constant_k: float) -> N:
    """Mean temperature of a winding, degC: (R2/R1)(T_k + cold) - T_k (IEC 60076-2; from memory)."""
    refuse_unless_positive({"hot_ohm": hot_ohm, "cold_ohm": cold_ohm})
    return hot_ohm / cold_ohm * (constant_k + cold_c) - constant_k


def winding_rise(hot_ohm: N, cold_ohm: N, cold_c: N, constant_k: float) -> N:
    """How far heating raised the winding above its cold temperature, K.

    Raises:
        ImpossibleReading: a resistance that fell on heating.
    """
    if not everywhere(nominal(hot_ohm) >= nominal(cold_ohm)):
        values = {"hot_ohm": hot_ohm, "cold_ohm": cold_ohm}
        raise ImpossibleReading(values, "resistance falls on heating")
    return winding_temperature(hot_ohm, cold_ohm, cold_c, constant_k) - cold_c


def cold_resistance(
    readings_ohm: Sequence[float], temperatures_c: Sequence[float], constant_k: float
) -> ColdResistance:
    """The cold reference of several readings, each carried to their mean temperature.

    Raises:
        ImpossibleReading: no reading, none for a temperature, or one that is not positive.
    """
    if not readings_ohm or len(readings_ohm) != len(temperatures_c):
        counts = {"readings": len(readings_ohm), "temperatures": len(temperatures_c)}
        raise ImpossibleReading(counts, "every cold resistance needs its temperature")
    mean_c = sum(temperatures_c) / len(temperatures_c)
    mean = Accumulator("cold_ohm")
    for k, (ohm, celsius) in enumerate(zip(readings_ohm, temperatures_c, strict=True)):
        refuse_unless_positive({f"cold_ohm[{k}]": ohm})
        mean.add(resistance_at(ohm, celsius, mean_c, constant_k), k)
    return ColdResistance(mean.mean, mean_c, mean.spread, mean.count)
