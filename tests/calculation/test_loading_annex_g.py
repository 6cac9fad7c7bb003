"""Annex G of IEEE C57.91 against a solver of its heat balances, and at its limits.

The unit and its day are constructed, save those of the standard's worked example.
"""

import math
from collections.abc import Mapping
from dataclasses import astuple, replace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp  # type: ignore[import-untyped]  # ships no types
from scipy.optimize import brentq  # type: ignore[import-untyped]  # SciPy ships no types

from calculation.annex_g import AnnexGTemperatures, annex_g, annex_g_cycle
from calculation.annex_g_unit import AnnexG, Liquid, State
from calculation.errors import ImpossibleReading
from calculation.load_cycle import CyclePoint, Floats, Loading, loading_of
from calculation.loading_ieee import Cooling
from calculation.nameplate import Material
from tests.published.test_loading import POINTS, WORKED

# Guaranteed and tested rise are one here, so that rated load keeps the rated state.
UNIT = replace(WORKED, winding_rise_k=63.0, eddy_loss_w=4_000.0, hot_spot_eddy=0.15)
DAY = loading_of([CyclePoint(*point) for point in POINTS], 0.5)
# Per cooling, with the exponents of Annex G typed anew: x, y, z, power of a conductor's transfer.
LAWS: dict[Cooling, tuple[float, float, float, float]] = {
    "ONAF": (0.5, 0.9, 0.5, 1.25),
    "OFAF": (0.5, 0.9, 1.0, 1.25),
    "ODAF": (1, 1, 1, 1),
}


def held(load: float, ambient_c: float, minutes: int = 4320) -> Loading:
    """A load and an ambient that last, in steps of half a minute."""
    count = 2 * minutes + 1
    time_min = np.linspace(0.0, minutes, count)
    return Loading(time_min, np.full(count, load), np.full(count, ambient_c))


def slope(unit: AnnexG, load: float, air: float, state: Floats) -> list[float]:
    """The heat balances in continuous time: windings, hot spot, liquid; K/min.

    Written from the standard's heats, not from the program's constants: a duct's top follows from
    the heat that its windings give, which follows from the duct, found here by a root.
    """
    x, y, z, power = LAWS[unit.cooling]
    copper, eddy, stray, core = astuple(unit.rated_losses())
    winding, hot_spot, liquid = (float(value) for value in state)
    rated = unit.rated_state()
    constant, hottest = 234.5, rated.hot_spot
    reference = constant + unit.rated_ambient_c + unit.winding_rise_k

    def viscosity(celsius: float) -> float:
        return 0.0013473 * math.exp(2797.3 / (celsius + 273))

    def share(hot: float, cold: float, hot_r: float, cold_r: float) -> float:
        thinner = viscosity((hot_r + cold_r) / 2) / viscosity((hot + cold) / 2)
        if unit.cooling == "ODAF":
            thinner = 1.0
        over = math.pow(abs((hot - cold) / (hot_r - cold_r)), power)
        return math.copysign(over, hot - cold) * math.pow(thinner, 0.25)

    lost = ((liquid - air) / (rated.average_liquid - unit.rated_ambient_c)) ** (1 / y)
    spread = (rated.top - rated.bottom) / 2 * lost**z
    bottom, top = max(liquid - spread, air), liquid + spread

    def surplus(given: float) -> float:
        duct = bottom + (rated.duct_top - rated.bottom) * given**x
        average = (rated.duct_top + rated.bottom) / 2
        return share(winding, (duct + bottom) / 2, rated.winding, average) - given

    given = float(brentq(surplus, 0.0, 20.0))
    rise = (rated.duct_top - rated.bottom) * given**x
    beside = top if bottom + rise + 0.1 < top else bottom + unit.hot_spot_height * rise
    beside_rated = rated.bottom + unit.hot_spot_height * (rated.duct_top - rated.bottom)
    warmth = (constant + winding) / reference
    hot_copper = copper * (constant + hottest) / reference
    hot_eddy = unit.hot_spot_eddy * hot_copper
    hotter = (constant + hot_spot) / (constant + hottest)
    from_hot = share(hot_spot, beside, hottest, beside_rated) * (hot_copper + hot_eddy)
    winding_average = (rated.duct_top + rated.bottom) / 2
    capacity = (copper + eddy) * unit.winding_time_constant_min / (rated.winding - winding_average)
    steel = unit.tank_lb + unit.core_and_coils_lb - capacity / 2.91
    mass = steel * 3.51 + unit.liquid_gal * 231 * 0.031621 * 13.92
    total = copper + eddy + stray + core
    from_winding = given * (copper + eddy)
    return [
        (load**2 * (copper * warmth + eddy / warmth) - from_winding) / capacity,
        (load**2 * (hot_copper * hotter + hot_eddy / hotter) - from_hot) / capacity,
        (from_winding + core + load**2 * stray / warmth - lost * total) / mass,
    ]


@pytest.mark.parametrize("cooling", LAWS)
def test_against_a_solver(cooling: Cooling) -> None:
    """A day from the rated state by SciPy: half and quarter steps, their own error extrapolated."""
    unit = replace(UNIT, cooling=cooling)
    fine = loading_of([CyclePoint(*point) for point in POINTS], 0.25)
    start = unit.rated_state()

    def balance(t: float, state: Floats) -> list[float]:
        load = float(np.interp(t, fine.time_min, fine.load))
        return slope(unit, load, float(np.interp(t, fine.time_min, fine.ambient_c)), state)

    first = [start.winding, start.hot_spot, start.average_liquid]
    truth = solve_ivp(
        balance, (0, 1440), first, t_eval=DAY.time_min[::120], rtol=1e-7, atol=1e-6, max_step=30
    )
    assert truth.success
    halves, quarters = annex_g(unit, DAY, start), annex_g(unit, fine, start)
    for row, name in ((0, "winding_c"), (1, "hot_spot_c")):
        coarse, finer = getattr(halves, name)[::120], getattr(quarters, name)[::240]
        assert np.abs(2 * finer - coarse - truth.y[row]).max() < 0.01


@pytest.mark.parametrize("cooling", ["ONAN", "ONAF", "OFAF", "ODAF"])
@pytest.mark.parametrize(
    ("liquid", "conductor"),
    [("oil", "copper"), ("silicone", "aluminium"), ("hydrocarbon", "copper")],
)
def test_rated_load_keeps_the_rated_state(
    cooling: Cooling, liquid: Liquid, conductor: Material
) -> None:
    """Every rated temperature is what rated load and ambient come to, whatever the start."""
    unit = replace(UNIT, cooling=cooling, liquid=liquid, conductor=conductor)
    rated = unit.rated_state()
    cold = replace(rated, **dict.fromkeys(("hot_spot", "winding", "top", "bottom"), 30.0))
    cold = replace(cold, average_liquid=30.0, duct_top=30.0)
    end = annex_g(unit, held(1.0, 30.0), cold).end
    assert astuple(end) == pytest.approx(astuple(rated), abs=0.01)


def test_a_cycle_ends_where_it_began() -> None:
    """Repeated until the end is the start, within a thousandth of a kelvin."""
    found = annex_g_cycle(WORKED, DAY)
    for name in ("hot_spot_c", "top_liquid_c", "bottom_liquid_c", "winding_c", "duct_top_c"):
        column = getattr(found, name)
        assert column[-1] == pytest.approx(column[0], abs=0.001)


def test_half_steps_change_little() -> None:
    """At quarter minutes the worked example's day is the same within 0.05 K."""
    fine = loading_of([CyclePoint(*point) for point in POINTS], 0.25)
    coarse, finer = annex_g_cycle(WORKED, DAY), annex_g_cycle(WORKED, fine)
    assert np.abs(coarse.hot_spot_c - finer.hot_spot_c[::2]).max() < 0.05


def hourly(found: AnnexGTemperatures) -> Mapping[str, Floats]:
    """Temperatures each hour of a day in half minutes."""
    names = ("hot_spot_c", "winding_c", "top_liquid_c", "bottom_liquid_c")
    return {name: getattr(found, name)[::120] for name in names}


def test_order_of_temperatures_after_load_is_thrown_off() -> None:
    """Without load nothing is colder than the liquid round it, and nothing colder than the air."""
    found = hourly(annex_g(UNIT, held(0.0, 25.0), replace(UNIT.rated_state(), winding=20.0)))
    after = slice(1, None)
    assert (found["hot_spot_c"][after] >= found["winding_c"][after] - 1e-9).all()
    assert (found["top_liquid_c"] > found["bottom_liquid_c"]).all()
    assert (found["bottom_liquid_c"][after] >= 25.0).all()


def one_step(unit: AnnexG, air: float, start: State) -> AnnexGTemperatures:
    """Half a minute without load."""
    return annex_g(unit, Loading(np.array([0.0, 0.5]), np.zeros(2), np.full(2, air)), start)


def test_a_conductor_is_never_colder_than_what_it_lies_in() -> None:
    """A start that is not in order is put in order: winding to the bottom, hot spot to winding."""
    start = replace(UNIT.rated_state(), winding=20.0)
    assert one_step(UNIT, 30.0, start).end.winding == pytest.approx(start.bottom)
    start = replace(start, winding=130.0, hot_spot=20.0)
    end = one_step(UNIT, 30.0, start).end
    in_order = replace(start, hot_spot=end.winding)
    assert end.hot_spot == one_step(UNIT, 30.0, in_order).end.hot_spot > 110


def test_a_liquid_colder_than_the_air_gives_it_nothing() -> None:
    """It is warmed by the core alone, however hot the air; its bottom is as warm as the air."""
    start = State(*(6 * [-10.0]))
    for air in (-10.0, 20.0, 40.0):
        found = one_step(UNIT, air, start)
        warmed = 0.5 * UNIT.core_loss_w / UNIT.liquid_capacity()
        assert found.end.average_liquid == pytest.approx(-10 + warmed)
        assert found.end.bottom == max(air, found.end.average_liquid)
        assert found.end.duct_top == found.end.bottom


def test_rated_duct_of_each_cooling() -> None:
    """Annex G (T): a duct ends at the top of the tank, in OFAF as warm as the tested winding."""
    ends = {cooling: replace(UNIT, cooling=cooling).rated_state().duct_top for cooling in LAWS}
    assert ends == {"ONAF": 85.0, "OFAF": 93.0, "ODAF": 85.0}


def test_losses_at_the_rated_temperature() -> None:
    """Twice the load, 75 to 93 degC: I2R as (234.5 + t), eddy and stray against it, by hand."""
    unit = replace(UNIT, load_kva=56_000.0)
    warmer = (234.5 + 93) / (234.5 + 75)
    losses = unit.rated_losses()
    assert losses.winding_w == pytest.approx(4 * 51_690 * warmer)
    assert losses.eddy_w == pytest.approx(4 * 4_000 / warmer)
    assert losses.stray_w == pytest.approx(4 * 21_078 / warmer)
    assert losses.core_w == 36_986


def test_a_step_too_long_is_refused() -> None:
    """Beyond the winding's time constant the step is unstable; so is a shorter one at overload."""
    with pytest.raises(ImpossibleReading, match="unstable"):
        annex_g(
            UNIT, Loading(6.0 * np.arange(20.0), np.ones(20), 30 * np.ones(20)), UNIT.rated_state()
        )
    step = Loading(4.0 * np.arange(20.0), np.full(20, 2.5), np.full(20, 30.0))
    with pytest.raises(ImpossibleReading, match="unstable"):
        annex_g(UNIT, step, UNIT.rated_state())
    mild = replace(step, load=np.full(20, 0.8))
    assert np.isfinite(annex_g(UNIT, mild, UNIT.rated_state()).hot_spot_c).all()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"core_loss_w": 0.0}, "core_loss_w = 0"),
        ({"eddy_loss_w": -1.0}, "not below zero"),
        ({"rated_ambient_c": math.nan}, "finite"),
        ({"tested_winding_rise_k": 40.0}, "tested_winding_rise_k = 40"),
        ({"hot_spot_rise_k": 55.0}, "hot_spot_rise_k = 55"),
        ({"bottom_rise_k": 55.0}, "top_rise_k = 55"),
        ({"winding_time_constant_min": 50.0}, "heavier than core and coils"),
    ],
)
def test_a_unit_that_cannot_be(change: dict[str, Any], words: str) -> None:
    """Refused where it is made, by name."""
    with pytest.raises(ImpossibleReading, match=words):
        replace(WORKED, **change)
