"""Uncertainty of a loss test: the reduction itself as the model, its readings with their errors."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from calculation.loss_test import LossReadings, LossTestResult, loss_test_result
from calculation.meters import Instruments
from calculation.nameplate import Nameplate, Resistances
from calculation.source import Source
from calculation.uncertainty import Budget, Model, propagate

NO_LOAD_CHANNELS = {
    "voltage_v": "lv.voltage",
    "voltage_mean_v": "lv.voltage_mean",
    "current_a": "lv.current",
    "power_w": "lv.power",
}
LOAD_CHANNELS = {
    "hv_voltage_v": "hv.voltage",
    "hv_current_a": "hv.current",
    "hv_power_w": "hv.power",
    "lv_voltage_v": "lv.voltage",
    "lv_power_w": "lv.power",
}
NOT_MEASURED = {"winding_temperature_c", "reference_temperature_c"}

TEMPERATURE = "winding temperature"
EXPONENT = "exponent of the no-load loss"
LEADS = "leads of the LV branch"
BALANCE = "method: balance of the iron's loss"
EXCHANGE = "method: exchange seen in the impedance"
TWINS = "method: the twins differ"
IRON = "method: iron at low flux in prove"
LV_RESISTANCE, HV_RESISTANCE = "d.c. resistance, LV", "d.c. resistance, HV"
RESISTANCE_TEMPERATURE = "temperature of the d.c. resistances"

# With a linear core the balance is right within this (calculated on T-circuits to d = 0.2 %).
LINEAR_BALANCE = 1e-4


@dataclass(frozen=True, slots=True)
class Allowance:
    """Limits of error of what is known beside the meters: K, percent, and the bare exponent.

    `twins_differ_percent` is how far apart losses and resistances of the two units may lie,
    `low_flux_factor` how many times its share the iron may draw at half the impedance voltage.
    """

    winding_temperature_k: float = 1.0
    resistance_percent: float = 0.2
    resistance_temperature_k: float = 0.5
    lv_branch_percent: float = 5.0
    exponent: float = 0.1
    twins_differ_percent: float = 5.0
    low_flux_factor: float = 4.0


@dataclass(frozen=True, slots=True)
class LossTest:
    """Everything that a loss test's results rest on, and at which loads they are evaluated."""

    readings: LossReadings
    nameplate: Nameplate
    resistances: Resistances
    lv_branch_ohm: float = 0.0
    evaluate_load: Sequence[float] = ()
    power_factors: Sequence[float] = ()
    leading: Sequence[bool] = ()

    def result(self) -> LossTestResult:
        """The results.

        Raises:
            ImpossibleReading: as `loss_test_result`.
        """
        return loss_test_result(
            self.readings,
            self.nameplate,
            self.resistances,
            lv_branch_ohm=self.lv_branch_ohm,
            evaluate_load=self.evaluate_load,
            power_factors=self.power_factors,
            leading=self.leading,
        )


def loss_budgets(
    test: LossTest, instruments: Instruments, allowance: Allowance | None = None
) -> dict[str, Budget]:
    """Budget of every reported quantity, by the names of `quantities_of`.

    Raises:
        ImpossibleReading: as `loss_test_result`.
    """
    sources = loss_sources(test, instruments, allowance or Allowance())
    return propagate(sources, loss_model(test, instruments)).budgets


def uncertainty_of(budgets: Mapping[str, Budget]) -> dict[str, dict[str, float | str]]:
    """Standard and expanded (95 %) uncertainty, factor and what it rests on, JSON-ready."""
    return {
        name: {
            "standard": budget.standard,
            "expanded": budget.expanded,
            "factor": budget.factor,
            "basis": budget.basis,
        }
        for name, budget in budgets.items()
    }


def loss_sources(test: LossTest, instruments: Instruments, allowance: Allowance) -> list[Source]:
    """Every source of uncertainty of a loss test; each is an error whose expectation is zero.

    Raises:
        ImpossibleReading: as `loss_test_result`.
    """
    readings = test.readings
    sources = instruments.fixed_sources()
    for stage, channels in _stages(readings):
        for name, channel in channels.items():
            sources += instruments.reading_sources(f"{stage}.{name}", channel)
    sources += instruments.reading_sources("series_voltage_v", "series.voltage")
    result = test.result()
    balance, exchange = _method_limits(test, result)
    twins = _twins_limit(test, result) * allowance.twins_differ_percent / 100
    sources += [
        Source(TEMPERATURE, 0.0, allowance.winding_temperature_k),
        Source(LV_RESISTANCE, 0.0, allowance.resistance_percent / 100),
        Source(HV_RESISTANCE, 0.0, allowance.resistance_percent / 100),
        Source(RESISTANCE_TEMPERATURE, 0.0, allowance.resistance_temperature_k),
        Source(LEADS, 0.0, allowance.lv_branch_percent / 100 if test.lv_branch_ohm else 0.0),
        Source(EXPONENT, 0.0, allowance.exponent),
        Source(BALANCE, 0.0, balance),
        Source(TWINS, 0.0, twins),
        Source(EXCHANGE, 0.0, exchange, "arcsine"),
        Source(IRON, 0.0, _iron_share(result) * (allowance.low_flux_factor - 1)),
    ]
    return [source for source in sources if source.limit]


def loss_model(test: LossTest, instruments: Instruments) -> Model:
    """The reduction as a function of the errors named in `loss_sources`."""
    reactive = _reactive_powers(test.readings)

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        readings = _corrected(test.readings, instruments, x, reactive)
        resistances = Resistances(
            test.resistances.lv_ohm * (1 - x.get(LV_RESISTANCE, 0.0)),
            test.resistances.hv_ohm * (1 - x.get(HV_RESISTANCE, 0.0)),
            test.resistances.temperature_c - x.get(RESISTANCE_TEMPERATURE, 0.0),
        )
        leads = test.lv_branch_ohm * (1 - x.get(LEADS, 0.0))
        changed = replace(test, readings=readings, resistances=resistances, lv_branch_ohm=leads)
        return quantities_of(changed.result())

    return model


def quantities_of(result: LossTestResult) -> dict[str, Any]:
    """Every measured quantity of a result by name: those of the pair's mean as they are called
    there, `total_loss_w`, mismatch and series ratio, the prove stage's with `prove_` before them,
    efficiency and regulation with their load and power factor behind.
    """
    mean = result.pair_mean
    found: dict[str, Any] = {}
    for name in mean.__dataclass_fields__:
        value = getattr(mean, name)
        if isinstance(value, tuple):
            found |= {f"{name}({at.where})": at.value for at in value}
        elif name not in NOT_MEASURED:
            found[name] = value
    found["total_loss_w"] = mean.no_load_loss_w + mean.load_loss_reference_w
    found["ratio_mismatch_percent"] = result.ratio_mismatch_percent
    found["series_ratio_percent"] = result.series_ratio_percent
    if result.prove is not None:
        for name in result.prove.__dataclass_fields__:
            if name not in NOT_MEASURED:
                found[f"prove_{name}"] = getattr(result.prove, name)
    return found


def _stages(readings: LossReadings) -> list[tuple[str, dict[str, str]]]:
    stages = [("no_load", NO_LOAD_CHANNELS), ("load", LOAD_CHANNELS)]
    return stages if readings.prove is None else [*stages, ("prove", LOAD_CHANNELS)]


def _corrected(
    readings: LossReadings,
    instruments: Instruments,
    x: Mapping[str, Any],
    reactive: Mapping[str, float],
) -> LossReadings:
    means = {
        stage: instruments.corrected_means(x, stage, getattr(readings, stage), channels, reactive)
        for stage, channels in _stages(readings)
    }
    # What the method leaves is put where the reduction meets it: on the loop's power and voltage.
    loop = "load" if readings.prove is None else "prove"
    left = x.get(BALANCE, 0.0) + x.get(TWINS, 0.0)
    power = means["load"].hv_power_w - 2 * left
    means["load"] = replace(means["load"], hv_power_w=power)
    voltage = means[loop].hv_voltage_v * (1 - x.get(EXCHANGE, 0.0))
    means[loop] = replace(means[loop], hv_voltage_v=voltage)
    if readings.prove is not None:
        # A shunt in the middle of the impedance takes twice its share from the resistance.
        iron, prove = x.get(IRON, 0.0), means["prove"]
        means["prove"] = replace(
            prove,
            hv_voltage_v=prove.hv_voltage_v * (1 - iron),
            hv_power_w=prove.hv_power_w * (1 - 2 * iron),
        )
    temperature = x.get(TEMPERATURE, 0.0)
    cold = readings.prove_temperature_c
    return replace(
        readings,
        **means,
        series_voltage_v=instruments.corrected(
            x, "series_voltage_v", "series.voltage", readings.series_voltage_v, 0.0
        ),
        loss_exponent=readings.loss_exponent - x.get(EXPONENT, 0.0),
        winding_temperature_c=readings.winding_temperature_c - temperature,
        prove_temperature_c=None if cold is None else cold - temperature,
    )


def _method_limits(test: LossTest, result: LossTestResult) -> tuple[float, float]:
    """What balance leaves in P_k, W, and the loop's exchange in Z_e, as a fraction.

    Calculated on full T-circuits: exponent n leaves P0 (u_k/2)² n(n-1)/2; the gap's voltage at an
    unknown phase in the loop shifts the impedance by its share of the loop voltage.
    """
    mean, readings = result.pair_mean, test.readings
    n = readings.loss_exponent
    u_k = mean.impedance_percent / 100
    balance = mean.no_load_loss_w * (u_k / 2) ** 2 * abs(n * (n - 1)) / 2
    loop = readings.load if readings.prove is None else readings.prove
    gap = max(readings.series_voltage_v, 0.0) * loop.lv_voltage_v / readings.no_load.voltage_v
    return balance + LINEAR_BALANCE * mean.load_loss_w, gap / loop.hv_voltage_v


def _twins_limit(test: LossTest, result: LossTestResult) -> float:
    """What the balance leaves in P_k, W, per difference of the twins as a fraction.

    Loaded, one core sees more and the other less than the bus by half the impedance voltage, and
    one LV winding carries loop and no-load current in sum, the other in difference. Between equal
    twins both cancel; between unequal ones half the difference of iron loss, and of R x cross
    current, stays, at the worst phase of the loop current. Derived on the T-circuits.
    """
    mean = result.pair_mean
    iron = test.readings.loss_exponent * mean.no_load_loss_w * mean.impedance_percent / 100 / 2
    copper = mean.load_loss_w * mean.no_load_current_percent / 100
    return (iron + copper) / 2


def _iron_share(result: LossTestResult) -> float:
    """How far the iron at rated flux lowers Z_e, as a fraction; at low flux so many times more.

    The core branch shunts half of the impedance: a quarter of u_k times I0. Load loss and
    impedance are those with the iron at rated flux, as in service; a unit short-circuited alone
    shows them with the iron at low flux.
    """
    mean = result.pair_mean
    return mean.impedance_percent / 100 / 4 * mean.no_load_current_percent / 100


def _reactive_powers(readings: LossReadings) -> dict[str, float]:
    """Reactive power behind each wattmeter, var: the iron's stays while the loop is loaded."""
    no_load = readings.no_load
    iron = _reactive(no_load.voltage_v * no_load.current_a, no_load.power_w)
    found = {"no_load.power_w": iron, "load.lv_power_w": iron}
    for stage, means in (("load", readings.load), ("prove", readings.prove)):
        if means is not None:
            apparent = means.hv_voltage_v * means.hv_current_a
            found[f"{stage}.hv_power_w"] = _reactive(apparent, means.hv_power_w)
    return found


def _reactive(apparent_va: float, power_w: float) -> float:
    # Two supplies feed the loop: its wattmeter may read above U·I by the meters' errors.
    square = max(apparent_va**2 - power_w**2, 0.0)
    return float(square**0.5)
