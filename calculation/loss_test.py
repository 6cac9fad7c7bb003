"""From the averaged readings of a back-to-back loss test to the results of the pair's mean.

One function for live results, for recomputation from an archive and for readings taken by hand.
Typed for floats; since the formulas use operators only, arrays (a Monte Carlo) and uncertain
numbers (a budget) pass through the very same lines.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from calculation import circuit, correction, pair, reduction
from calculation.errors import ImpossibleReading, refuse_unless_finite
from calculation.nameplate import Nameplate, Resistances
from calculation.readings import LoadMeans, LossReadings, NoLoadMeans, ProveMeans
from calculation.reduction import Loaded, Plant
from calculation.results import (
    At,
    LossTestResult,
    PairMean,
    PlainSplit,
    ProveResult,
    as_plain,
)

__all__ = [
    "At",
    "LoadMeans",
    "LossReadings",
    "LossTestResult",
    "NoLoadMeans",
    "PairMean",
    "PlainSplit",
    "ProveMeans",
    "ProveResult",
    "as_plain",
    "loss_test_result",
]


def loss_test_result(
    readings: LossReadings,
    nameplate: Nameplate,
    resistances: Resistances,
    *,
    lv_branch_ohm: float,
    evaluate_load: Sequence[float],
    power_factors: Sequence[float],
    leading: Sequence[bool],
) -> LossTestResult:
    """Reduce the averaged readings of a loss test.

    Power of the load stages by the balance method; `lv_branch_ohm` (leads of one unit's LV branch)
    is taken out. Efficiency and regulation at every combination of the three lists.

    Raises:
        ImpossibleReading: a reading that is missing or impossible, or a result that would be
            negative; the readings are named.
    """
    refuse_unless_finite({"lv_branch_ohm": lv_branch_ohm})
    plant = Plant(nameplate, 2, lv_branch_ohm)
    no_load, n = readings.no_load, readings.loss_exponent
    core = reduction.no_load(no_load, n, plant)
    load = _loaded("load", readings.load, readings, plant)
    prove = None if readings.prove is None else _loaded("prove", readings.prove, readings, plant)
    x = (load if prove is None else prove).reactance_ohm
    reference = _at_reference(load.load_loss_w, x, readings, nameplate, resistances)
    refuse_unless_finite({"series_voltage_v": readings.series_voltage_v})
    r = 100 * pair.series_ratio(readings.series_voltage_v, nameplate.ratio, no_load.voltage_v)
    evaluate = [(at, pf, lead) for at in evaluate_load for pf in power_factors for lead in leading]
    return LossTestResult(
        pair_mean=replace(
            _pair_mean(readings, nameplate, core, load, reference),
            efficiency=reduction.efficiencies(
                evaluate, nameplate, core.loss_w, reference.load_loss_w
            ),
            regulation_percent=reduction.regulations(evaluate, nameplate, reference.series),
        ),
        plain_split=_plain_split(readings, nameplate, lv_branch_ohm),
        prove=None if prove is None else _prove(prove, readings, nameplate),
        ratio_mismatch_percent=2 * r,
        series_ratio_percent=r,
    )


def _loaded(
    stage: str, means: LoadMeans | ProveMeans, readings: LossReadings, plant: Plant
) -> Loaded:
    named, loss = reduction.balanced(stage, means, readings.no_load, readings.loss_exponent)
    return reduction.loaded(named, means.hv_voltage_v / 2, means.hv_current_a, loss, plant)


@dataclass(frozen=True, slots=True)
class _Reference:
    """Load loss and series impedance (HV side) at reference temperature."""

    load_loss_w: float
    series: circuit.SeriesImpedance[float]


def _pair_mean(
    readings: LossReadings,
    nameplate: Nameplate,
    core: circuit.CoreBranch[float],
    load: Loaded,
    reference: _Reference,
) -> PairMean:
    x = reference.series.reactance_ohm
    measured = circuit.of_resistance_and_reactance(load.resistance_ohm, x)
    no_load = readings.no_load
    return PairMean(
        no_load_loss_w=core.loss_w,
        no_load_current_a=core.current_a,
        no_load_current_percent=100 * core.current_a / nameplate.lv_current_a,
        no_load_power_factor=core.power_factor,
        core_loss_current_a=core.core_loss_current_a,
        magnetizing_current_a=core.magnetizing_current_a,
        core_loss_resistance_ohm=core.core_loss_resistance_ohm,
        magnetizing_reactance_ohm=core.magnetizing_reactance_ohm,
        wave_shape_percent=100 * correction.wave_shape(no_load.voltage_mean_v, no_load.voltage_v),
        load_loss_w=load.load_loss_w,
        equivalent_resistance_ohm=measured.resistance_ohm,
        equivalent_impedance_ohm=measured.impedance_ohm,
        equivalent_reactance_ohm=x,
        impedance_percent=reduction.percent(measured.impedance_ohm, nameplate),
        impedance_at_rated_voltage_ohm=load.impedance_ohm,
        impedance_at_rated_voltage_percent=reduction.percent(load.impedance_ohm, nameplate),
        winding_temperature_c=readings.winding_temperature_c,
        load_loss_reference_w=reference.load_loss_w,
        impedance_reference_percent=reduction.percent(reference.series.impedance_ohm, nameplate),
        reference_temperature_c=nameplate.reference_temperature_c,
    )


def _at_reference(
    load_loss_w: float,
    reactance_ohm: float,
    readings: LossReadings,
    nameplate: Nameplate,
    resistances: Resistances,
) -> _Reference:
    loss = reduction.load_loss_at_reference(
        load_loss_w,
        resistances,
        readings.winding_temperature_c,
        nameplate.reference_temperature_c,
        nameplate,
    )
    resistance = loss / nameplate.hv_current_a**2
    return _Reference(loss, circuit.of_resistance_and_reactance(resistance, reactance_ohm))


def _plain_split(readings: LossReadings, nameplate: Nameplate, lv_branch_ohm: float) -> PlainSplit:
    load, no_load, n = readings.load, readings.no_load, readings.loss_exponent
    exchanged = pair.exchanged_power(
        load.lv_power_w, no_load.power_w, load.lv_voltage_v / no_load.voltage_v, n
    )
    mismatch = pair.mismatch_of_exchange(
        exchanged, nameplate.ratio, load.lv_voltage_v, load.hv_current_a
    )
    leads = pair.lead_loss(lv_branch_ohm, nameplate.ratio, load.hv_current_a)
    return PlainSplit(
        no_load_loss_w=load.lv_power_w / 2 * (nameplate.lv_voltage_v / load.lv_voltage_v) ** n,
        load_loss_w=correction.at_rated_current(
            load.hv_power_w / 2 - leads, load.hv_current_a, nameplate.hv_current_a
        ),
        exchanged_power_w=exchanged,
        least_ratio_mismatch_percent=100 * mismatch,
    )


def _prove(prove: Loaded, readings: LossReadings, nameplate: Nameplate) -> ProveResult:
    temperature = readings.prove_temperature_c
    if temperature is None:
        raise ImpossibleReading({"prove_temperature_c": None}, "cold values need a temperature")
    refuse_unless_finite({"prove_temperature_c": temperature})
    return ProveResult(
        load_loss_w=prove.load_loss_w,
        equivalent_resistance_ohm=prove.resistance_ohm,
        equivalent_impedance_ohm=prove.impedance_ohm,
        equivalent_reactance_ohm=prove.reactance_ohm,
        impedance_percent=reduction.percent(prove.impedance_ohm, nameplate),
        winding_temperature_c=temperature,
    )
