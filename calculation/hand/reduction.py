"""From readings taken by hand to results: a pair or one transformer, one phase or three.

The steps are those of `reduction`, taken on one phase winding; losses are then those of all
phases, currents those of the lines, resistances and reactances those of one winding.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from calculation import circuit, correction, pair, peak_efficiency, performance, reduction
from calculation.errors import ImpossibleReading, refuse_unless_positive
from calculation.hand.plant_side import (
    PrimaryLoad,
    PrimaryNoLoad,
    primary_load,
    primary_no_load,
)
from calculation.hand.readings import HandReadings, PhaseRating, phase_rating, to_phase
from calculation.hand.results import Best, HandResult, Method, UnitResult
from calculation.hand.temperature import loss_at_reference, with_winding_temperature
from calculation.limits import Verdict, limits_of
from calculation.readings import LoadMeans, NoLoadMeans
from calculation.reduction import Loaded, Plant
from calculation.results import PlainSplit

# Percent: an exchange smaller than this is what two wattmeters disagree by.
MISMATCH_THAT_METERS_MAKE = 0.01


@dataclass(frozen=True, slots=True)
class Primary:
    """Both stages on the plant's side of the instruments: what the reduction starts from."""

    no_load: PrimaryNoLoad
    load: PrimaryLoad


def primary(hand: HandReadings) -> Primary:
    """Both stages on the plant's side.

    Raises:
        ImpossibleReading: a reading that is missing, impossible, or in another unit.
    """
    no_load = primary_no_load(hand)
    return Primary(no_load, primary_load(hand, no_load))


def hand_result(hand: HandReadings) -> HandResult:
    """Reduce readings taken by hand.

    Raises:
        ImpossibleReading: a reading that is missing or that physics forbids, a result that would
            be negative, a unit forgotten; named with value and reason.
    """
    found = reduced(with_winding_temperature(hand), primary(hand))
    _refuse_small_gap(hand, found)
    return found


def _refuse_small_gap(hand: HandReadings, found: HandResult) -> None:
    """Refuse a gap's voltage far below what the power exchanged at the same time takes."""
    mismatch, split = found.ratio_mismatch_percent, found.plain_split
    if mismatch is None or split is None or mismatch >= split.least_ratio_mismatch_percent / 20:
        return
    least, volts = split.least_ratio_mismatch_percent, hand.no_load.series_voltage_v
    # A thousand times it explains the exchange, give or take what the wattmeters err.
    if volts and least > MISMATCH_THAT_METERS_MAKE and 3 * 1000 * mismatch >= least:
        why = f"a mismatch of {mismatch:.2g} %, the exchange takes {least:.2g} %: a k forgotten?"
        raise ImpossibleReading({"no_load.series_voltage_v": volts}, why)


def reduced(hand: HandReadings, read: Primary) -> HandResult:
    """Reduce both stages as they stand on the plant's side, winding temperature known."""
    rating = phase_rating(hand)
    plant = Plant(rating, hand.units, hand.lv_branch_ohm)
    iron = _no_load_phase(hand, read.no_load, rating)
    exponent = hand.no_load.loss_exponent
    core = reduction.no_load(iron, exponent, plant)
    loop = _load_phase(hand, read.load, rating)
    loaded, method = _loaded(loop, iron, exponent, plant)
    shape = correction.wave_shape(iron.voltage_mean_v, iron.voltage_v)
    unit = _unit(hand, rating, core, loaded, shape)
    split = None
    if method == "balance":
        split = _split(loop, iron, exponent, plant, hand.rating.phases)
    return HandResult(hand.units, method, unit, split, _mismatch(read.no_load, iron, rating))


def _no_load_phase(hand: HandReadings, stage: PrimaryNoLoad, rating: PhaseRating) -> NoLoadMeans:
    """One phase on the LV side, all units."""
    side = hand.no_load.side
    voltage, current = to_phase(hand, side, stage.voltage_v, stage.current_a)
    mean, _ = to_phase(hand, side, stage.voltage_mean_v, stage.current_a)
    to_lv = rating.ratio if side == "hv" else 1.0
    power = stage.power_w / hand.rating.phases
    return NoLoadMeans(voltage / to_lv, mean / to_lv, current * to_lv, power)


@dataclass(frozen=True, slots=True)
class _Loop:
    """One phase of the load stage on the HV side, all units, with the LV supply's if read."""

    voltage_v: float
    current_a: float
    power_w: float
    lv_voltage_v: float | None
    lv_power_w: float | None


def _load_phase(hand: HandReadings, stage: PrimaryLoad, rating: PhaseRating) -> _Loop:
    side, phases = hand.load.side, hand.rating.phases
    voltage, current = to_phase(hand, side, stage.voltage_v, stage.current_a)
    to_hv = rating.ratio if side == "lv" else 1.0
    lv_v, lv_w = stage.lv_voltage_v, stage.lv_power_w
    if lv_v is not None and lv_w is not None:
        lv_v, lv_w = to_phase(hand, "lv", lv_v, 0.0)[0], lv_w / phases
    return _Loop(voltage * to_hv, current / to_hv, stage.power_w / phases, lv_v, lv_w)


def _loaded(loop: _Loop, iron: NoLoadMeans, exponent: float, plant: Plant) -> tuple[Loaded, Method]:
    named = reduction.named_readings("load", loop)
    volts = loop.voltage_v / plant.units
    if loop.lv_voltage_v is not None and loop.lv_power_w is not None:
        means = LoadMeans(
            loop.voltage_v, loop.current_a, loop.power_w, loop.lv_voltage_v, loop.lv_power_w
        )
        named, loss = reduction.balanced("load", means, iron, exponent)
        return reduction.loaded(named, volts, loop.current_a, loss, plant), "balance"
    read = {name: value for name, value in named.items() if value is not None}
    refuse_unless_positive(read)
    loss = loop.power_w / plant.units
    method: Method = "short circuit" if plant.units == 1 else "plain split"
    return reduction.loaded(read, volts, loop.current_a, loss, plant), method


def _unit(
    hand: HandReadings,
    rating: PhaseRating,
    core: circuit.CoreBranch[float],
    loaded: Loaded,
    wave_shape: float,
) -> UnitResult:
    n, phases, to_lv = rating.ratio, hand.rating.phases, 1 / rating.ratio
    x = loaded.reactance_ohm
    line_a = 3**0.5 if phases == 3 and hand.rating.lv_connection == "delta" else 1.0
    temperature = hand.temperature
    reference_w = loss_at_reference(hand, rating, loaded.load_loss_w)
    judged_w = loaded.load_loss_w if reference_w is None else reference_w
    series = circuit.of_resistance_and_reactance(judged_w / rating.hv_current_a**2, x)
    at = hand.evaluate
    evaluate = [(a, pf, lead) for a in at.load for pf in at.power_factor for lead in at.leading]
    efficiencies = reduction.efficiencies(evaluate, rating, core.loss_w, judged_w)
    percent = reduction.percent
    return UnitResult(
        no_load_loss_w=core.loss_w * phases,
        no_load_current_a=core.current_a * line_a,
        no_load_current_percent=100 * core.current_a / rating.lv_current_a,
        no_load_power_factor=core.power_factor,
        core_loss_current_a=core.core_loss_current_a * line_a,
        magnetizing_current_a=core.magnetizing_current_a * line_a,
        core_loss_resistance_ohm=core.core_loss_resistance_ohm,
        magnetizing_reactance_ohm=core.magnetizing_reactance_ohm,
        core_loss_resistance_hv_ohm=circuit.referred(core.core_loss_resistance_ohm, n),
        magnetizing_reactance_hv_ohm=circuit.referred(core.magnetizing_reactance_ohm, n),
        wave_shape_percent=100 * wave_shape,
        load_loss_w=loaded.load_loss_w * phases,
        equivalent_resistance_ohm=loaded.resistance_ohm,
        equivalent_reactance_ohm=x,
        equivalent_impedance_ohm=loaded.impedance_ohm,
        equivalent_resistance_lv_ohm=circuit.referred(loaded.resistance_ohm, to_lv),
        equivalent_reactance_lv_ohm=circuit.referred(x, to_lv),
        equivalent_impedance_lv_ohm=circuit.referred(loaded.impedance_ohm, to_lv),
        resistance_percent=percent(loaded.resistance_ohm, rating),
        reactance_percent=percent(x, rating),
        impedance_percent=percent(loaded.impedance_ohm, rating),
        winding_temperature_c=None if temperature is None else temperature.winding_c,
        load_loss_reference_w=None if reference_w is None else reference_w * phases,
        impedance_reference_percent=None
        if reference_w is None
        else percent(series.impedance_ohm, rating),
        reference_temperature_c=None
        if reference_w is None or temperature is None
        else temperature.reference_c,
        efficiency=efficiencies,
        regulation_percent=reduction.regulations(evaluate, rating, series),
        max_efficiency=_best(hand, rating, core.loss_w, judged_w),
        peak_efficiency_index_percent=peak_efficiency.peak_efficiency_index_percent(
            rating.power_va, core.loss_w, judged_w
        ),
        all_day_efficiency=performance.all_day(
            at.day, rating.power_va, core.loss_w, judged_w
        ).efficiency
        if at.day
        else None,
    )


def _best(hand: HandReadings, rating: PhaseRating, no_load_w: float, load_w: float) -> Best | None:
    if not hand.evaluate.power_factor:
        return None
    load = performance.load_of_maximum_efficiency(no_load_w, load_w)
    pf = max(hand.evaluate.power_factor)
    return Best(load, pf, performance.efficiency(load, pf, rating.power_va, no_load_w, load_w))


def _split(
    loop: _Loop, iron: NoLoadMeans, exponent: float, plant: Plant, phases: int
) -> PlainSplit:
    rating = plant.rating
    assert loop.lv_voltage_v is not None  # only a balance has a split beside it
    assert loop.lv_power_w is not None
    share = loop.lv_voltage_v / iron.voltage_v
    exchanged = pair.exchanged_power(loop.lv_power_w, iron.power_w, share, exponent)
    leads = pair.lead_loss(plant.lv_branch_ohm, rating.ratio, loop.current_a)
    to_rated = (rating.lv_voltage_v / loop.lv_voltage_v) ** exponent
    mismatch = pair.mismatch_of_exchange(exchanged, rating.ratio, loop.lv_voltage_v, loop.current_a)
    return PlainSplit(
        no_load_loss_w=phases * loop.lv_power_w / 2 * to_rated,
        load_loss_w=phases
        * correction.at_rated_current(
            loop.power_w / 2 - leads, loop.current_a, rating.hv_current_a
        ),
        exchanged_power_w=phases * exchanged,
        least_ratio_mismatch_percent=100 * mismatch,
    )


def _mismatch(stage: PrimaryNoLoad, iron: NoLoadMeans, rating: PhaseRating) -> float | None:
    if stage.series_voltage_v is None:
        return None
    return 200 * pair.series_ratio(stage.series_voltage_v, rating.ratio, iron.voltage_v)


def hand_verdict(
    hand: HandReadings, result: HandResult, expanded: Mapping[str, float] | None = None
) -> Verdict | None:
    """Judge a result by its guarantee, if any; `expanded` uncertainties for a guarded rule.

    Raises:
        ImpossibleReading: a guarded verdict on a quantity without uncertainty.
    """
    if hand.guarantee is None:
        return None
    unit = result.unit
    if unit.load_loss_reference_w is None or unit.impedance_reference_percent is None:
        reason = "no winding temperature: nothing stands at reference temperature"
        return Verdict((), None, reason, hand.guarantee.rule)
    if (
        hand.guarantee.rule == "guarded"
        and result.method == "plain split"
        and result.ratio_mismatch_percent is None
    ):
        reason = "a plain split without the gap's voltage: its uncertainty isn't known"
        return Verdict((), None, reason, hand.guarantee.rule)
    judged = _AtReference(
        unit.no_load_loss_w,
        unit.no_load_current_percent,
        unit.load_loss_reference_w,
        unit.impedance_reference_percent,
    )
    return limits_of(judged, hand.guarantee, expanded)


@dataclass(frozen=True, slots=True)
class _AtReference:
    """What a verdict looks at, once it is known to be there."""

    no_load_loss_w: float
    no_load_current_percent: float
    load_loss_reference_w: float
    impedance_reference_percent: float
