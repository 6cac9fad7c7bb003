"""Permissible loads: limits just met, monotone, and with their uncertainty. All constructed."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calculation.errors import ImpossibleReading
from calculation.load_cycle import Loading
from calculation.loading_iec import (
    TABULATED,
    Kind,
    Limits,
    LoadingUnit,
    StandardUncertainty,
    difference_form,
    exponential_form,
    limits_of_loading,
    steady_hot_spot_k,
    steady_top_liquid_k,
)
from calculation.permissible_overload import (
    Conditions,
    PermissibleLoad,
    contributions,
    overload_course,
    permissible_load,
)

NORMAL = limits_of_loading("normal cyclic", "medium power")
FREE = Limits(140.0, 115.0, 5.0)  # no limit of current within reach
HOURS = (0.5, 1, 2, 4, 8, 24)
FITTED = LoadingUnit(
    "power ONAN",
    loss_ratio=7.2,
    top_liquid_rise_k=49.0,
    hot_spot_gradient_k=24.0,
    oil_time_constant_min=195.0,
    winding_time_constant_min=8.0,
    standard=StandardUncertainty(0.1, 0.7, 1.2, 8.0, 0.9),
)


def load_of(unit: LoadingUnit, conditions: Conditions, hours: float, ambient_c: float) -> float:
    return permissible_load(unit, conditions, hours, ambient_c).load


class TestLimit:
    @settings(max_examples=40, deadline=None)
    @given(
        kind=st.sampled_from(tuple(TABULATED)),
        hours=st.floats(0.1, 48),
        ambient_c=st.floats(-25, 40),
        preload=st.floats(0, 0.9),
        life=st.none() | st.floats(5, 100),
    )
    def test_it_is_just_met(
        self, kind: Kind, hours: float, ambient_c: float, preload: float, life: float | None
    ) -> None:
        """At the load found the limit that is named is met, the others are kept."""
        conditions = Conditions(preload, FREE, loss_of_life_h=life)
        unit = LoadingUnit(kind)
        try:
            found = permissible_load(unit, conditions, hours, ambient_c)
        except ImpossibleReading:
            lasts = overload_course(unit.characteristics(), conditions, hours, ambient_c, 0.0)
            assert lasts.loss_of_life_h > (life or np.inf)
            return
        met = {
            "hot spot": (found.hot_spot_c, 140.0),
            "top liquid": (found.top_liquid_c, 115.0),
            "loss of life": (found.loss_of_life_h, life or np.inf),
            "current": (found.load, 5.0),
        }
        value, bound = met.pop(found.limited_by)
        assert value == pytest.approx(bound, rel=1e-6)
        assert all(value <= bound for value, bound in met.values())

    @pytest.mark.parametrize("hours", [0.5, 2, 8])
    def test_the_difference_equations_come_to_it_too(self, hours: float) -> None:
        """The load found, put through the other form, has its greatest hot spot at the limit."""
        conditions = Conditions(0.7, FREE)
        found = permissible_load(FITTED, conditions, hours, 20.0)
        count = int(hours * 60 / 0.02) + 1
        load = np.full(count, found.load)
        load[0] = 0.7
        loading = Loading(np.linspace(0, 60 * hours, count), load, np.full(count, 20.0))
        greatest = difference_form(FITTED.characteristics(), loading).hot_spot_c.max()
        assert greatest == pytest.approx(140.0, abs=0.02)

    @pytest.mark.parametrize("hours", [4, 24, 240])
    def test_the_peak_within_is_not_missed(self, hours: float) -> None:
        """Restricted flow overshoots: the greatest is early, and seen within 5 mK."""
        unit, conditions = LoadingUnit("power ONAF restricted"), Conditions(0.0, FREE)
        found = permissible_load(unit, conditions, hours, 20.0)
        minutes = np.linspace(0.0, 300.0, 30001)
        known = unit.characteristics()
        course = exponential_form(known, minutes, 0.0, found.load, 20.0).hot_spot_c
        assert minutes[course.argmax()] < 200
        assert float(course.max()) == pytest.approx(140.0, abs=0.005)

    def test_a_long_time_comes_to_the_steady_load(self) -> None:
        """After ten days of it the steady rises are what the limit leaves over the ambient."""
        # An OD unit's hot spot never overshoots: the end is the greatest.
        unit = LoadingUnit("OD")
        load = load_of(unit, Conditions(0.5, FREE), 240, 20.0)
        known = unit.characteristics()
        rises = steady_top_liquid_k(known, load) + steady_hot_spot_k(known, load)
        assert rises == pytest.approx(120.0, abs=1e-4)

    def test_rated_load_for_ever(self) -> None:
        """98 degC at 20 degC is rated load: what rated means (IEC 60076-7)."""
        limits = Limits(98.0, 105.0, 1.5)
        load = load_of(LoadingUnit("distribution ONAN"), Conditions(1.0, limits), 200, 20.0)
        assert load == pytest.approx(1.0, abs=1e-6)

    def test_current_where_nothing_else_comes_first(self) -> None:
        """In the cold, for a short time."""
        found = permissible_load(FITTED, Conditions(0.7, NORMAL), 0.5, -20.0)
        assert (found.load, found.limited_by) == (1.5, "current")
        assert found.standard == 0

    def test_top_liquid(self) -> None:
        """A low limit of it comes before the hot spot's."""
        found = permissible_load(FITTED, Conditions(0.7, replace(FREE, top_liquid_c=80.0)), 4, 20.0)
        assert found.limited_by == "top liquid"
        assert found.top_liquid_c == pytest.approx(80.0, abs=1e-6)

    def test_no_load_at_all(self) -> None:
        """A preload that is beyond the limit by itself, and one whose cooling costs too much."""
        with pytest.raises(ImpossibleReading, match="limit of hot spot, 120"):
            permissible_load(FITTED, Conditions(1.4, NORMAL), 1, 40.0)
        with pytest.raises(ImpossibleReading, match=r"limit of loss of life, 0\.01"):
            permissible_load(FITTED, Conditions(0.9, NORMAL, "normal", 0.01), 1, 30.0)
        with pytest.raises(ImpossibleReading, match="hours = 0"):
            permissible_load(FITTED, Conditions(0.9, NORMAL), 0, 30.0)
        with pytest.raises(ImpossibleReading, match="load = -1"):
            overload_course(FITTED.characteristics(), Conditions(0.9, NORMAL), 1, 30.0, -1.0)


class TestMonotone:
    @pytest.mark.parametrize("kind", tuple(TABULATED))
    def test_it_falls_with_duration_and_ambient(self, kind: Kind) -> None:
        """Longer or hotter never bears more, and where current does not limit, less."""
        unit, conditions = LoadingUnit(kind), Conditions(0.6, FREE)
        table = [[load_of(unit, conditions, h, a) for h in HOURS] for a in (0, 10, 20, 30, 40)]
        assert all(a >= b - 1e-8 for row in table for a, b in pairwise(row))
        for cooler, hotter in pairwise(table):
            assert all(a > b for a, b in zip(cooler, hotter, strict=True))

    @settings(max_examples=25, deadline=None)
    @given(st.floats(0, 0.8), st.floats(0.01, 0.2), st.sampled_from(HOURS))
    def test_it_falls_with_preload(self, preload: float, more: float, hours: float) -> None:
        """A unit that was warmer bears no more, where its hot spot doesn't overshoot.

        Where it does (k21 above 1) a larger preload makes the step smaller, and with it the
        overshoot: for half an hour such a unit bears a thousandth more after 0.13 than after none.
        """
        unit = LoadingUnit("distribution ONAN")
        loads = (load_of(unit, Conditions(p, FREE), hours, 20) for p in (preload, preload + more))
        first, second = loads
        assert first >= second - 1e-8


@pytest.fixture(name="found", scope="module")
def _found() -> PermissibleLoad:
    return permissible_load(FITTED, Conditions(0.7, FREE), 2, 20.0)


class TestUncertainty:
    def test_contributions_are_slopes_times_uncertainties(self, found: PermissibleLoad) -> None:
        """Each is what the load does when that characteristic alone is moved a hundredth of u."""
        for name, part in found.contributions.items():
            u = getattr(FITTED.standard, name)
            ends = [
                load_of(
                    replace(FITTED, **{name: getattr(FITTED, name) + way * u / 100}),
                    Conditions(0.7, FREE),
                    2,
                    20.0,
                )
                for way in (-1, 1)
            ]
            # The larger of both ways is curved where there is next to no slope, as for R.
            curved = 0.01 * (found.standard or 0)
            assert part == pytest.approx(50 * (ends[1] - ends[0]), rel=0.1, abs=curved)

    def test_their_signs(self, found: PermissibleLoad) -> None:
        """Hotter units bear less, slower ones more."""
        parts = found.contributions
        assert set(parts) == set(FITTED.standard.given())
        assert parts["top_liquid_rise_k"] < 0
        assert parts["hot_spot_gradient_k"] < 0
        assert parts["oil_time_constant_min"] > 0
        assert parts["winding_time_constant_min"] > 0

    def test_it_covers(self) -> None:
        """Units drawn at random about the fitted one: their loads scatter by what is stated."""
        rng, conditions = np.random.default_rng(7), Conditions(0.7, FREE)
        stated = permissible_load(FITTED, conditions, 2, 20.0).standard
        loads = []
        for _ in range(400):
            drawn = {
                name: getattr(FITTED, name) + u * rng.standard_normal()
                for name, u in FITTED.standard.given().items()
            }
            bare = replace(FITTED, standard=StandardUncertainty(), **drawn)
            loads.append(load_of(bare, conditions, 2, 20.0))
        # The standard deviation of 400 draws is known to 3.5 %, here three times that.
        assert float(np.std(loads)) == pytest.approx(stated, rel=0.11)

    def test_factor(self, found: PermissibleLoad) -> None:
        """Expanded for 95 %: root sum of squares, twice."""
        assert found.standard == pytest.approx(
            sum(p**2 for p in found.contributions.values()) ** 0.5
        )
        assert found.expanded == pytest.approx(2 * (found.standard or 0))

    def test_none_stated_is_none_told(self) -> None:
        """A tabulated unit's loads have no uncertainty, not one of nothing."""
        found = permissible_load(LoadingUnit("OF"), Conditions(0.7, FREE), 2, 20.0)
        assert (found.standard, found.expanded, found.contributions) == (None, None, {})

    def test_a_kink_hides_nothing(self) -> None:
        """Where current limits, but a hotter unit's hot spot would: the worse side counts."""
        unit = replace(FITTED, standard=StandardUncertainty(hot_spot_gradient_k=2.0))
        free = load_of(unit, Conditions(0.7, FREE), 2, 20.0)
        limits = replace(FREE, current=free - 1e-4)
        found = permissible_load(unit, Conditions(0.7, limits), 2, 20.0)
        assert found.limited_by == "current"
        assert found.contributions["hot_spot_gradient_k"] < -0.01

    def test_what_uncertainty_takes_to_nothing_is_refused(self) -> None:
        """A time constant known to 100 %: no load is told."""
        unit = replace(FITTED, standard=StandardUncertainty(winding_time_constant_min=8.0))
        with pytest.raises(ImpossibleReading, match="takes it to nothing"):
            contributions(unit, lambda known: known.x)
