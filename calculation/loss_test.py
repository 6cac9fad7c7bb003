"""From the averaged readings of a back-to-back loss test to the results of the pair's mean.

One function for live results, for recomputation from an archive and for readings taken by hand.
Typed for floats; since the formulas use operators only, arrays (a Monte Carlo) and uncertain
numbers (a budget) pass through the very same lines.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

from calculation import circuit, correction, pair, performance
from calculation.errors import ImpossibleReading, everywhere, refuse_unless_finite
from calculation.errors import refuse_unless_positive as positive
from calculation.nameplate import Nameplate, Resistances
from calculation.readings import LoadMeans, LossReadings, NoLoadMeans, ProveMeans
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


def loss_test_result(  # noqa: PLR0913 - four things known, and three lists by keyword
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
    core = _no_load(readings, nameplate)
    load = _Loaded.reduced("load", readings.load, readings, nameplate, lv_branch_ohm)
    prove = None
    if readings.prove is not None:
        prove = _Loaded.reduced("prove", readings.prove, readings, nameplate, lv_branch_ohm)
    series = load if prove is None else prove
    x = circuit.reactance(series.resistance_ohm, series.impedance_ohm, series.named)
    reference = _at_reference(load.load_loss_w, x, readings, nameplate, resistances)
    r = 100 * pair.series_ratio(
        readings.series_voltage_v, nameplate.ratio, readings.no_load.voltage_v
    )
    evaluate = [(at, pf, lead) for at in evaluate_load for pf in power_factors for lead in leading]
    return LossTestResult(
        pair_mean=replace(
            _pair_mean(readings, nameplate, core, load, reference),
            efficiency=_efficiencies(evaluate, nameplate, core, reference),
            regulation_percent=_regulations(evaluate, nameplate, reference),
        ),
        plain_split=_plain_split(readings, nameplate, lv_branch_ohm),
        prove=None if prove is None else _prove(prove, x, readings, nameplate),
        ratio_mismatch_percent=2 * r,
        series_ratio_percent=r,
    )


def _no_load(readings: LossReadings, nameplate: Nameplate) -> circuit.CoreBranch[float]:
    means = readings.no_load
    named = {f"no_load.{f.name}": getattr(means, f.name) for f in fields(means)}
    positive(named | {"loss_exponent": readings.loss_exponent})
    refuse_unless_finite({"series_voltage_v": readings.series_voltage_v})
    if not everywhere(means.power_w < means.voltage_v * means.current_a):
        raise ImpossibleReading(named, "power reaches U·I, cos φ would be 1 or more")
    # The flux follows the rectified mean, so that is what rated voltage is measured by.
    share = nameplate.lv_voltage_v / means.voltage_mean_v
    sine = 1 + correction.wave_shape(means.voltage_mean_v, means.voltage_v)
    return circuit.core_branch(
        nameplate.lv_voltage_v,
        means.current_a / 2 * share ** (readings.loss_exponent - 1),
        means.power_w / 2 * sine * share**readings.loss_exponent,
        named,
    )


@dataclass(frozen=True, slots=True)
class _Loaded:
    """One unit as one load stage shows it: leads taken out, loss at rated current."""

    load_loss_w: float
    resistance_ohm: float
    impedance_ohm: float
    named: dict[str, float]

    @classmethod
    def reduced(
        cls,
        stage: str,
        means: LoadMeans | ProveMeans,
        readings: LossReadings,
        nameplate: Nameplate,
        lv_branch_ohm: float,
    ) -> "_Loaded":
        """Reduce one load stage by the balance method."""
        named = {f"{stage}.{f.name}": getattr(means, f.name) for f in fields(means)}
        refuse_unless_finite(named)
        positive({k: v for k, v in named.items() if not k.endswith("power_w")})
        no_load, current = readings.no_load, means.hv_current_a
        share = means.lv_voltage_v / no_load.voltage_v
        loss = pair.balance_load_loss(
            means.lv_power_w, means.hv_power_w, no_load.power_w, share, readings.loss_exponent
        ) - pair.lead_loss(lv_branch_ohm, nameplate.ratio, current)
        if not everywhere(loss > 0):
            facts = named | {"no_load.power_w": no_load.power_w, "lv_branch_ohm": lv_branch_ohm}
            raise ImpossibleReading(facts, "the load loss would not be above zero")
        # The meters saw the leads too: take them out of R, then put R and X together again.
        leads = circuit.referred(lv_branch_ohm, nameplate.ratio)
        seen, resistance = means.hv_voltage_v / 2 / current, loss / current**2
        impedance = seen**2 - (resistance + leads) ** 2 + resistance**2
        if not everywhere(impedance > 0):
            facts = named | {"lv_branch_ohm": lv_branch_ohm}
            raise ImpossibleReading(facts, "impedance below the resistance of the leads")
        at_rated = correction.at_rated_current(loss, current, nameplate.hv_current_a)
        return cls(at_rated, resistance, impedance**0.5, named)


@dataclass(frozen=True, slots=True)
class _Reference:
    """Load loss and series impedance (HV side) at reference temperature."""

    load_loss_w: float
    series: circuit.SeriesImpedance[float]


def _pair_mean(
    readings: LossReadings,
    nameplate: Nameplate,
    core: circuit.CoreBranch[float],
    load: _Loaded,
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
        impedance_percent=_percent(measured.impedance_ohm, nameplate),
        impedance_at_rated_voltage_ohm=load.impedance_ohm,
        impedance_at_rated_voltage_percent=_percent(load.impedance_ohm, nameplate),
        winding_temperature_c=readings.winding_temperature_c,
        load_loss_reference_w=reference.load_loss_w,
        impedance_reference_percent=_percent(reference.series.impedance_ohm, nameplate),
        reference_temperature_c=nameplate.reference_temperature_c,
    )


def _percent(hv_ohm: float, nameplate: Nameplate) -> float:
    return circuit.percent(hv_ohm, nameplate.hv_voltage_v, nameplate.power_va)


def _efficiencies(
    evaluate: Sequence[tuple[float, float, bool]],
    nameplate: Nameplate,
    core: circuit.CoreBranch[float],
    reference: _Reference,
) -> tuple[At, ...]:
    known = nameplate.power_va, core.loss_w, reference.load_loss_w
    return tuple(At(x, pf, lead, performance.efficiency(x, pf, *known)) for x, pf, lead in evaluate)


def _regulations(
    evaluate: Sequence[tuple[float, float, bool]], nameplate: Nameplate, reference: _Reference
) -> tuple[At, ...]:
    e_r = _percent(reference.series.resistance_ohm, nameplate)
    e_x = _percent(reference.series.reactance_ohm, nameplate)
    return tuple(
        At(x, pf, lead, performance.regulation_percent(x, pf, e_r, e_x, lead))
        for x, pf, lead in evaluate
    )


def _at_reference(
    load_loss_w: float,
    reactance_ohm: float,
    readings: LossReadings,
    nameplate: Nameplate,
    resistances: Resistances,
) -> _Reference:
    measured_c, wanted_c = readings.winding_temperature_c, nameplate.reference_temperature_c
    refuse_unless_finite({"winding_temperature_c": measured_c})
    windings = []
    for ohm, current, material in (
        (resistances.lv_ohm, nameplate.lv_current_a, nameplate.material_lv),
        (resistances.hv_ohm, nameplate.hv_current_a, nameplate.material_hv),
    ):
        constant = correction.temperature_constant(material)
        hot = correction.resistance_at(ohm, resistances.temperature_c, measured_c, constant)
        windings.append(correction.WindingLoss(hot * current**2, constant))
    loss = correction.load_loss_at_reference(load_loss_w, windings, measured_c, wanted_c)
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


def _prove(prove: _Loaded, x: float, readings: LossReadings, nameplate: Nameplate) -> ProveResult:
    temperature = readings.prove_temperature_c
    refuse_unless_finite({"prove_temperature_c": temperature})
    assert temperature is not None  # refused above
    return ProveResult(
        load_loss_w=prove.load_loss_w,
        equivalent_resistance_ohm=prove.resistance_ohm,
        equivalent_impedance_ohm=prove.impedance_ohm,
        equivalent_reactance_ohm=x,
        impedance_percent=_percent(prove.impedance_ohm, nameplate),
        winding_temperature_c=temperature,
    )
