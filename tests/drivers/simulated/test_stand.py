"""The plant in time: supplies, contactors, watchdog, and what hands and faults do to it."""

from dataclasses import replace

import pytest

from drivers.simulated.circuit import WIRINGS
from drivers.simulated.stand import STATUS
from tests.drivers.simulated.scenario import SECOND, Bench, build


@pytest.fixture(name="bench")
def _bench() -> Bench:
    return build()


def _status(bench: Bench) -> dict[str, float]:
    return dict(zip(STATUS, bench.plant.status(), strict=True))


def test_at_first_everything_is_out(bench: Bench) -> None:
    """Before anybody beats or asks, contactors, watchdog and upstream breaker are out."""
    status = _status(bench)
    shut = {name for name, value in status.items() if value == 1.0}
    at_zero = {"lv_regulator.lower_limit", "loop_regulator.lower_limit"}
    assert shut == {"guard", "emergency_stop", "protection_contact"} | at_zero
    assert bench.plant.true_state().bus == 0.0


def test_a_raised_regulator_promises_its_voltage(bench: Bench) -> None:
    """LV closed and raised to 0.87 of 460 V: the bus stands at about rated, the loop is dead."""
    bench.energise(lv=0.872)
    state = bench.plant.true_state()
    assert state.bus == pytest.approx(1.0, abs=0.005)
    assert state.loop == 0.0
    assert state.gap_ratio == pytest.approx(0.0005, rel=0.05)
    assert state.flux_a == pytest.approx(1.0, abs=0.006)


def test_loaded_both_units_carry_rated_current(bench: Bench) -> None:
    """With the loop fed both units carry the loop's current at rated flux."""
    bench.energise(lv=0.872, loop=0.78)
    state = bench.plant.true_state()
    assert state.loop == pytest.approx(1.0, abs=0.05)
    assert state.worst_winding == pytest.approx(1.0, abs=0.06)
    assert min(state.lv_winding_a, state.lv_winding_b) > 0.9


def test_the_watchdog_drops_everything(bench: Bench) -> None:
    """Without a heartbeat relay, contactors and upstream breaker drop after drop_s; all is dead."""
    bench.energise(lv=0.872, loop=0.5)
    bench.run(1.9, beating=False)  # the last beat was a second ago
    assert _status(bench)["watchdog"] == 1.0
    bench.run(0.2, beating=False)
    status = _status(bench)
    assert not any(status[c] for c in ("watchdog", "lv_contactor", "loop_contactor"))
    assert status["upstream_breaker"] == 0.0
    assert bench.plant.true_state()[:2] == (0.0, 0.0)


def test_what_the_watchdog_dropped_comes_back_by_itself(bench: Bench) -> None:
    """A command still held closes its contactor again when the heartbeat returns: the hazard."""
    bench.energise(lv=0.872)
    bench.run(5, beating=False)
    bench.run(2)
    assert _status(bench)["lv_contactor"] == 1.0


def test_contactors_follow_the_watchdog_at_their_own_instant(bench: Bench) -> None:
    """A plant that nobody asks for ten seconds still dropped when it should, not when asked."""
    bench.energise(lv=0.872)
    last_beat = bench.clock.t - SECOND
    plant = bench.plant
    drop = last_beat + 3 * SECOND
    plant.advance(drop + 39_999_999)
    before = plant.lv_contactor.closed
    plant.advance(drop + 40_000_000)
    assert (before, plant.lv_contactor.closed) == (True, False)


def test_the_emergency_stop_drops_the_coils(bench: Bench) -> None:
    """Emergency stop opens both contactors in hardware; the upstream breaker stays."""
    bench.energise(lv=0.872, loop=0.5)
    bench.plant.emergency_stop = False
    bench.run(1)
    status = _status(bench)
    assert (status["lv_contactor"], status["loop_contactor"]) == (0.0, 0.0)
    assert status["upstream_breaker"] == 1.0


def test_guard_and_protection_contact_only_say_so(bench: Bench) -> None:
    """Guard and protection contact open no contactor by themselves: that is the program's duty."""
    bench.energise(lv=0.872)
    bench.plant.guard = bench.plant.protection_contact = False
    bench.run(1)
    status = _status(bench)
    assert (status["guard"], status["protection_contact"]) == (0.0, 0.0)
    assert status["lv_contactor"] == 1.0


def test_a_welded_contactor_dies_with_the_upstream_breaker(bench: Bench) -> None:
    """Welded LV contacts stay live after their command, and not without heartbeat."""
    bench.energise(lv=0.872)
    bench.plant.lv_contactor.welded = True
    bench.put("lv_contactor", 0)
    bench.run(1)
    live = bench.plant.true_state().bus
    bench.run(4, beating=False)
    assert live > 0.9
    assert bench.plant.true_state().bus == 0.0
    assert _status(bench)["lv_contactor"] == 1.0


@pytest.mark.parametrize("supply", ["lv_supply_lost", "loop_supply_lost"])
def test_a_lost_supply_carries_nothing(bench: Bench, supply: str) -> None:
    """A lost supply is an open one: no current flows in it, and it comes back as it was."""
    bench.energise(lv=0.872, loop=0.5)
    setattr(bench.plant, supply, True)
    solution = bench.plant.electrical(bench.clock.t)
    assert (solution.lv_supply if supply == "lv_supply_lost" else solution.loop) == 0
    setattr(bench.plant, supply, False)
    assert bench.plant.electrical(bench.clock.t).loop != 0


def test_an_interchange_is_seen_at_once(bench: Bench) -> None:
    """Rewiring acts on the very next question."""
    bench.energise(lv=0.1)
    opposed = bench.plant.true_state().gap_ratio
    bench.plant.wiring = WIRINGS["opposition"].interchanged()
    assert opposed < 0.001
    assert bench.plant.true_state().gap_ratio == pytest.approx(1.0, rel=0.01)
    bench.plant.wiring = bench.plant.wiring.interchanged()
    assert bench.plant.true_state().gap_ratio == opposed


def test_time_never_goes_back(bench: Bench) -> None:
    """A question asked at an instant already past sees the plant as it is, and moves nothing."""
    bench.energise(lv=0.5)
    before = bench.plant.solution()
    assert bench.plant.electrical(bench.clock.t - SECOND) == before
    assert bench.plant.t == bench.clock.t


def test_the_circuit_is_solved_only_for_changes(bench: Bench) -> None:
    """Asked twice with nothing moved, the plant gives the very same solution."""
    bench.energise(lv=0.5)
    first = bench.plant.solution()
    bench.run(3)
    assert bench.plant.solution() is first
    bench.put("lv_regulator", 0.6)
    bench.run(1)
    assert bench.plant.solution() is not first


def test_the_loop_supply_has_its_angle() -> None:
    """The auxiliary e.m.f. stands at its angle against the LV supply's."""
    truth = build().plant.truth
    turned = replace(truth, loop_supply=replace(truth.loop_supply, angle_degree=90.0))
    bench = build(truth=turned)
    bench.run(2)
    bench.put("loop_regulator", 0.5)
    bench.run(20)
    open_voltage = bench.plant.solution().hv_voltage
    assert open_voltage == pytest.approx(350j, abs=1e-9)


def test_a_welded_watchdog_keeps_everything_alive(bench: Bench) -> None:
    """With the relay stuck the hardware's own way out is gone: the bus stays live."""
    bench.energise(lv=0.872)
    bench.plant.watchdog.welded = True
    bench.run(10, beating=False)
    assert bench.plant.true_state().bus > 0.9
