"""Heat and circuit together: each follows the other, and neither makes energy."""

from dataclasses import replace
from pathlib import Path

import pytest

from drivers.simulated.circuit import OPPOSITION, WiredPair
from drivers.simulated.faults.heat import heat_faults
from drivers.simulated.hands import Hands
from drivers.simulated.pair import heated_pair_circuit
from drivers.simulated.stand import SimulatedStand
from drivers.simulated.thermal.pair import ThermalPair
from drivers.simulated.truth import Truth
from tests.drivers.simulated.scenario import (
    DRY,
    FOLDER,
    SECOND,
    nameplate_file,
    stand_file,
    truth_file,
)
from tests.drivers.simulated.test_faults import At

BOTH = pytest.mark.parametrize("folder", [FOLDER, DRY], ids=["liquid", "dry"])
HOUR = 3600 * SECOND
RATED = {FOLDER: (0.872, 0.775), DRY: (0.872, 0.772)}


def new(folder: Path = FOLDER, truth: Truth | None = None) -> SimulatedStand:
    plant = SimulatedStand(
        stand_file(folder), nameplate_file(folder), truth or truth_file(folder), 1
    )
    plant.watchdog.welded = True
    plant.write("heartbeat", 1)
    return plant


def rated(folder: Path = FOLDER, truth: Truth | None = None) -> SimulatedStand:
    """Return a plant that has just come to about rated voltage and current."""
    plant = new(folder, truth)
    for side, position in zip(("lv", "loop"), RATED[folder], strict=True):
        plant.write(f"{side}_contactor", 1)
        plant.write(f"{side}_regulator", position)
        plant.advance(plant.t + 40 * SECOND)
    return plant


def heat_of(plant: SimulatedStand) -> ThermalPair:
    assert plant.thermal is not None
    return plant.thermal


def carried_w(plant: SimulatedStand) -> tuple[float, ...]:
    """Return the losses of both units' windings and cores as heat has them."""
    heat = heat_of(plant)
    return tuple(w for u in (heat.a, heat.b) for w in (u.lv_w, u.hv_w, u.core_w))


def exact_w(plant: SimulatedStand) -> tuple[float, ...]:
    """Return them from a circuit solved with the windings' very temperatures."""
    heat = heat_of(plant)
    plate, truth = plant.nameplate, plant.truth
    a_c, b_c = heat.windings_c("a"), heat.windings_c("b")
    pair = heated_pair_circuit(plate, truth, plant.stand.lv_branch_ohm, a_c, b_c)
    s = WiredPair(pair, OPPOSITION).solve(plant._supplies())
    return (
        abs(s.i_a) ** 2 * pair.a.z_lv.real,
        abs(s.loop) ** 2 * pair.a.z_hv.real,
        abs(s.e_a) ** 2 * s.y_a.real,
        abs(s.i_b) ** 2 * pair.b.z_lv.real,
        abs(s.loop) ** 2 * pair.b.z_hv.real,
        abs(s.e_b) ** 2 * s.y_b.real,
    )


@BOTH
def test_what_the_supplies_give_is_what_heats(folder: Path) -> None:
    """LV and loop power are the losses of both units and of the leads, cold and warm."""
    plant = rated(folder)
    for hours in (0, 3):
        plant.advance(plant.t + hours * HOUR + 1)
        s = plant.solution()
        leads = (abs(s.i_a) ** 2 + abs(s.i_b) ** 2) * plant.stand.lv_branch_ohm
        assert sum(carried_w(plant)) + leads == pytest.approx(s.lv_power + s.hv_power, rel=1e-4)


@BOTH
def test_losses_are_those_of_a_circuit_solved_every_second(folder: Path) -> None:
    """Within 0.01 %, although it is solved only when a winding has moved by 0.03 K."""
    plant = rated(folder)
    worst = 0.0
    for k in range(150):
        plant.advance(plant.t + (7 if k < 100 else 127) * SECOND)
        pairs = zip(carried_w(plant), exact_w(plant), strict=True)
        worst = max(worst, *(abs(c / e - 1) for c, e in pairs))
    assert worst < 1e-4


def test_the_circuit_is_solved_no_oftener_than_that() -> None:
    """Settled, an hour passes with a handful of solutions; cold, with hundreds."""
    plant = rated()
    counts = []
    for hours in (0, 13):
        plant.advance(plant.t + hours * HOUR)
        solved, last = 0, plant.pair
        for _ in range(3600):
            plant.advance(plant.t + SECOND)
            solved, last = solved + (plant.pair is not last), plant.pair
        counts.append(solved)
    assert counts[0] > 300
    assert counts[1] < 0.2 * counts[0]


def test_warm_windings_let_less_current_through() -> None:
    """Positions as they were, rated current has fallen, and the loop takes more to drive it."""
    plant = rated()
    before, at = plant.true_state().loop, abs(plant.solution().hv_voltage)
    plant.advance(plant.t + 10 * HOUR)
    assert 0.96 * before < plant.true_state().loop < 0.99 * before
    per_amp = abs(plant.solution().hv_voltage) / plant.true_state().loop
    assert per_amp > 1.02 * at / before


def test_an_unlucky_loop_current_heats_the_twins_unequally() -> None:
    """LV currents are I0 -/+ n I: turned against the bus voltage, LV gradients fall apart."""
    truth = truth_file()
    assert truth.thermal is not None
    alike = replace(truth, b=truth.a, thermal=replace(truth.thermal, b=truth.thermal.a))
    apart = []
    for degree in range(0, 360, 45):
        turned = replace(alike.loop_supply, angle_degree=float(degree))
        plant = rated(truth=replace(alike, loop_supply=turned))
        heat = heat_of(plant)
        s = plant.solution()
        assert (heat.a.lv_w > heat.b.lv_w) is (abs(s.i_a) > abs(s.i_b))
        ends = heat.ultimate()
        gradients = [end.winding_lv_c - end.average_liquid_c for end in ends.values()]
        apart.append(gradients[0] - gradients[1])
    assert max(apart) > 0.5
    assert min(apart) < -0.5
    assert min(abs(k) for k in apart) < 0.3


@BOTH
def test_resistances_follow_the_windings(folder: Path) -> None:
    """R = R_20 (235 + theta)/255 with the winding's true mean temperature, on every channel."""
    plant = rated(folder)
    plant.advance(plant.t + 4 * HOUR)
    heat = heat_of(plant)
    for unit, electrical in (("a", plant.truth.a), ("b", plant.truth.b)):
        true = heat.units[unit]
        for side, celsius, cold in (
            ("lv", true.winding_lv_c, electrical.lv_resistance_ohm),
            ("hv", true.winding_hv_c, electrical.hv_resistance_ohm),
        ):
            expected = cold * (235 + celsius) / 255
            assert plant.true_resistance(f"{unit}.resistance_{side}") == pytest.approx(expected)


def test_the_instant_of_the_shutdown_is_heats_own() -> None:
    """Half a second more of current is half a second more of heat: no second is rounded."""
    ends = []
    for late in (0, SECOND // 2):
        plant = rated()
        plant.advance(plant.t + 600 * SECOND)
        at = plant.t
        plant.advance(at + late)
        plant.write("loop_contactor", 0)
        plant.write("lv_contactor", 0)
        plant.advance(at + 2 * SECOND)
        plant.temperature("a.top_liquid")
        heat = heat_of(plant)
        ends.append(heat.a.winding_hv_c)
        rate = heat.a.true.hv.rise_k / heat.a.true.hv.time_constant_s
    assert ends[1] - ends[0] == pytest.approx(0.5 * rate, rel=0.25)


def test_a_plant_that_nobody_asks_warms_all_the_same() -> None:
    """Asked once an hour or every second, it comes to the same temperatures."""
    one, other = rated(), rated()
    one.advance(one.t + HOUR)
    for _ in range(3600):
        other.advance(other.t + SECOND)
        other.temperature("a.top_liquid")
    assert heat_of(one).a.winding_lv_c == pytest.approx(heat_of(other).a.winding_lv_c, abs=1e-3)


def test_a_regulator_under_way_heats_as_it_goes() -> None:
    """One long advance over a ramp is as warm as many short ones, for heat has its own steps."""
    one, other = new(), new()
    for plant in (one, other):
        plant.write("lv_contactor", 1)
        plant.write("lv_regulator", 0.872)
        plant.advance(40 * SECOND)
        plant.write("loop_contactor", 1)
        plant.write("loop_regulator", 0.775)
    one.advance(340 * SECOND)
    while other.t < 340 * SECOND:
        other.advance(min(other.t + SECOND // 5, 340 * SECOND))
    assert heat_of(one).a.winding_hv_c == pytest.approx(heat_of(other).a.winding_hv_c, abs=0.01)


@BOTH
def test_without_a_thermal_side_nothing_ever_warms(folder: Path) -> None:
    """Hours at rated, and windings, sensors and circuit are as at the start."""
    plant = rated(folder, replace(truth_file(folder), thermal=None))
    before, cold = plant.solution(), plant.true_resistance("a.resistance_hv")
    plant.advance(plant.t + 5 * HOUR)
    assert plant.thermal is None
    assert plant.solution() is before
    assert plant.temperature("a.top_liquid") == plant.truth.room_temperature_c
    assert plant.true_resistance("a.resistance_hv") == cold


def test_the_shipped_liquid_pair_stays_within_what_its_kind_may_rise() -> None:
    """60 K top liquid, 65 K windings, 78 K hot-spot (IEC 60076-2, from memory)."""
    plant = rated()
    assert plant.true_state().loop == pytest.approx(1.0, abs=0.01)
    heat = heat_of(plant)
    room = heat.room.temperature_c + 2.5  # what it warms
    for end in heat.ultimate().values():
        assert 44 < end.top_liquid_c - room < 60
        assert 45 < max(end.winding_lv_c, end.winding_hv_c) - room < 65
        assert end.hot_spot_c - room < 78


def test_the_shipped_dry_pair_stays_within_its_class() -> None:
    """100 K for windings of class F (IEC 60076-11, from memory)."""
    plant = rated(DRY)
    assert plant.true_state().loop == pytest.approx(1.0, abs=0.02)
    heat = heat_of(plant)
    for end in heat.ultimate().values():
        rises = [c - heat.room.temperature_c - 2.0 for c in (end.winding_lv_c, end.winding_hv_c)]
        assert 60 < min(rises) < max(rises) < 100


def test_the_room_follows_its_day_without_a_unit_that_heats_it() -> None:
    """De-energised the sensors show a room that has gone with the sun by its amplitude."""
    plant = new()
    true = heat_of(plant).room
    plant.advance(5 * HOUR)
    warm = true.temperature_c
    plant.advance(17 * HOUR)
    cool = true.temperature_c
    drift = 0.5 * 12 / 24
    assert warm - cool == pytest.approx(2 * 0.8 - drift, abs=0.02)


class TestFaults:
    def held(self, plant: SimulatedStand, name: str) -> Hands:
        """Hold a fault's changes over a plant."""
        hands = Hands()
        fault = next(f for f in heat_faults() if f.name == name)
        for change in fault.changes(At(plant)):
            hands.hold("1", change)
        return hands

    @pytest.mark.parametrize(("unit", "other"), ["ab", "ba"])
    def test_hindered_cooling_is_that_units_alone(self, unit: str, other: str) -> None:
        """It ends much hotter, the other one only by what the room warms; let go, as before."""
        plant = rated()
        before = heat_of(plant).ultimate()
        hands = self.held(plant, f"unit_{unit}_cooling_hindered")
        hindered = heat_of(plant).ultimate()
        hands.let_go("1")
        assert hindered[unit].top_liquid_c > before[unit].top_liquid_c + 20
        assert abs(hindered[other].top_liquid_c - before[other].top_liquid_c) < 0.5
        assert heat_of(plant).ultimate() == before

    def test_a_fan_that_stops_is_missed_only_where_there_is_one(self) -> None:
        """Unit A with a fan, B without: A gets hotter, and nothing happens to B."""
        truth = truth_file(DRY)
        assert truth.thermal is not None
        fanned = replace(truth.thermal.a, fan_factor=1.5)
        plant = rated(DRY, replace(truth, thermal=replace(truth.thermal, a=fanned)))
        before = heat_of(plant).ultimate()
        self.held(plant, "unit_a_fan_stops")
        self.held(plant, "unit_b_fan_stops")
        after = heat_of(plant).ultimate()
        assert after["a"].winding_hv_c > before["a"].winding_hv_c + 10
        assert after["b"].winding_hv_c == pytest.approx(before["b"].winding_hv_c, abs=0.5)

    @pytest.mark.parametrize(("what", "first"), [("will_not_close", 0), ("will_not_open", 1)])
    def test_a_stuck_selector_stays_where_it_stands(self, what: str, first: int) -> None:
        """Open, or in its position, until it is freed."""
        plant = new()
        plant.write("resistance_selector", first)
        plant.advance(60 * SECOND)
        hands = self.held(plant, f"resistance_selector_{what}")
        plant.write("resistance_selector", 1 - first)
        plant.advance(600 * SECOND)
        stuck = plant.resistance_selector.contact
        hands.let_go("1")
        plant.advance(601 * SECOND)
        plant.advance(700 * SECOND)
        assert (stuck, plant.resistance_selector.contact) == (first, 1 - first)
