"""Budgets of the loss test: against drawing, against another library, and against themselves."""

from dataclasses import replace
from math import pi, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calculation.coverage import Part, coverage_factor, half_width
from calculation.errors import ImpossibleReading
from calculation.instruments import Limits
from calculation.loss_budget import (
    Allowance,
    LossTest,
    loss_budgets,
    loss_model,
    loss_sources,
    quantities_of,
    uncertainty_of,
)
from calculation.loss_test import LossReadings
from calculation.meters import Instruments, MeterLimits, Repeatability
from calculation.monte_carlo import monte_carlo
from calculation.nameplate import Nameplate, Resistances
from calculation.source import Source
from calculation.uncertainty import propagate, table
from tests.calculation.twins import PAIR_J

RANGES = {
    "lv.voltage": 600,
    "lv.voltage_mean": 600,
    "lv.current": 20,
    "lv.power": 1200,
    "hv.voltage": 1000,
    "hv.current": 20,
    "hv.power": 5000,
    "series.voltage": 30,
}
METERS = Instruments(
    {name: MeterLimits(0.05, 0.05, span) for name, span in RANGES.items()},
    repeatability={"load.hv_power_w": Repeatability(0.3, 59)},
)
READ = LossReadings(
    PAIR_J.no_load(400.0),
    PAIR_J.loaded(400.0, 15.15, -1.0)[0],
    PAIR_J.loaded(8.0, 15.15, -1.0)[1],
    PAIR_J.gap_v(400.0),
    2.0,
    21.0,
    20.5,
)
TEST = LossTest(
    READ,
    Nameplate(100e3, 400, 6600, 50, 4.0, 1.8, 320, 1750),
    Resistances(0.01, 2.8, 20.0),
    0.0012,
    (0.5, 1.0),
    (1.0, 0.8),
    (False, True),
)


def test_every_reported_quantity_has_a_budget() -> None:
    """Each measured quantity has one; its shares make the whole and its value is the result's."""
    budgets, values = loss_budgets(TEST, METERS), quantities_of(TEST.result())
    assert budgets.keys() == values.keys()
    for name, budget in budgets.items():
        assert budget.value == pytest.approx(values[name], rel=1e-12, abs=1e-12)
        assert budget.standard > 0, name
        assert sum(row.share for row in budget.rows) == pytest.approx(1.0)
        assert budget.expanded == budget.factor * budget.standard


def test_budgets_agree_with_drawing() -> None:
    """Monte Carlo through the same model gives the same standard uncertainty and interval."""
    names = ["no_load_loss_w", "load_loss_reference_w", "impedance_reference_percent"]
    budgets = loss_budgets(TEST, METERS)
    sources = loss_sources(TEST, METERS, Allowance())
    drawn = monte_carlo(sources, loss_model(TEST, METERS), names, draws=100_000)
    for name in names:
        # 100 000 draws know a standard deviation to 0.22 %, the interval's ends to about 0.5 %.
        assert drawn[name].standard == pytest.approx(budgets[name].standard, rel=0.01)
        half = (drawn[name].upper - drawn[name].lower) / 2
        if budgets[name].basis == "distribution":
            assert half == pytest.approx(budgets[name].expanded, rel=0.02)
        else:
            assert half <= budgets[name].expanded * 1.02


def test_one_wattmeters_range_error_drops_out_of_the_balance() -> None:
    """The LV wattmeter read both stages: its fixed error cancels in P_k and stays in P0."""
    only = Instruments({"lv.power": MeterLimits(0.0, 0.5, 1200)})
    budgets = loss_budgets(TEST, only)
    kept = {row.source for row in budgets["load_loss_w"].rows if row.share > 1e-6}
    assert "lv.power, of range" not in kept
    assert budgets["no_load_loss_w"].rows[0].source == "lv.power, of range"


def test_wattmeters_of_one_class_add_up() -> None:
    """Two wattmeters that share their error of reading count it once, with both powers."""
    apart = Instruments({c: MeterLimits(0.1) for c in ("lv.power", "hv.power")})
    shared = Instruments(
        {c: MeterLimits(0.1, shared="wattmeters") for c in ("lv.power", "hv.power")}
    )
    name = "load_loss_w"
    together = {row.source: row for row in loss_budgets(TEST, shared)[name].rows}
    single = {row.source: row for row in loss_budgets(TEST, apart)[name].rows}
    added = (
        single["lv.power, of reading"].contribution + single["hv.power, of reading"].contribution
    )
    assert together["wattmeters, of reading"].contribution == pytest.approx(added, rel=1e-9)


def test_displacement_weighs_with_the_reactive_power() -> None:
    """10' between CT and VT move the load loss by Q times that angle, and P0 not at all."""
    through = Instruments({}, transformers={"hv.ct": Limits(0.0, 10.0)})
    budgets = loss_budgets(TEST, through)
    load = READ.load
    var = sqrt((load.hv_voltage_v * load.hv_current_a) ** 2 - load.hv_power_w**2)
    limit = var * 10 * pi / 180 / 60 / 2 * (TEST.nameplate.hv_current_a / load.hv_current_a) ** 2
    row = next(r for r in budgets["load_loss_w"].rows if r.source == "hv.ct, displacement")
    assert abs(row.contribution) == pytest.approx(limit / sqrt(3), rel=1e-9)
    assert "hv.ct, displacement" not in {r.source for r in budgets["no_load_loss_w"].rows}


def test_another_library_agrees() -> None:
    """GTC, a second opinion, gives P_k by balance the same standard uncertainty."""
    gtc = pytest.importorskip("GTC", reason="second opinion not installed")
    sources = [
        Source("lv", 597.0, 2.0),
        Source("hv", 3542.0, 3.0),
        Source("iron", 640.0, 2.0),
        Source("u", 400.0, 0.4),
        Source("i", 15.2, 0.02),
    ]

    def loss(x: dict[str, object]) -> object:
        lv, hv, iron, u, i = (x[s.name] for s in sources)
        return (lv + hv - iron * (u / 398.0) ** 2.1) / 2 * (15.15 / i) ** 2  # type: ignore[operator]  # numbers of either library

    ours = propagate(sources, lambda x: {"pk": loss(dict(x))}).budgets["pk"]
    theirs = loss({s.name: gtc.ureal(s.value, s.standard) for s in sources})
    assert ours.standard == pytest.approx(gtc.uncertainty(theirs), rel=1e-12)
    assert ours.value == pytest.approx(gtc.value(theirs), rel=1e-12)
    for row in ours.rows:
        assert row.sensitivity * row.standard == row.contribution


def test_table_names_every_source_and_the_interval() -> None:
    """The printed budget has a line a source, its share, and the expanded uncertainty."""
    budget = loss_budgets(TEST, METERS)["no_load_loss_w"]
    lines = table(budget).splitlines()
    assert lines[0].split() == [
        "source",
        "value",
        "±",
        "limit",
        "distribution",
        "sensitivity",
        "share,",
        "%",
    ]
    assert len(lines) == len(budget.rows) + 2
    assert lines[-1].startswith("no_load_loss_w = 320.0")
    assert "95 %" in lines[-1]


def test_plain_uncertainty() -> None:
    """What goes into JSON: standard, expanded, factor, and what the factor rests on."""
    plain = uncertainty_of(loss_budgets(TEST, METERS))["no_load_loss_w"]
    assert plain.keys() == {"standard", "expanded", "factor", "basis"}


def test_one_rectangle_takes_its_factor_from_the_distribution() -> None:
    """A single rectangle covers 95 % with 0.95 of its half-width: factor 1.645, not 2."""
    found = coverage_factor([Part(1.0, "rectangular")])
    assert found.basis == "distribution"
    assert found.factor == pytest.approx(0.95 * sqrt(3), rel=1e-6)


def test_a_single_arcsine_and_a_triangle() -> None:
    """Exact quantiles: sin(0.95 pi/2) and 1 - sqrt(0.05) of the half-width."""
    assert half_width([Part(1 / sqrt(2), "arcsine")]) == pytest.approx(0.996917, abs=2e-4)
    assert half_width([Part(1 / sqrt(6), "triangular")]) == pytest.approx(1 - sqrt(0.05), abs=1e-5)


def test_few_repetitions_take_students_factor() -> None:
    """One source of four degrees of freedom needs 2.87, many sources need 2."""
    few = coverage_factor([Part(1.0, "normal", 4)])
    assert (few.basis, round(few.factor, 2)) == ("student", 2.87)
    assert coverage_factor([Part(1.0)]).factor == 2.0
    assert coverage_factor([]).factor == 2.0


@settings(max_examples=30)
@given(
    parts=st.lists(
        st.tuples(st.floats(0.05, 5.0), st.sampled_from(["normal", "rectangular", "triangular"])),
        min_size=1,
        max_size=6,
    )
)
def test_half_width_lies_between_rectangle_and_normal(
    parts: list[tuple[float, str]],
) -> None:
    """No sum of these is wider than a normal at 95 %, nor narrower than a rectangle."""
    made = [Part(u, kind) for u, kind in parts]  # type: ignore[arg-type]  # names of distributions
    combined = sqrt(sum(u**2 for u, _ in parts))
    # Sums of rectangles may pass a normal's 1.960 by a hair: two unequal ones reach 1.97.
    assert 1.645 * 0.999 <= half_width(made) / combined <= 1.98


def test_limits_of_error_are_not_negative() -> None:
    """A negative limit is a mistake in a file, named."""
    with pytest.raises(ImpossibleReading, match=r"hv\.power = -1"):
        Source("hv.power", 0.0, -1.0)
    with pytest.raises(ImpossibleReading, match="degrees of freedom"):
        Source("hv.power", 0.0, 1.0, "normal", 0)


def test_a_worse_meter_never_narrows_an_interval() -> None:
    """Doubling one meter's limits widens every standard uncertainty or leaves it."""
    worse = replace(METERS, meters=METERS.meters | {"hv.power": MeterLimits(0.1, 0.1, 5000)})  # type: ignore[operator]  # a dict above
    better, wide = loss_budgets(TEST, METERS), loss_budgets(TEST, worse)
    for name, budget in better.items():
        assert wide[name].standard >= budget.standard * (1 - 1e-12)
