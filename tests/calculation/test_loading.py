"""Loading models against a solver of differential equations, each other, and themselves."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp  # type: ignore[import-untyped]  # ships no types

from calculation.ageing import equivalent_ageing_factor, loss_of_life, relative_ageing
from calculation.errors import ImpossibleReading
from calculation.load_cycle import CyclePoint, Floats, Loading, Temperatures, loading_of
from calculation.loading_iec import (
    TABULATED,
    Kind,
    LoadingUnit,
    difference_form,
    exponential_form,
    steady_hot_spot_k,
    steady_top_liquid_k,
)
from calculation.loading_ieee import (
    Clause7,
    Cooling,
    clause_7,
    corrected_time_constant,
    oil_time_constant,
    thermal_capacity,
    ultimate_hot_spot_k,
    ultimate_top_oil_k,
)

KINDS = tuple(TABULATED)
COOLINGS: tuple[Cooling, ...] = ("ONAN", "ONAF", "OFAF", "ODAF")
MINUTES = np.linspace(0.0, 1440.0, 2881)
# A day that swings: constructed.
DAY_LOAD = 0.8 + 0.4 * np.sin(MINUTES / 200) ** 3
DAY_AMBIENT = 20 + 8 * np.sin(MINUTES / 1440 * 2 * np.pi)
DAY = Loading(MINUTES, DAY_LOAD, DAY_AMBIENT)
CYCLE = [CyclePoint(0, 0.5, 10), CyclePoint(8, 1.2, 30), CyclePoint(8, 0.6, 30)]
CYCLE.append(CyclePoint(24, 0.5, 10))


def stepped(before: float, after: float, ambient_c: float = 20.0) -> Loading:
    """A load that steps after its first instant, in fine steps of 0.05 min for six hours."""
    minutes = np.linspace(0.0, 360.0, 7201)
    load = np.full(7201, after)
    load[0] = before
    return Loading(minutes, load, np.full(7201, ambient_c))


def solved(slope: Callable[[float, Floats], list[float]], start: list[float]) -> Floats:
    """The solution of a differential equation at MINUTES, by SciPy."""
    found = solve_ivp(slope, (0, 1440), start, t_eval=MINUTES, rtol=1e-9, atol=1e-9, max_step=10)
    assert found.success
    return np.asarray(found.y)


def extrapolated(model: Callable[[Loading], Temperatures]) -> Temperatures:
    """A first-order model's day at steps of 1 min, with the error that halving them shows gone."""
    fine = model(DAY)
    coarse = model(Loading(MINUTES[::2], DAY_LOAD[::2], DAY_AMBIENT[::2]))
    return Temperatures(
        coarse.time_min,
        2 * fine.top_liquid_c[::2] - coarse.top_liquid_c,
        2 * fine.hot_spot_c[::2] - coarse.hot_spot_c,
    )


class TestDifferenceForm:
    @pytest.mark.parametrize("kind", KINDS)
    def test_against_a_solver(self, kind: Kind) -> None:
        """IEC 60076-7's differential equations by SciPy, the step's own error extrapolated."""
        unit = TABULATED[kind]
        tau_o, tau_w = unit.oil_time_constant_min, unit.winding_time_constant_min

        def slope(t: float, state: Floats) -> list[float]:
            load = float(np.interp(t, MINUTES, DAY_LOAD))
            air = float(np.interp(t, MINUTES, DAY_AMBIENT))
            share = (1 + unit.loss_ratio * load**2) / (1 + unit.loss_ratio)
            gradient = unit.hot_spot_gradient_k * load**unit.y
            return [
                (unit.top_liquid_rise_k * share**unit.x + air - state[0]) / (unit.k11 * tau_o),
                (unit.k21 * gradient - state[1]) / (unit.k22 * tau_w),
                ((unit.k21 - 1) * gradient - state[2]) / (tau_o / unit.k22),
            ]

        rated = unit.hot_spot_gradient_k * float(DAY_LOAD[0]) ** unit.y
        share = (1 + unit.loss_ratio * float(DAY_LOAD[0]) ** 2) / (1 + unit.loss_ratio)
        first = unit.top_liquid_rise_k * share**unit.x + float(DAY_AMBIENT[0])
        oil, winding, lag = solved(slope, [first, unit.k21 * rated, (unit.k21 - 1) * rated])[:, ::2]
        found = extrapolated(partial(difference_form, unit))
        assert np.abs(found.top_liquid_c - oil).max() < 0.001
        assert np.abs(found.hot_spot_c - (oil + winding - lag)).max() < 0.01

    def test_its_error_halves_with_the_step(self) -> None:
        """First order: what is left against the exponential form is proportional to the step."""
        unit, left = TABULATED["power ONAN"], []
        for every in (1, 2, 4):
            fine = stepped(0.5, 1.4)
            loading = Loading(fine.time_min[::every], fine.load[::every], fine.ambient_c[::every])
            exact = exponential_form(unit, loading.time_min, 0.5, 1.4, 20.0)
            found = difference_form(unit, loading)
            left.append(np.abs(found.hot_spot_c - exact.hot_spot_c).max())
        assert [b / a for a, b in pairwise(left)] == pytest.approx([2, 2], rel=0.02)

    def test_in_balance_nothing_moves(self) -> None:
        """A load and an ambient that last leave every temperature where it was."""
        found = difference_form(
            TABULATED["OF"], Loading(MINUTES, 0 * MINUTES + 1, 0 * MINUTES + 20)
        )
        assert found.top_liquid_c == pytest.approx(76)
        assert found.hot_spot_c == pytest.approx(98)

    @pytest.mark.parametrize("kind", KINDS)
    def test_a_repeated_cycle_ends_where_it_began(self, kind: Kind) -> None:
        """The periodic state is the one that thirty repetitions come to."""
        unit, loading = TABULATED[kind], loading_of(CYCLE, 1.0)
        found = difference_form(unit, loading, periodic=True)
        assert found.hot_spot_c[-1] == pytest.approx(found.hot_spot_c[0], abs=1e-9)
        assert found.top_liquid_c[-1] == pytest.approx(found.top_liquid_c[0], abs=1e-9)
        days, load, air = 30, loading.load[1:], loading.ambient_c[1:]
        often = Loading(
            np.linspace(0.0, days * 1440.0, days * 1440 + 1),
            np.concatenate([loading.load[:1], np.tile(load, days)]),
            np.concatenate([loading.ambient_c[:1], np.tile(air, days)]),
        )
        last = difference_form(unit, often).hot_spot_c[-1441:]
        assert np.abs(found.hot_spot_c - last).max() < 1e-6

    @pytest.mark.parametrize(("kind", "most"), [("power ONAN", 5.0), ("distribution ONAN", 2.0)])
    def test_a_step_beyond_half_the_smallest_time_constant(self, kind: Kind, most: float) -> None:
        """IEC 60076-7: refused above half of it, taken at half of it."""
        minutes = np.linspace(0.0, 100 * most, 101)
        fits = Loading(minutes, 0 * minutes + 1, 0 * minutes + 20)
        assert difference_form(TABULATED[kind], fits).hot_spot_c[-1] == pytest.approx(98)
        with pytest.raises(ImpossibleReading, match="step is too long"):
            difference_form(TABULATED[kind], replace(fits, time_min=1.001 * minutes))

    def test_the_smallest_time_constant(self) -> None:
        """Of the winding, the liquid with k11, and what k22 makes of the liquid's."""
        unit = replace(TABULATED["distribution ONAN"], oil_time_constant_min=30.0)
        assert replace(unit, winding_time_constant_min=9.0).shortest_min() == 9
        assert replace(unit, winding_time_constant_min=40.0).shortest_min() == 15
        assert replace(unit, winding_time_constant_min=40.0, k11=0.4).shortest_min() == 12


class TestExponentialForm:
    @pytest.mark.parametrize("kind", KINDS)
    def test_an_increase_is_that_of_the_differences(self, kind: Kind) -> None:
        """Both forms of IEC 60076-7 agree for a step up, within what the step leaves."""
        loading = stepped(0.6, 1.3)
        fine = difference_form(TABULATED[kind], loading)
        exact = exponential_form(TABULATED[kind], loading.time_min, 0.6, 1.3, 20.0)
        assert np.abs(fine.top_liquid_c - exact.top_liquid_c).max() < 0.01
        assert np.abs(fine.hot_spot_c - exact.hot_spot_c).max() < 0.15

    def test_a_decrease(self) -> None:
        """Top liquid agrees; hot spot over it is new at once, by the standard's simplification."""
        unit, loading = TABULATED["power ONAN"], stepped(1.2, 0.5)
        fine = difference_form(unit, loading)
        exact = exponential_form(unit, loading.time_min, 1.2, 0.5, 20.0)
        assert np.abs(fine.top_liquid_c - exact.top_liquid_c).max() < 0.01
        over = exact.hot_spot_c - exact.top_liquid_c
        assert over == pytest.approx(steady_hot_spot_k(unit, 0.5))
        assert fine.hot_spot_c[100] > exact.hot_spot_c[100] + 10

    def test_the_hot_spot_overshoots_where_k21_exceeds_1(self) -> None:
        """A power transformer's hot spot passes its gradient's end value before the oil follows."""
        minutes = np.linspace(0.0, 600.0, 601)
        for unit, over in (
            (TABULATED["power ONAN"], True),
            (TABULATED["distribution ONAN"], False),
        ):
            found = exponential_form(unit, minutes, 0.0, 1.0, 20.0)
            gradient = found.hot_spot_c - found.top_liquid_c
            assert bool(gradient.max() > unit.hot_spot_gradient_k + 1e-9) is over

    def test_a_load_below_zero(self) -> None:
        """Refused, by name, before as after the step."""
        for loads in ((-0.1, 1.0), (1.0, -0.1)):
            with pytest.raises(ImpossibleReading, match="below zero"):
                exponential_form(TABULATED["OD"], MINUTES, *loads, 20.0)


class TestUnit:
    def test_what_is_given_stands_before_what_is_tabulated(self) -> None:
        """A fitted time constant replaces the table's, and nothing else does."""
        unit = LoadingUnit("OD", oil_time_constant_min=77.0)
        assert unit.characteristics() == replace(TABULATED["OD"], oil_time_constant_min=77.0)
        assert unit.given() == {"oil_time_constant_min": 77.0}

    def test_without_load_the_core_still_warms(self) -> None:
        """At no load a sixth of the losses of R = 5 is left: 55 K x (1/6)^0.8."""
        unit = TABULATED["distribution ONAN"]
        assert steady_top_liquid_k(unit, 0.0) == pytest.approx(55 / 6**0.8)
        assert steady_hot_spot_k(unit, 0.0) == 0


class TestClause7:
    @pytest.mark.parametrize("cooling", COOLINGS)
    def test_against_a_solver(self, cooling: Cooling) -> None:
        """The correction of the time constant makes each step a step of tau dD = U^1/n - D^1/n."""
        unit = Clause7(cooling, 5.0, 55.0, 25.0, 150.0, 6.0)
        n, m = {"ONAN": (0.8, 0.8), "ODAF": (1.0, 1.0)}.get(cooling, (0.9, 0.8))

        def slope(t: float, state: Floats) -> list[float]:
            load = float(np.interp(t, MINUTES, DAY_LOAD))
            heat = (load**2 * 5 + 1) / 6
            return [
                55 * (heat - (state[0] / 55) ** (1 / n)) / 150,
                (25 * load ** (2 * m) - state[1]) / 6,
            ]

        first = float(DAY_LOAD[0])
        start = [55 * ((first**2 * 5 + 1) / 6) ** n, 25 * first ** (2 * m)]
        oil, winding = solved(slope, start)[:, ::2]
        found = extrapolated(partial(clause_7, unit))
        assert np.abs(found.top_liquid_c - DAY_AMBIENT[::2] - oil).max() < 0.001
        assert np.abs(found.hot_spot_c - DAY_AMBIENT[::2] - oil - winding).max() < 0.01

    def test_the_correction_is_smooth_where_both_rises_meet(self) -> None:
        """From either side it tends to n u^(1 - 1/n): 1 x 0.8 at rated."""
        unit = Clause7("ONAN", 5.0, 55.0, 25.0, 150.0, 6.0)
        at = corrected_time_constant(unit, 55.0, 55.0)
        assert at == pytest.approx(120.0)
        for near in (55.0 * (1 - 1e-5), 55.0 * (1 + 1e-5)):
            assert corrected_time_constant(unit, near, 55.0) == pytest.approx(at, rel=1e-4)
        assert corrected_time_constant(replace(unit, cooling="ODAF"), 10.0, 55.0) == 150.0

    def test_rated_load_gives_rated_rises(self) -> None:
        """By definition, and a long time after any load."""
        unit = Clause7("ONAF", 5.0, 55.0, 25.0, 150.0, 6.0)
        assert ultimate_top_oil_k(unit, 1.0) == pytest.approx(55)
        assert ultimate_hot_spot_k(unit, 1.0) == 25
        load = np.where(MINUTES > 0, 1.0, 0.3)
        found = clause_7(unit, Loading(MINUTES, load, 0 * MINUTES + 30))
        assert found.hot_spot_c[-1] == pytest.approx(110, abs=0.01)

    def test_refusals(self) -> None:
        """A step too long, and weights, losses or time constants that are none."""
        unit = Clause7("ONAF", 5.0, 55.0, 25.0, 150.0, 6.0)
        minutes = np.array([0.0, 3.1])
        with pytest.raises(ImpossibleReading, match="step is too long"):
            clause_7(unit, Loading(minutes, np.ones(2), np.ones(2)))
        with pytest.raises(ImpossibleReading, match="winding_time_constant_min = 0"):
            replace(unit, winding_time_constant_min=0.0)
        with pytest.raises(ImpossibleReading, match="tank_lb = -1"):
            thermal_capacity("ONAN", 1.0, -1.0, 1.0)
        with pytest.raises(ImpossibleReading, match="total_loss_w = 0"):
            oil_time_constant(1.0, 1.0, 0.0)
        with pytest.raises(ImpossibleReading, match="initial_k = 0"):
            corrected_time_constant(unit, 0.0, 1.0)


class TestLoading:
    def test_straight_between_points_and_steps_where_two_meet(self) -> None:
        """The earlier of two points at one hour holds up to that instant, the later after it."""
        found = loading_of(CYCLE, 1.0)
        assert len(found.time_min) == 1441
        assert found.load[240] == pytest.approx(0.85)
        assert found.ambient_c[240] == pytest.approx(20)
        assert found.load[480] == pytest.approx(1.2)
        assert found.load[481] == pytest.approx(0.6, abs=1e-3)

    def test_steps_divide_the_cycle_evenly(self) -> None:
        """No step is longer than asked, none shorter than its neighbour."""
        found = loading_of([CyclePoint(0, 1, 20), CyclePoint(1, 1, 20)], 7.0)
        assert found.steps_min == pytest.approx(np.full(9, 60 / 9))

    @pytest.mark.parametrize("hours", [(0,), (0, 0), (2, 1), ()])
    def test_points_that_are_no_cycle(self, hours: tuple[float, ...]) -> None:
        """Fewer than two, no length, or out of order: refused."""
        with pytest.raises(ImpossibleReading, match="two points or more"):
            loading_of([CyclePoint(h, 1, 20) for h in hours], 1.0)

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"load": np.ones(3)}, "needs load and ambient"),
            ({"load": np.array([1.0, -1.0])}, "below zero"),
            ({"load": np.array([1.0, np.nan])}, "finite"),
            ({"time_min": np.array([1.0, 1.0])}, "rise"),
        ],
    )
    def test_what_no_loading_is(self, change: dict[str, Floats], words: str) -> None:
        """Refused where it is made."""
        parts = {name: np.array([0.0, 1.0]) for name in ("time_min", "load", "ambient_c")}
        with pytest.raises(ImpossibleReading, match=words):
            Loading(**{**parts, **change})


class TestAgeing:
    @given(st.floats(60, 180), st.floats(0.01, 30))
    def test_it_rises_with_temperature(self, hot_spot: float, more: float) -> None:
        """Hotter is faster, in either paper; six kelvins double the normal one."""
        assert relative_ageing(hot_spot + more, "upgraded") > relative_ageing(hot_spot, "upgraded")
        normal = relative_ageing(hot_spot, "normal")
        assert relative_ageing(hot_spot + more, "normal") > normal
        assert relative_ageing(hot_spot + 6, "normal") == pytest.approx(2 * normal)

    def test_uneven_steps_count_by_their_length(self) -> None:
        """1 h at 98 and 2 h at 104 degC: 1 + 2 x 2 h of life in 3 h."""
        hours, hot_spot = np.array([0.0, 1.0, 3.0]), np.array([20.0, 98.0, 104.0])
        assert loss_of_life(hours, hot_spot, "normal") == pytest.approx(5)
        assert equivalent_ageing_factor(hours, hot_spot, "normal") == pytest.approx(5 / 3)

    def test_refusals(self) -> None:
        """No temperature, no history, time that stands still."""
        with pytest.raises(ImpossibleReading, match="must be a temperature"):
            relative_ageing(-273.0, "upgraded")
        with pytest.raises(ImpossibleReading, match="two instants"):
            loss_of_life(np.zeros(1), np.zeros(1), "normal")
        with pytest.raises(ImpossibleReading, match="two instants"):
            loss_of_life(np.array([0.0, 1.0]), np.zeros(3), "normal")
        with pytest.raises(ImpossibleReading, match="time must rise"):
            loss_of_life(np.zeros(2), np.zeros(2), "normal")
