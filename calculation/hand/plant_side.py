"""Hand readings as they stand on the plant's side of every instrument transformer, and checked.

What the meters showed becomes line values and total power of each stage: transformers' ratios and
errors, the wattmeter's own take and the sum of several wattmeters. A unit that was forgotten shows
against the rating.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calculation.errors import ImpossibleReading, refuse_unless_finite, refuse_unless_positive
from calculation.hand.readings import HandInstrument, HandLoad, HandNoLoad, HandReadings, Side
from calculation.instruments import (
    MINUTE,
    Limits,
    Transformer,
    less_current_circuit,
    less_voltage_circuit,
    primary_power,
    reactive_power,
    turned,
)
from calculation.meters import Instruments, MeterLimits
from calculation.three_phase import ROOT_3, total_power

CHANNEL_OF = {"voltmeter": "voltage", "ammeter": "current", "wattmeter": "power"}
PLAIN = HandInstrument()

# Between which shares of rated a reading is at home; a thousand times off means a unit forgotten.
NO_LOAD_VOLTAGE = (0.05, 1.5)
NO_LOAD_CURRENT = (0.0005, 0.9)
LOAD_CURRENT = (0.02, 2.0)
LOAD_VOLTAGE = (0.0005, 0.5)


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
    volts, amperes = _through(hand, side, "voltmeter"), _through(hand, side, "ammeter")
    refuse_unless_positive(
        {"no_load.voltage_v": stage.voltage_v, "no_load.current_a": stage.current_a}
    )
    voltage, current = volts.primary(stage.voltage_v), amperes.primary(stage.current_a)
    rated_v = _rated_voltage(hand, side)
    _at_home("no_load.voltage_v", voltage, rated_v, NO_LOAD_VOLTAGE)
    rated_a = hand.units * _rated_current(hand, side)
    _at_home("no_load.current_a", current, rated_a, NO_LOAD_CURRENT)
    watts = _power(hand, stage, "no_load", side)
    mean = stage.voltage_v if stage.voltage_mean_v is None else stage.voltage_mean_v
    return PrimaryNoLoad(voltage, volts.primary(mean), current, watts, stage.series_voltage_v)


def primary_load(hand: HandReadings, iron: PrimaryNoLoad) -> PrimaryLoad:
    """The load stage; `iron` lends the LV wattmeter its reactive power.

    Raises:
        ImpossibleReading: a reading that is missing, impossible, or in another unit.
    """
    stage, side = hand.load, hand.load.side
    volts, amperes = _through(hand, side, "voltmeter"), _through(hand, side, "ammeter")
    refuse_unless_positive({"load.voltage_v": stage.voltage_v, "load.current_a": stage.current_a})
    voltage, current = volts.primary(stage.voltage_v), amperes.primary(stage.current_a)
    _at_home("load.current_a", current, _rated_current(hand, side), LOAD_CURRENT)
    rated_v = hand.units * _rated_voltage(hand, side)
    _at_home("load.voltage_v", voltage, rated_v, LOAD_VOLTAGE)
    watts = _power(hand, stage, "load", side)
    lv_v, lv_w = _balance(hand, iron)
    return PrimaryLoad(voltage, current, watts, lv_v, lv_w)


def hand_instruments(hand: HandReadings) -> Instruments:
    """Limits of error of every instrument, on the plant's side of its transformer."""
    meters: dict[str, MeterLimits] = {}
    transformers: dict[str, Limits] = {}
    for name, given in hand.instruments.items():
        side, kind = name.split("_")
        ratio = given.ratio
        if kind == "wattmeter":
            for other in ("voltmeter", "ammeter"):
                ratio *= _instrument(hand, side, other).ratio
        meters[f"{side}.{CHANNEL_OF[kind]}"] = MeterLimits(
            given.reading_percent,
            given.class_percent,
            given.range * ratio,
            given.resolution * ratio,
        )
        if kind != "wattmeter" and (given.ratio_percent or given.displacement_limit_minutes):
            transformer = "vt" if kind == "voltmeter" else "ct"
            transformers[f"{side}.{transformer}"] = Limits(
                given.ratio_percent, given.displacement_limit_minutes
            )
    return Instruments(meters, transformers)


def elements(hand: HandReadings) -> float:
    """Apparent power is this times line voltage times line current."""
    return ROOT_3 if hand.rating.phases == 3 else 1.0


def _power(hand: HandReadings, stage: HandNoLoad | HandLoad, name: str, side: Side) -> float:
    """Total power of a stage on the plant's side, the wattmeters' own take out."""
    readings = {f"{name}.voltage_v": stage.voltage_v, f"{name}.current_a": stage.current_a}
    shown = _shown_power(hand, stage, name)
    meter = _instrument(hand, side, "wattmeter")
    shown *= meter.ratio
    if meter.voltage_circuit_ohm is not None:
        shown = less_voltage_circuit(shown, stage.voltage_v, meter.voltage_circuit_ohm)
    if meter.current_circuit_ohm is not None:
        shown = less_current_circuit(shown, stage.current_a, meter.current_circuit_ohm)
    readings[f"{name}.power_w"] = shown
    # Two supplies feed the loop of a pair: either may then be fed by the other.
    if hand.units == 2 and name == "load":
        refuse_unless_finite({f"{name}.power_w": shown})
    else:
        refuse_unless_positive({f"{name}.power_w": shown})
    if abs(shown) > elements(hand) * stage.voltage_v * stage.current_a:
        raise ImpossibleReading(readings, "power above U·I, cos φ would be above 1")
    return primary_power(
        stage.voltage_v,
        stage.current_a,
        shown,
        _through(hand, side, "voltmeter"),
        _through(hand, side, "ammeter"),
        elements(hand),
    )


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
    return float(total_power(named, hand.rating.phases))


def _balance(hand: HandReadings, iron: PrimaryNoLoad) -> tuple[float | None, float | None]:
    """Voltage and power of the LV supply while the loop was loaded, or neither."""
    voltage, power = hand.load.lv_voltage_v, hand.load.lv_power_w
    named = {"load.lv_voltage_v": voltage, "load.lv_power_w": power}
    if voltage is None and power is None:
        return None, None
    refuse_unless_finite(named)
    assert voltage is not None  # both refused above where only one is missing
    assert power is not None
    if hand.units == 1:
        raise ImpossibleReading(named, "one transformer has no second supply")
    if hand.no_load.side != "lv" or hand.load.side != "hv":
        raise ImpossibleReading(named, "balance needs no load on the LV side, load on the HV side")
    volts, amperes = _through(hand, "lv", "voltmeter"), _through(hand, "lv", "ammeter")
    lead = (volts.displacement_minutes - amperes.displacement_minutes) * MINUTE
    watts = amperes.primary(volts.primary(power * _instrument(hand, "lv", "wattmeter").ratio))
    _at_home("load.lv_voltage_v", volts.primary(voltage), hand.rating.lv_voltage_v, NO_LOAD_VOLTAGE)
    if lead:
        # The iron's reactive power stays what it was while the loop is loaded.
        reactive = reactive_power(iron.voltage_v, iron.current_a, iron.power_w, elements(hand))
        watts = turned(watts, reactive, lead)
    return volts.primary(voltage), watts


def _instrument(hand: HandReadings, side: str, kind: str) -> HandInstrument:
    return {str(name): given for name, given in hand.instruments.items()}.get(
        f"{side}_{kind}", PLAIN
    )


def _through(hand: HandReadings, side: Side, kind: str) -> Transformer:
    given = _instrument(hand, side, kind)
    return Transformer(given.ratio, given.ratio_error_percent, given.displacement_minutes)


def _rated_voltage(hand: HandReadings, side: Side) -> float:
    return hand.rating.lv_voltage_v if side == "lv" else hand.rating.hv_voltage_v


def _rated_current(hand: HandReadings, side: Side) -> float:
    return hand.rating.power_va / (elements(hand) * _rated_voltage(hand, side))


def _at_home(name: str, value: float, rated: float, between: tuple[float, float]) -> None:
    """Refuse a reading that is a thousand times off and would be at home without that."""
    low, high = between
    if low <= value / rated <= high:
        return
    for factor, word in ((1000.0, "1000 times smaller"), (0.001, "1000 times larger")):
        if low <= value * factor / rated <= high:
            raise ImpossibleReading(
                {name: value, "rated": rated},
                f"{word} than the rating lets expect: a k or m forgotten, here or in the rating?",
            )
