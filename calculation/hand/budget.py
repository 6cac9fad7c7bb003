"""Uncertainty of readings taken by hand: their reduction as the model, as for a loss test."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from calculation.hand.meters import channels_of, hand_instruments
from calculation.hand.plant_side import elements
from calculation.hand.readings import HandReadings
from calculation.hand.reduction import Primary, hand_result, primary, reduced
from calculation.hand.results import HandResult, quantities_of_hand
from calculation.hand.temperature import with_winding_temperature
from calculation.loss_budget import (
    BALANCE,
    EXCHANGE,
    EXPONENT,
    HV_RESISTANCE,
    LEADS,
    LINEAR_BALANCE,
    LV_RESISTANCE,
    RESISTANCE_TEMPERATURE,
    TEMPERATURE,
    TWINS,
    Allowance,
)
from calculation.meters import Instruments
from calculation.source import Source
from calculation.uncertainty import Budget, Model, propagate

SPLIT = "method: power exchanged, plain split"


def hand_budgets(hand: HandReadings, allowance: Allowance | None = None) -> dict[str, Budget]:
    """Budget of every quantity of readings taken by hand, by the names of `quantities_of_hand`.

    Raises:
        ImpossibleReading: as `hand_result`.
    """
    return propagate(hand_sources(hand, allowance or Allowance()), hand_model(hand)).budgets


def hand_sources(hand: HandReadings, allowance: Allowance) -> list[Source]:
    """Every source of uncertainty; each is an error whose expectation is zero.

    Raises:
        ImpossibleReading: as `hand_result`.
    """
    instruments = hand_instruments(hand)
    sources = instruments.fixed_sources()
    for reading, channel in channels_of(hand).items():
        sources += instruments.reading_sources(reading, channel)
    sources.append(Source(EXPONENT, 0.0, allowance.exponent))
    if hand.lv_branch_ohm:
        sources.append(Source(LEADS, 0.0, allowance.lv_branch_percent / 100))
    given = hand.temperature
    if given is not None and given.lv_ohm is not None and given.hv_ohm is not None:
        sources += [
            Source(TEMPERATURE, 0.0, allowance.winding_temperature_k),
            Source(LV_RESISTANCE, 0.0, allowance.resistance_percent / 100),
            Source(HV_RESISTANCE, 0.0, allowance.resistance_percent / 100),
            Source(RESISTANCE_TEMPERATURE, 0.0, allowance.resistance_temperature_k),
        ]
    sources += _method_sources(hand, hand_result(hand), allowance)
    return [source for source in sources if source.limit]


def hand_model(hand: HandReadings) -> Model:
    """The reduction as a function of the errors named in `hand_sources`."""
    hand = with_winding_temperature(hand)
    read, instruments = primary(hand), hand_instruments(hand)

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        changed = replace(
            hand,
            temperature=_corrected_temperature(hand, x),
            lv_branch_ohm=hand.lv_branch_ohm * (1 - x.get(LEADS, 0.0)),
            no_load=replace(
                hand.no_load, loss_exponent=hand.no_load.loss_exponent - x.get(EXPONENT, 0.0)
            ),
        )
        return quantities_of_hand(reduced(changed, _corrected(hand, read, instruments, x)))

    return model


def _corrected(
    hand: HandReadings, read: Primary, instruments: Instruments, x: Mapping[str, Any]
) -> Primary:
    stages: dict[str, Any] = {"no_load": read.no_load, "load": read.load}
    reactive = {
        name: _reactive(elements(hand) * stage.voltage_v * stage.current_a, stage.power_w)
        for name, stage in stages.items()
    }
    for reading, channel in channels_of(hand).items():
        stage, name = reading.split(".")
        value = getattr(stages[stage], name)
        var = reactive["no_load" if name.startswith("lv_") else stage]
        corrected = instruments.corrected(x, reading, channel, value, var)
        stages[stage] = replace(stages[stage], **{name: corrected})
    no_load, load = stages["no_load"], stages["load"]
    if hand.no_load.voltage_mean_v is None:
        no_load = replace(no_load, voltage_mean_v=no_load.voltage_v)
    left = x.get(BALANCE, 0.0) + x.get(TWINS, 0.0) + x.get(SPLIT, 0.0)
    load = replace(
        load,
        power_w=load.power_w - hand.units * left,
        voltage_v=load.voltage_v * (1 - x.get(EXCHANGE, 0.0)),
    )
    return Primary(no_load, load)


def _corrected_temperature(hand: HandReadings, x: Mapping[str, Any]) -> Any:
    given = hand.temperature
    if given is None:
        return None
    assert given.winding_c is not None  # with_winding_temperature saw to it
    cold_c = given.winding_c if given.resistance_c is None else given.resistance_c
    return replace(
        given,
        winding_c=given.winding_c - x.get(TEMPERATURE, 0.0),
        lv_ohm=None if given.lv_ohm is None else given.lv_ohm * (1 - x.get(LV_RESISTANCE, 0.0)),
        hv_ohm=None if given.hv_ohm is None else given.hv_ohm * (1 - x.get(HV_RESISTANCE, 0.0)),
        resistance_c=cold_c - x.get(RESISTANCE_TEMPERATURE, 0.0),
    )


def _method_sources(hand: HandReadings, result: HandResult, allowance: Allowance) -> list[Source]:
    """What the method leaves, as `loss_budget` derives it; nothing for one transformer alone."""
    if result.method == "short circuit":
        return []
    unit, n = result.unit, hand.no_load.loss_exponent
    u_k, mismatch = unit.impedance_percent / 100, _mismatch(result)
    sources = [Source(EXCHANGE, 0.0, mismatch / (2 * u_k), "arcsine")]
    if result.method == "plain split":
        return [*sources, Source(SPLIT, 0.0, mismatch * hand.rating.power_va / 2, "arcsine")]
    balance = unit.no_load_loss_w * (u_k / 2) ** 2 * n * (n - 1) / 2
    iron = n * unit.no_load_loss_w * u_k / 2
    copper = unit.load_loss_w * unit.no_load_current_percent / 100
    twins = (iron + copper) / 2 * allowance.twins_differ_percent / 100
    left = balance + LINEAR_BALANCE * unit.load_loss_w
    return [*sources, Source(BALANCE, 0.0, left), Source(TWINS, 0.0, twins)]


def _mismatch(result: HandResult) -> float:
    """The ratio mismatch as a fraction: from the gap, else the least that the exchange explains."""
    if result.ratio_mismatch_percent is not None:
        return result.ratio_mismatch_percent / 100
    split = result.plain_split
    return 0.0 if split is None else split.least_ratio_mismatch_percent / 100


def _reactive(apparent_va: float, power_w: float) -> float:
    square = max(apparent_va**2 - power_w**2, 0.0)
    return float(square**0.5)
