"""Own LV currents of the twins against the simulated pair's T-circuits, which share no formula."""

from dataclasses import replace

import pytest

from acquire.configuration import load_scenario
from calculation.errors import ImpossibleReading
from calculation.own_currents import LoopState, own_lv_currents
from drivers.simulated.stand import SimulatedStand

# What the loss test of the shipped pair reads, shortened (recorded): cold, per unit of the pair.
READ = LoopState(15.16, 6.57, 16.97, 4.398, 0.182, 16.5, 0.0)


def true_currents(angle_degree: float) -> tuple[float, float, float]:
    """Return LV currents of A and B and the loop current at rated voltage, A, as the plant has."""
    scenario = load_scenario("distribution_pair", "loss_test")
    supply = replace(scenario.truth.loop_supply, angle_degree=angle_degree)
    truth = replace(scenario.truth, loop_supply=supply, thermal=None)
    plant = SimulatedStand(scenario.stand, scenario.pair.nameplate, truth, seed=1)
    plant.write("heartbeat", 1)
    for contactor in ("lv_contactor", "loop_contactor"):
        plant.write(contactor, 1)
    plant.write("lv_regulator", 0.9)
    plant.write("loop_regulator", 0.78)
    t = 0
    for beat in range(40):
        t += 1_000_000_000
        plant.advance(t)
        plant.write("heartbeat", beat % 2)
    solution = plant.solution()
    return abs(solution.i_a), abs(solution.i_b), abs(solution.loop)


@pytest.mark.parametrize("angle_degree", [0.0, 67.0, -60.0, 150.0, 180.0])
def test_which_twin_carries_more_and_how_much(angle_degree: float) -> None:
    """Within a part of no-load current that the loop supply's own impedance leaves open."""
    a, b, loop = true_currents(angle_degree)
    state = replace(READ, current_a=loop, supply_angle_degree=angle_degree)
    told_a, told_b = own_lv_currents(state)
    assert told_a == pytest.approx(a, abs=0.15 * READ.no_load_a)
    assert told_b == pytest.approx(b, abs=0.15 * READ.no_load_a)


def test_the_unlucky_angle_makes_them_differ_by_twice_the_no_load_current() -> None:
    """Loop current against the no-load current's phase: then the two add and take away wholly."""
    apart = [
        abs(x - y)
        for angle in range(-180, 180, 5)
        for x, y in [own_lv_currents(replace(READ, supply_angle_degree=float(angle)))]
    ]
    assert max(apart) == pytest.approx(2 * READ.no_load_a, rel=0.01)
    assert min(apart) < 0.1 * READ.no_load_a


def test_more_resistance_than_impedance_is_refused() -> None:
    with pytest.raises(ImpossibleReading):
        own_lv_currents(replace(READ, resistance_ohm=20.0))
