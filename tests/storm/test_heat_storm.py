"""Heat runs under fault: a few seeds here, three hundred on request, and what they must find."""

from dataclasses import asdict
from time import monotonic

import pytest

from acquire.configuration import Scenario, load_scenario
from acquire.storm import heat_invariants
from acquire.storm.campaign import SCENARIO, coverage, storm
from acquire.storm.drawing import applicable, faults_of
from acquire.storm.heat_drawing import draw_heat
from acquire.storm.seed_run import run_seed
from acquire.storm.telling import told
from drivers.simulated.faults.fault import OF_HEAT
from tests.storm.planting import PLANTED_IN_HEAT

# Dry and liquid-filled ones, one asking at random, one that goes on after a crash.
SEEDS = (3, 4, 5, 6, 12, 21, 111)
FOUND_WITHIN = range(1, 61)


@pytest.fixture(name="base", scope="module")
def _base() -> Scenario:
    """Return the shipped heat run."""
    return load_scenario(SCENARIO, "heat_run")


def test_a_few_seeds_break_no_invariant(base: Scenario) -> None:
    """Among them runs that complete, that are stopped, and one that goes on after a crash."""
    ran = [run_seed(seed, base) for seed in SEEDS]
    assert [(o.seed, o.violations) for o in ran if o.failed] == []
    ends = [end.partition(":")[0] for o in ran for end in o.ends]
    assert "complete" in ends
    assert "aborted" in ends
    assert any(len(o.ends) > 1 for o in ran)


@pytest.mark.campaign
def test_three_hundred_seeds_break_no_invariant() -> None:
    tally = storm(range(1, 301), "heat_run", 2, monotonic)
    command = "twinload storm --schedule heat_run --seeds 1..300 --jobs 2"
    print(told(tally, coverage(tally, "heat_run"), command))
    assert [str(ran) for ran in tally.failing] == []
    assert "complete: within" in tally.outcomes


def found(base: Scenario) -> int | None:
    """Return the first seed that fails, None where none does."""
    return next((seed for seed in FOUND_WITHIN if run_seed(seed, base).failed), None)


@pytest.mark.campaign
@pytest.mark.parametrize("name", sorted(PLANTED_IN_HEAT))
def test_every_planted_fault_is_found_within_sixty_seeds(name: str, base: Scenario) -> None:
    with PLANTED_IN_HEAT[name].inside():
        seed = found(base)
    print(f"{name}: seed {seed}")
    assert seed is not None


def test_a_replay_is_what_it_replays(base: Scenario) -> None:
    """The same faults, the same record to the last bit, the same ends."""
    assert asdict(run_seed(6, base)) == asdict(run_seed(6, base))


def test_a_loss_test_is_given_no_fault_of_a_heat_run() -> None:
    """Or its seeds would stand for other runs than they did."""
    faults = faults_of(load_scenario(SCENARIO, "loss_test"))
    assert not {stage for _, stage in applicable(faults)} & set(OF_HEAT)
    assert not {"ambient_out_of_range", "operator_asks_to_hold"} & faults.keys()


def test_what_is_drawn_is_a_third_dry_and_of_every_kind_of_selector(base: Scenario) -> None:
    drawn = [draw_heat(seed, base) for seed in range(1, 301)]
    dry = sum(d.kind.startswith("dry") for d in drawn)
    assert 80 <= dry <= 120
    selectors = [d.scenario.stand.outputs.resistance_selector for d in drawn]
    assert {(s.by_hand, len(s.positions)) for s in selectors} == {(True, 1), (False, 1), (False, 2)}


def test_every_invariant_has_its_reason() -> None:
    assert all(invariant.__doc__ for invariant in heat_invariants.ON_LOOKING)
    assert heat_invariants.d_c_is_discharged_before_the_selector_opens.__doc__
