"""The units' heat: what goes in comes out or is stored, and where it ends does not ask how."""

from dataclasses import replace
from pathlib import Path

import pytest

from drivers.simulated.thermal.pair import NOTHING, ThermalPair
from drivers.simulated.thermal.truth import TrueRoom
from drivers.simulated.thermal.unit import DryUnit, LiquidUnit, Temperatures
from tests.drivers.simulated.heat import HOUR, STILL, carrying, pair, thermal_of
from tests.drivers.simulated.scenario import DRY, FOLDER, SECOND, truth_file

BOTH = pytest.mark.parametrize("folder", [FOLDER, DRY], ids=["liquid", "dry"])


def loaded(folder: Path, load: float = 1.0, room: TrueRoom = STILL) -> ThermalPair:
    thermal = pair(folder, room)
    thermal.carry(carrying(folder, load))
    return thermal


def settle(unit: LiquidUnit | DryUnit, room_c: float) -> None:
    """Let it stand in a room for two days, in strides: where it ends does not ask for them."""
    for _ in range(2 * 86_400 // 20):
        unit.step(20.0, room_c)


def state(unit: LiquidUnit | DryUnit) -> list[float]:
    found = [unit.winding_lv_c, unit.winding_hv_c, unit.core_c, unit.hot_spot_c]
    if isinstance(unit, LiquidUnit):
        found += [unit.average_liquid_c, unit.top_liquid_c, unit.bottom_liquid_c]
    return found


def same(end: Temperatures, unit: LiquidUnit | DryUnit) -> list[float]:
    found = [end.winding_lv_c, end.winding_hv_c, end.core_c, end.hot_spot_c]
    if isinstance(unit, LiquidUnit):
        found += [end.average_liquid_c, end.top_liquid_c, end.bottom_liquid_c]
    return found


@BOTH
def test_heat_is_neither_made_nor_lost(folder: Path) -> None:
    """Over hours of heating and cooling: losses in = shed to the room + stored, to 1e-5."""
    thermal = pair(folder, STILL)
    unit = thermal.a
    stored, in_j, out_j = unit.stored_j, 0.0, 0.0
    for hour, load in ((2, 1.0), (4, 1.3), (6, 0.0)):
        thermal.carry(carrying(folder, load) if load else NOTHING)
        while thermal.t < hour * HOUR:
            before = unit.lv_w + unit.hv_w + unit.core_w
            thermal.to(thermal.t + SECOND)
            in_j += (before + unit.lv_w + unit.hv_w + unit.core_w) / 2
            out_j += unit.shed_w
    assert in_j == pytest.approx(out_j + unit.stored_j - stored, rel=1e-5)


@BOTH
def test_without_loss_everything_stays_as_it_is(folder: Path) -> None:
    """At the room's temperature nothing is shed, and nothing moves."""
    thermal = pair(folder, STILL)
    before = state(thermal.a)
    thermal.to(HOUR)
    assert state(thermal.a) == pytest.approx(before, abs=1e-12)
    assert thermal.a.shed_w == 0.0


@BOTH
@pytest.mark.parametrize("way", ["straight", "overloaded first", "cooled in between"])
def test_the_end_does_not_ask_for_the_way(folder: Path, way: str) -> None:
    """Whatever came before, the same currents in the same room end at the same temperatures."""
    thermal = loaded(folder)
    ultimate = thermal.ultimate()["a"]
    if way != "straight":
        load = 1.4 if way == "overloaded first" else 0.2
        thermal.carry(carrying(folder, load))
        thermal.to(3 * HOUR)
        thermal.carry(carrying(folder))
    settle(thermal.a, thermal.room.temperature_c)
    assert state(thermal.a) == pytest.approx(same(ultimate, thermal.a), abs=1e-3)


@BOTH
def test_the_end_sheds_what_is_lost(folder: Path) -> None:
    """There the loss at the end's own temperatures is what is shed at them."""
    thermal = loaded(folder)
    end = thermal.ultimate()["a"]
    settle(thermal.a, thermal.room.temperature_c)
    assert thermal.a.shed_w == pytest.approx(thermal.a.loss_at(end), rel=1e-6)


@BOTH
def test_at_the_losses_of_the_truth_it_rises_as_the_truth_says(folder: Path) -> None:
    """Every body stands as far above its surroundings as its truth has it."""
    unit, true = pair(folder, STILL).a, thermal_of(truth_file(folder)).a
    end = unit.steady(true.lv.loss_w, true.hv.loss_w, true.core.loss_w, 20.0)
    around = end.average_liquid_c
    assert end.winding_lv_c - around == pytest.approx(true.lv.rise_k)
    assert end.winding_hv_c - around == pytest.approx(true.hv.rise_k)
    assert end.core_c - around == pytest.approx(true.core.rise_k)
    if true.liquid is not None:
        total = true.lv.loss_w + true.hv.loss_w + true.core.loss_w
        expected = true.liquid.rise_k * (total / true.liquid.loss_w) ** 0.8
        assert around - 20.0 == pytest.approx(expected)


@BOTH
def test_losses_follow_the_windings(folder: Path) -> None:
    """I2R rises, the additional part falls: hot, a winding loses more, by less than copper does."""
    thermal = loaded(folder)
    cold_w, cold_c = thermal.a.lv_w, thermal.a.winding_lv_c
    thermal.to(8 * HOUR)
    ratio = thermal.a.lv_w / cold_w
    copper = (235 + thermal.a.winding_lv_c) / (235 + cold_c)
    assert 1.05 < ratio < copper


@BOTH
def test_more_load_is_hotter(folder: Path) -> None:
    """Windings in any unit; a core only where it stands in the liquid that they heat."""
    full, over = loaded(folder).ultimate()["a"], loaded(folder, 1.2).ultimate()["a"]
    hotter = [o > f for o, f in zip(over, full, strict=True)]
    in_liquid = folder == FOLDER
    assert hotter == [True, True, *[in_liquid] * 4, True]


@BOTH
def test_convection_helps(folder: Path) -> None:
    """Twice the losses make less than twice the rises."""
    unit = pair(folder, STILL).a
    once, twice = unit.steady(800, 800, 300, 0.0), unit.steady(1600, 1600, 600, 0.0)
    assert 1.5 < twice.hot_spot_c / once.hot_spot_c < 1.9
    rises = [end.winding_hv_c - end.average_liquid_c for end in (once, twice)]
    assert 1.5 < rises[1] / rises[0] < 1.9


def test_liquid_is_slow_and_windings_are_quick() -> None:
    """A winding has lost three quarters of its gradient before the liquid a tenth of its rise."""
    thermal = loaded(FOLDER)
    unit = thermal.a
    assert isinstance(unit, LiquidUnit)
    thermal.to(12 * HOUR)
    gradient, liquid = unit.winding_hv_c - unit.average_liquid_c, unit.average_liquid_c
    thermal.carry(NOTHING)
    thermal.to(thermal.t + 1200 * SECOND)
    assert unit.winding_hv_c - unit.average_liquid_c < 0.25 * gradient
    assert liquid - unit.average_liquid_c < 0.1 * (liquid - 21.0)


def test_liquid_stands_in_layers_only_while_heat_flows() -> None:
    """Top and bottom are half their difference above and below the mean; cold, they are one."""
    thermal = loaded(FOLDER)
    unit = thermal.a
    assert isinstance(unit, LiquidUnit)
    assert unit.top_liquid_c == unit.bottom_liquid_c
    thermal.to(12 * HOUR)
    mean = (unit.top_liquid_c + unit.bottom_liquid_c) / 2
    assert mean == pytest.approx(unit.average_liquid_c)
    assert 12 < unit.top_liquid_c - unit.bottom_liquid_c < 18
    assert unit.hot_spot_c > max(unit.top_liquid_c, unit.winding_lv_c, unit.winding_hv_c)


def test_a_dry_unit_has_windings_that_do_not_warm_each_other() -> None:
    """Each stands in the room's air: current in one alone leaves the other and the core cold."""
    thermal = pair(DRY, STILL)
    assert isinstance(thermal.a, DryUnit)
    thermal.a.carry(400.0**2, 0.0, 0.0)
    thermal.to(6 * HOUR)
    assert thermal.a.winding_lv_c > 60
    assert thermal.a.winding_hv_c == thermal.a.core_c == 22.0


@BOTH
def test_hindered_it_gets_hotter_and_its_twin_does_not(folder: Path) -> None:
    """Half the heat transfer at a rise; in a room that stays cool the other one feels nothing."""
    plain, hindered = loaded(folder), loaded(folder)
    hindered.a.cooling.hindrance = 0.5
    for thermal in (plain, hindered):
        thermal.to(6 * HOUR)
    assert hindered.a.winding_hv_c > plain.a.winding_hv_c + 10
    assert state(hindered.b) == state(plain.b)


@BOTH
def test_a_fan_cools_until_it_stops(folder: Path) -> None:
    """Running it multiplies what is shed; stopped, the unit is as one without."""
    thermal = thermal_of(truth_file(folder))
    with_fan = replace(thermal, a=replace(thermal.a, fan_factor=1.6))
    plain, fanned = loaded(folder), pair(folder, STILL, with_fan)
    fanned.carry(carrying(folder))
    warm, cool = plain.ultimate()["a"], fanned.ultimate()["a"]
    assert cool.hot_spot_c < warm.hot_spot_c - 10
    fanned.a.cooling.fan_stopped = True
    assert fanned.ultimate()["a"] == pytest.approx(warm)
    fanned.a.cooling.fan_stopped, fanned.a.cooling.fan_on = False, False
    assert fanned.ultimate()["a"] == pytest.approx(warm)


def test_losses_that_outrun_the_cooling_have_no_end() -> None:
    """Without convection's help heat can make more loss than is shed: said, no number given."""
    true = thermal_of(truth_file(FOLDER))
    assert true.a.liquid is not None
    straight = replace(true.a, liquid=replace(true.a.liquid, exponent=1.0))
    thermal = pair(FOLDER, STILL, replace(true, a=straight))
    thermal.carry(carrying(FOLDER, 4.0))
    thermal.a.cooling.hindrance = 0.1
    with pytest.raises(ArithmeticError, match="no end temperature"):
        thermal.ultimate()


class TestRoom:
    def test_it_begins_where_the_truth_says_and_follows_the_day(self) -> None:
        """The same a day later but for its drift, and warmest at its hour."""
        room = pair(FOLDER, TrueRoom(day_k=2.0, warmest_h=6.0, drift_k_per_day=0.5)).room
        assert room.unheated_c(0) == pytest.approx(21.0)
        assert room.unheated_c(86_400) == pytest.approx(21.5)
        hours = [room.unheated_c(3600 * h) - 0.5 * h / 24 for h in range(25)]
        assert hours.index(max(hours)) == 6

    def test_it_warms_with_what_is_shed_in_it(self) -> None:
        """In the end by its K a kW of all that both units lose, leads and all."""
        thermal = pair(FOLDER, TrueRoom(warming_k_per_kw=0.5, time_constant_s=3600))
        thermal.carry(carrying(FOLDER, lead_ohm=0.0012))
        end = thermal.ultimate()
        lost = thermal.a.loss_at(end["a"]) + thermal.b.loss_at(end["b"])
        leads = 2 * 250.0**2 * 0.0012
        thermal.to(30 * HOUR)
        assert thermal.room.temperature_c - 21.0 == pytest.approx(0.5e-3 * (lost + leads), rel=1e-3)
        assert state(thermal.a) == pytest.approx(same(end["a"], thermal.a), abs=0.02)

    def test_a_unit_stands_as_far_above_a_warm_room_as_above_a_cold_one(self) -> None:
        """But for its losses, which are a little higher."""
        unit = loaded(FOLDER).a
        cold, warm = unit.steady(800, 800, 300, 10.0), unit.steady(800, 800, 300, 30.0)
        assert [w - c for w, c in zip(warm, cold, strict=True)] == pytest.approx([20.0] * 7)
        rise = [unit.ultimate(room).top_liquid_c - room for room in (10.0, 30.0)]
        assert rise[0] < rise[1] < rise[0] + 4
