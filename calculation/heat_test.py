"""The reduction of a heat run: rises, gradients, cooling curves and forecast of both units.

The standards' own order (IEC 60076-2, IEC 60076-11, IEEE C57.12.90; from memory): the liquid's
rises are those of the steady hour, the gradients those of the shutdown, both carried to rated.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import cast

from calculation.cooling_curve import CoolingCurve, cooling_curve
from calculation.correction import Standard, temperature_constant
from calculation.decision import Rule as DecisionRule
from calculation.errors import ImpossibleReading
from calculation.forecast import Forecast, forecast
from calculation.heat_readings import HeatReadings
from calculation.heat_rows import HeatRows, Mask, mean_of
from calculation.loading_iec import TABULATED, Kind
from calculation.nameplate import Nameplate, ThermalPlate
from calculation.one_body import Rows
from calculation.own_currents import LoopState, own_lv_currents
from calculation.pair import lead_loss
from calculation.rise_budget import RiseAllowance, extrapolated, rise_budgets
from calculation.rise_limits import (
    RiseLimits,
    RiseVerdict,
    ThermalClass,
    dry_limits,
    liquid_limits,
    rise_verdict,
)
from calculation.rises import (
    DISTRIBUTION_VA,
    DryCooling,
    DryTest,
    Liquid,
    LiquidCooling,
    LiquidTest,
    Rises,
    Winding,
    liquid_exponent,
)
from calculation.stated import Stated
from calculation.steadiness import HOUR_S, Rule
from calculation.thermal_fit import ThermalFit, thermal_fit
from calculation.uncertainty import Budget

UNITS = ("a", "b")
# The liquid of the shutdown: its last whole minutes.
AT_SHUTDOWN_S = 300.0
# What is read at the ends of an overload step.
ENDS_S = 150.0
THERMAL_CLASS: dict[str, ThermalClass] = {
    "A": 105,
    "E": 120,
    "B": 130,
    "F": 155,
    "H": 180,
    "200": 200,
    "220": 220,
}


KINDS: dict[str, Kind] = {
    "ONAN": "power ONAN",
    "ONAF": "power ONAF",
    "OFAF": "OF",
    "ODAF": "OD",
}


@dataclass(frozen=True, slots=True)
class HeatTest:
    """A heat run with all that its reduction needs.

    `no_load_loss_w` and `load_loss_w` are the pair's mean at reference temperature by its loss
    test, `decision` is the rule of the verdict, `loop` what tells the twins' own LV currents (None:
    the stand does not fix the angle of its loop supply).
    """

    readings: HeatReadings
    nameplate: Nameplate
    plate: ThermalPlate
    rule: Rule
    lv_branch_ohm: float
    no_load_loss_w: Stated
    load_loss_w: Stated
    allowance: RiseAllowance
    no_load_current_percent: float
    decision: DecisionRule = "simple"
    loop: LoopState | None = None

    def own_currents_a(self) -> tuple[float, float] | None:
        """LV currents of A and B, A; None where the stand doesn't tell them."""
        return None if self.loop is None else own_lv_currents(self.loop)

    @property
    def standard(self) -> Standard:
        """Whose constants hold."""
        return "IEEE" if self.rule.startswith("IEEE") else "IEC"

    @property
    def total_reference_w(self) -> float:
        """Rated total loss of a unit, W, by the pair's mean."""
        return self.no_load_loss_w.value + self.load_loss_w.value

    @property
    def is_dry(self) -> bool:
        """Whether the units are of dry type."""
        return self.plate.construction == "dry"

    def constant_k(self, winding: str) -> float:
        """T_k of a winding's metal, K."""
        plate = self.nameplate
        material = plate.material_lv if winding.endswith("_lv") else plate.material_hv
        return temperature_constant(material, self.standard)

    def limits(self) -> RiseLimits:
        """Allowed rises: the maker's where the plate has them, else the standard's.

        Raises:
            ImpossibleReading: a dry-type unit without a thermal class, an altitude without a rule.
        """
        plate = self.plate
        if self.is_dry:
            if plate.insulation is None:
                raise ImpossibleReading({"insulation": 0}, "a dry-type unit has a thermal class")
            thermal_class = THERMAL_CLASS[plate.insulation]
            limits = dry_limits(thermal_class, cast(DryCooling, plate.cooling), plate.altitude_m)
        else:
            cooling = cast(LiquidCooling, plate.cooling)
            limits = liquid_limits(cooling, self.standard, plate.altitude_m)
        return RiseLimits(
            plate.winding_rise_k or limits.winding_k,
            plate.top_liquid_rise_k or limits.top_liquid_k,
            plate.hot_spot_rise_k or limits.hot_spot_k,
        )


@dataclass(frozen=True, slots=True)
class UnitRises:
    """One unit: its rises, their budgets by name, and the word for them."""

    rises: Rises[float]
    budgets: Mapping[str, Budget]
    verdict: RiseVerdict


@dataclass(frozen=True, slots=True)
class StepSeen:
    """Top-liquid rises at both ends of an overload step, K, and what was fitted before it."""

    begin_k: float
    end_k: float
    fit: ThermalFit | None


@dataclass(frozen=True, slots=True)
class HeatResult:
    """What a heat run comes to.

    `impossible` says of a winding why it has no curve; such a unit has no rise of it. The steady
    hour ends at `steady_to_s`; `test_loss_w` is the mean of both units in it, leads left out,
    `test_current_a` the loop current at shutdown.
    """

    units: Mapping[str, UnitRises]
    curves: Mapping[str, CoolingCurve]
    impossible: Mapping[str, str]
    forecasts: Mapping[str, Forecast | None]
    fits: Mapping[str, ThermalFit | None]
    steps: Mapping[str, StepSeen | None]
    steady_to_s: float
    test_loss_w: float
    test_current_a: float


@dataclass(frozen=True, slots=True)
class _Stretches:
    """The rows of the steady hour and of the shutdown, and what flowed in them."""

    steady: Mask
    shutdown: Mask
    loss_w: float
    current_a: float


def heat_result(test: HeatTest) -> HeatResult:
    """Reduce a heat run.

    Raises:
        ImpossibleReading: nothing read in the hour that counts, readings that physics forbids, a
            test too far from rated to be corrected.
    """
    readings = test.readings
    rows = HeatRows(readings.history, test.plate.time_constant_s)
    end_s = _steady_end_s(readings)
    steady = rows.between(end_s - HOUR_S, end_s)
    shutdown = rows.between(readings.shutdown_s - AT_SHUTDOWN_S, readings.shutdown_s - 60.0)
    stretches = _Stretches(
        steady, shutdown, _unit_loss_w(test, rows, steady), rows.mean("hv.current.1", shutdown)
    )
    curves, impossible = _curves(test)
    return HeatResult(
        {unit: _unit(test, rows, unit, curves, stretches) for unit in UNITS},
        curves,
        impossible,
        {unit: _forecast(test, rows, unit, end_s) for unit in UNITS},
        {unit: _fit(test, rows, unit, readings.shutdown_s - 60.0) for unit in UNITS},
        {unit: _step(test, rows, unit) for unit in UNITS},
        end_s,
        stretches.loss_w,
        stretches.current_a,
    )


def _steady_end_s(readings: HeatReadings) -> float:
    """The end of the hour that counts: when steady, else the last before load changed."""
    if readings.steady_at_s is not None:
        return readings.steady_at_s + 30.0
    step = readings.overload
    return (readings.shutdown_s if step is None else step.from_s) - 60.0


def _unit_loss_w(test: HeatTest, rows: HeatRows, over: Mask) -> float:
    """Mean total loss of one unit, W: half of both supplies, less the leads."""
    both = rows.mean("lv.power.1", over) + rows.mean("hv.power.1", over)
    current = rows.mean("hv.current.1", over)
    return both / 2 - lead_loss(test.lv_branch_ohm, test.nameplate.ratio, current)


def _curves(test: HeatTest) -> tuple[dict[str, CoolingCurve], dict[str, str]]:
    curves, impossible = {}, {}
    for winding, cold in test.readings.cold.items():
        cooling = test.readings.cooling.get(winding)
        if cooling is None:
            impossible[winding] = "no resistance was read after the shutdown"
            continue
        try:
            curves[winding] = cooling_curve(cooling, cold, test.constant_k(winding))
        except ImpossibleReading as why:
            impossible[winding] = str(why)
    return curves, impossible


def _unit(
    test: HeatTest,
    rows: HeatRows,
    unit: str,
    curves: Mapping[str, CoolingCurve],
    stretches: _Stretches,
) -> UnitRises:
    loop_ratio = test.nameplate.hv_current_a / stretches.current_a
    ratios = {"hv": loop_ratio, "lv": loop_ratio}
    allowance = test.allowance
    if (currents := test.own_currents_a()) is not None:
        ratios["lv"] = test.nameplate.lv_current_a / currents[UNITS.index(unit)]
    else:
        # Up to its whole no-load current more or less, and nobody knows which.
        percent = allowance.current_percent + test.no_load_current_percent
        allowance = replace(allowance, current_percent=percent)
    own = {name: curve for name, curve in curves.items() if name.startswith(unit)}
    cold = test.readings.cold
    windings = {
        name: Winding(
            cold[name].resistance_ohm,
            cold[name].temperature_c,
            curve.resistance_0_ohm,
            test.constant_k(name),
            ratios[name.removeprefix(f"{unit}_")],
        )
        for name, curve in own.items()
    }
    heat: LiquidTest[float] | DryTest[float]
    if test.is_dry:
        ambient = mean_of("ambient", rows.lagged_c[stretches.shutdown])
        heat = DryTest(windings, ambient, cast(DryCooling, test.plate.cooling))
    else:
        heat = LiquidTest(
            windings,
            _liquid(rows, unit, stretches.steady),
            _liquid(rows, unit, stretches.shutdown),
            test.total_reference_w / stretches.loss_w,
            cast(LiquidCooling, test.plate.cooling),
            test.nameplate.power_va,
        )
    rises = heat.rises()
    known = {name: extrapolated(curve, cold[name]) for name, curve in own.items()}
    budgets = rise_budgets(heat, known, allowance)
    expanded = {name: budget.expanded for name, budget in budgets.items()}
    weak = {name for name, curve in own.items() if curve.weak}
    verdict = rise_verdict(rises, test.limits(), expanded, test.decision, weak)
    return UnitRises(rises, budgets, _whole(verdict, test, unit, own))


def _whole(
    verdict: RiseVerdict, test: HeatTest, unit: str, own: Mapping[str, CoolingCurve]
) -> RiseVerdict:
    """No word where the run was not steady, or a winding has no curve; outside stays outside."""
    if verdict.verdict == "outside":
        return verdict
    if test.readings.steady_at_s is None:
        return replace(verdict, verdict=None, reason="the run did not become steady")
    missing = [f"{unit}_{side}" for side in ("lv", "hv") if f"{unit}_{side}" not in own]
    if missing:
        return replace(verdict, verdict=None, reason=f"no cooling curve of {', '.join(missing)}")
    return verdict


def _liquid(rows: HeatRows, unit: str, over: Mask) -> Liquid[float]:
    top = rows.mean(f"{unit}.top_liquid", over)
    bottom = f"{unit}.bottom_liquid"
    return Liquid(
        top,
        rows.mean(bottom, over) if rows.has(bottom) else top,
        mean_of("ambient", rows.lagged_c[over]),
    )


def _soak_rows(test: HeatTest, rows: HeatRows, unit: str, end_s: float) -> Rows:
    """What was followed of a unit from the soak's beginning; loss as half of both supplies'."""
    soak = rows.between(test.readings.soak_from_s, end_s)
    watched = f"{unit}.winding_hv" if test.is_dry else f"{unit}.top_liquid"
    loss = (rows.column("lv.power.1") + rows.column("hv.power.1")) / 2
    return Rows(rows.t_s[soak], rows.column(watched)[soak], rows.ambient_c[soak], loss[soak])


def _sensor_limits_k(test: HeatTest) -> tuple[float, float]:
    """Fixed errors of a rise: the sensor's and the cooling air's, as zeroing left them."""
    left = test.allowance.zeroed_k
    left = test.allowance.sensor_k if left is None else left
    return left, left


def _forecast(test: HeatTest, rows: HeatRows, unit: str, end_s: float) -> Forecast | None:
    """What the soak up to the steady hour's end says of the ultimate; None where it can't."""
    return forecast(
        _soak_rows(test, rows, unit, end_s),
        rule=test.rule,
        limits_k=_sensor_limits_k(test),
        lag_s=test.plate.time_constant_s,
    )


def _step(test: HeatTest, rows: HeatRows, unit: str) -> StepSeen | None:
    """What an overload step did to the top liquid; None where none was run, or none is there."""
    step = test.readings.overload
    if step is None or test.is_dry:
        return None
    rises = rows.column(f"{unit}.top_liquid") - rows.lagged_c
    begin, end = (
        mean_of(f"{unit}.top_liquid", rises[rows.between(t_s - ENDS_S, t_s)])
        for t_s in (step.from_s, step.to_s)
    )
    return StepSeen(begin, end, _fit(test, rows, unit, step.from_s))


def _fit(test: HeatTest, rows: HeatRows, unit: str, end_s: float) -> ThermalFit | None:
    """The unit's thermal parameters by its run up to `end_s`; None where it can't."""
    if test.is_dry:
        return None
    return thermal_fit(
        _soak_rows(test, rows, unit, end_s),
        load_loss_w=test.load_loss_w,
        no_load_loss_w=test.no_load_loss_w,
        limits_k=_sensor_limits_k(test),
        k11=TABULATED[kind_of(test.plate, test.nameplate)].k11,
        exponent=liquid_exponent(cast(LiquidCooling, test.plate.cooling), test.nameplate.power_va),
    )


def kind_of(plate: ThermalPlate, nameplate: Nameplate) -> Kind:
    """The row of IEC 60076-7's table of characteristics for a unit's cooling and size."""
    if nameplate.power_va <= DISTRIBUTION_VA and plate.cooling == "ONAN":
        return "distribution ONAN"
    return KINDS[plate.cooling]
