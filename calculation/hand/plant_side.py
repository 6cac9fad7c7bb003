"""Hand readings as they stand on the plant's side of every instrument transformer, and checked.

What the meters showed becomes line values and total power of each stage: transformers' ratios and
errors, the wattmeter's own take and the sum of several wattmeters. A unit that was forgotten shows
against the rating.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calculation.errors import ImpossibleReading, refuse_unless_finite, refuse_unless_positive
from calculation.hand.meters import instrument, through
from calculation.hand.readings import HandLoad, HandNoLoad, HandReadings, Side
from calculation.instruments import (
    MINUTE,
    less_current_circuit,
    less_voltage_circuit,
    primary_power,
    reactive_power,
    turned,
)
from calculation.three_phase import ROOT_3, phase_voltage, total_power

# Between which shares of rated a reading is at home; a thousand times off means a unit forgotten.
NO_LOAD_VOLTAGE = (0.05, 1.5)
NO_LOAD_CURRENT = (0.0002, 0.9)
LOAD_CURRENT = (0.02, 2.0)
LOAD_VOLTAGE = (0.0005, 0.6)
LV_POWER = (-0.3, 0.3)
LEAST_AIDING = 0.25  # of twice the HV voltage: no tap difference reaches that
# No transformer's power factor is smaller, unloaded or short-circuited: a power below was read in
# another unit.
LEAST_POWER_FACTOR = 0.0015


@dataclass(frozen=True, slots=True)
class PrimaryNoLoad:
    """No-load stage on the plant's side: line values, total power, side as measured."""

    voltage_v: float
    voltage_mean_v: float
    current_a: float
    power_w: float
    series_voltage_v: float | None


@dataclass(frozen=True, slots=True)
class PrimaryLoad:
    """Load stage on the plant's side: line values, total power, side as measured."""

    voltage_v: float
    current_a: float
    power_w: float
    lv_voltage_v: float | None
    lv_power_w: float | None


def primary_no_load(hand: HandReadings) -> PrimaryNoLoad:
    """The no-load stage.

    Raises:
        ImpossibleReading: a reading that is missing, impossible, or in another unit.
    """
    stage, side = hand.no_load, hand.no_load.side
    volts, amperes = through(hand, side, "voltmeter"), through(hand, side, "ammeter")
    refuse_unless_positive(
        {"no_load.voltage_v": stage.voltage_v, "no_load.current_a": stage.current_a}
    )
    voltage, current = volts.primary(stage.voltage_v), amperes.primary(stage.current_a)
    rated_v = _rated_voltage(hand, side)
    _at_home("no_load.voltage_v", voltage, rated_v, NO_LOAD_VOLTAGE)
    rated_a = hand.units * _rated_current(hand, side)
    _at_home("no_load.current_a", current, rated_a, NO_LOAD_CURRENT)
    watts = _power(hand, stage, "no_load", side)
    mean = voltage
    if stage.voltage_mean_v is not None:
        refuse_unless_positive({"no_load.voltage_mean_v": stage.voltage_mean_v})
        mean = volts.primary(stage.voltage_mean_v)
        _at_home("no_load.voltage_mean_v", mean, rated_v, NO_LOAD_VOLTAGE)
    return PrimaryNoLoad(voltage, mean, current, watts, _series_voltage(hand))


def _series_voltage(hand: HandReadings) -> float | None:
    """The gap's voltage, one phase; only a pair has a gap."""
    volts = hand.no_load.series_voltage_v
    if volts is None:
        return None
    name = "no_load.series_voltage_v"
    refuse_unless_finite({name: volts})
    if hand.units == 1:
        raise ImpossibleReading({name: volts}, "one transformer has no gap")
    if volts < 0:
        raise ImpossibleReading({name: volts}, "an r.m.s. value is never below zero")
    volts = through(hand, "series", "voltmeter").primary(volts)
    across = 2 * _winding_voltage(hand, "hv") * hand.no_load.voltage_v
    across *= through(hand, hand.no_load.side, "voltmeter").ratio
    across /= _rated_voltage(hand, hand.no_load.side)
    if volts > LEAST_AIDING * across:
        _at_home(name, volts, across, (0.0, 3.0), "twice the HV voltage")
        raise ImpossibleReading({name: volts, "twice the HV voltage": across}, "not in opposition")
    return volts


def primary_load(hand: HandReadings, iron: PrimaryNoLoad) -> PrimaryLoad:
    """The load stage; `iron` lends the LV wattmeter its reactive power.

    Raises:
        ImpossibleReading: a reading that is missing, impossible, or in another unit.
    """
    stage, side = hand.load, hand.load.side
    volts, amperes = through(hand, side, "voltmeter"), through(hand, side, "ammeter")
    refuse_unless_positive({"load.voltage_v": stage.voltage_v, "load.current_a": stage.current_a})
    voltage, current = volts.primary(stage.voltage_v), amperes.primary(stage.current_a)
    _at_home("load.current_a", current, _rated_current(hand, side), LOAD_CURRENT)
    rated_v = hand.units * _rated_voltage(hand, side)
    _at_home("load.voltage_v", voltage, rated_v, LOAD_VOLTAGE)
    watts = _power(hand, stage, "load", side)
    lv_v, lv_w = _balance(hand, iron)
    return PrimaryLoad(voltage, current, watts, lv_v, lv_w)


def elements(hand: HandReadings) -> float:
    """Apparent power is this times line voltage times line current."""
    return ROOT_3 if hand.rating.phases == 3 else 1.0


def _power(hand: HandReadings, stage: HandNoLoad | HandLoad, name: str, side: Side) -> float:
    """Total power of a stage on the plant's side, the wattmeters' own take out."""
    meter = instrument(hand, side, "wattmeter")
    shown = _shown_power(hand, stage, name) * meter.ratio
    if meter.voltage_circuit_ohm is not None:
        shown = less_voltage_circuit(shown, stage.voltage_v, meter.voltage_circuit_ohm)
    if meter.current_circuit_ohm is not None:
        shown = less_current_circuit(shown, stage.current_a, meter.current_circuit_ohm)
    named = {f"{name}.power_w": shown}
    # Two supplies feed the loop of a pair: either may then be fed by the other.
    either_way = hand.units == 2 and name == "load" and hand.load.lv_power_w is not None
    (refuse_unless_finite if either_way else refuse_unless_positive)(named)
    readings = {f"{name}.voltage_v": stage.voltage_v, f"{name}.current_a": stage.current_a}
    apparent = elements(hand) * stage.voltage_v * stage.current_a
    _refuse_power(named | readings, apparent, either_way)
    return primary_power(
        stage.voltage_v,
        stage.current_a,
        shown,
        through(hand, side, "voltmeter"),
        through(hand, side, "ammeter"),
        elements(hand),
    )


def _refuse_power(named: Mapping[str, float], apparent_va: float, either_way: bool) -> None:
    """Refuse a power (the first of `named`) that its voltage and current can't have.

    `either_way`: a second supply takes part, so that it may be small or negative.
    """
    share = abs(next(iter(named.values()))) / apparent_va
    if share > 1:
        why = "power above U·I, cos φ would be above 1"
        if LEAST_POWER_FACTOR < share / 1000 <= 1:
            why += "; a k or m forgotten?"
        raise ImpossibleReading(named, why)
    if share < LEAST_POWER_FACTOR and (not either_way or share * 1000 > LEAST_POWER_FACTOR):
        why = f"cos φ would be {share:.2g}, smaller than any transformer's: a k or m forgotten?"
        raise ImpossibleReading(named, why)


def _shown_power(hand: HandReadings, stage: HandNoLoad | HandLoad, name: str) -> float:
    if stage.power_w is not None:
        if stage.wattmeters_w:
            raise ImpossibleReading(
                {f"{name}.power_w": stage.power_w}, "give power_w or wattmeters_w, not both"
            )
        refuse_unless_finite({f"{name}.power_w": stage.power_w})
        return stage.power_w
    if not stage.wattmeters_w:
        raise ImpossibleReading({f"{name}.power_w": None}, "a stage needs its power")
    named: Mapping[str, Any] = {
        f"{name}.wattmeters_w[{k}]": watts for k, watts in enumerate(stage.wattmeters_w)
    }
    total = float(total_power(named, hand.rating.phases))
    constant = instrument(hand, stage.side, "wattmeter").ratio
    for one, watts in named.items():
        if abs(watts) * constant > stage.voltage_v * stage.current_a:
            readings = {f"{name}.voltage_v": stage.voltage_v, f"{name}.current_a": stage.current_a}
            raise ImpossibleReading({one: watts} | readings, "a single wattmeter above U·I")
    return total


def _balance(hand: HandReadings, iron: PrimaryNoLoad) -> tuple[float | None, float | None]:
    """Voltage and power of the LV supply while the loop was loaded, or neither."""
    voltage, power = hand.load.lv_voltage_v, hand.load.lv_power_w
    named = {"load.lv_voltage_v": voltage, "load.lv_power_w": power}
    if voltage is None and power is None:
        return None, None
    refuse_unless_finite(named)
    assert voltage is not None  # both refused above where only one is missing
    assert power is not None
    refuse_unless_positive({"load.lv_voltage_v": voltage})
    if hand.units == 1:
        raise ImpossibleReading(named, "one transformer has no second supply")
    if hand.no_load.side != "lv" or hand.load.side != "hv":
        raise ImpossibleReading(named, "balance needs no load on the LV side, load on the HV side")
    volts, amperes = through(hand, "lv", "voltmeter"), through(hand, "lv", "ammeter")
    lead = (volts.displacement_minutes - amperes.displacement_minutes) * MINUTE
    watts = amperes.primary(volts.primary(power * instrument(hand, "lv", "wattmeter").ratio))
    _at_home("load.lv_voltage_v", volts.primary(voltage), hand.rating.lv_voltage_v, NO_LOAD_VOLTAGE)
    _at_home("load.lv_power_w", watts, hand.units * hand.rating.power_va, LV_POWER)
    if 0.0005 < abs(watts) / iron.power_w < 0.002:
        facts = {"load.lv_power_w": watts, "no_load.power_w": iron.power_w}
        raise ImpossibleReading(facts, "a thousandth of the no-load power: a k or m forgotten?")
    if lead:
        # The iron's reactive power stays what it was while the loop is loaded.
        reactive = reactive_power(iron.voltage_v, iron.current_a, iron.power_w, elements(hand))
        watts = turned(watts, reactive, lead)
    return volts.primary(voltage), watts


def _rated_voltage(hand: HandReadings, side: Side) -> float:
    return hand.rating.lv_voltage_v if side == "lv" else hand.rating.hv_voltage_v


def _rated_current(hand: HandReadings, side: Side) -> float:
    return hand.rating.power_va / (elements(hand) * _rated_voltage(hand, side))


def _winding_voltage(hand: HandReadings, side: Side) -> float:
    rated = _rated_voltage(hand, side)
    if hand.rating.phases == 1:
        return rated
    connection = hand.rating.lv_connection if side == "lv" else hand.rating.hv_connection
    return phase_voltage(rated, connection)


def _at_home(
    name: str,
    value: float,
    rated: float,
    between: tuple[float, float],
    of: str = "rated",
) -> None:
    """Refuse a reading far from what the rating lets expect; a forgotten unit is told."""
    low, high = between
    if low <= value / rated <= high:
        return
    why = f"must lie between {low:g} and {high:g} of {of}"
    for factor, word in ((1000.0, "1000 times smaller"), (0.001, "1000 times larger")):
        if low <= value * factor / rated <= high:
            why = f"{word} than the rating lets expect: a k or m forgotten, here or in the rating?"
            break
    raise ImpossibleReading({name: value, of: rated}, why)
