"""Whole loss tests on a stand whose regulators are a source, told in text, and a motor."""

import pytest

from acquire.configuration import Scenario, load_scenario
from drivers.outputs import LOOP_REGULATOR, LV_REGULATOR
from tests.stand.conftest import STAGES, Watch
from tests.stand.test_whole_runs import Seen


@pytest.fixture(name="bench_pair")
def _bench_pair() -> Scenario:
    return load_scenario("bench_pair", "loss_test")


def test_it_completes_within_limits(watch: Watch, bench_pair: Scenario) -> None:
    """Every stage once; nothing is driven beyond what it is rated for, and all ends dead."""
    seen = Seen(watch(bench_pair))
    assert (seen.outcome.end, seen.outcome.verdict) == ("complete", "within")
    assert seen.stages() == STAGES
    assert 0.995 <= seen.highest("bus") <= 1.005
    assert 0.99 <= seen.highest("loop") <= 1.01
    assert seen.is_dead()


def test_an_aiding_pair_is_found_and_cured(watch: Watch, bench_pair: Scenario) -> None:
    """At half the impedance voltage, as on any stand."""
    seen = Seen(watch(bench_pair, connection="aiding"))
    assert (seen.outcome.end, seen.outcome.attempts) == ("complete", 2)
    assert seen.highest("bus", "prove") <= 1.02 * 0.0175
    assert seen.is_dead()


@pytest.mark.parametrize(
    ("fault", "finding"),
    [
        ("lv_regulator_silent@load_readings", "command_lost"),
        ("loop_regulator_stuck@circulate", "loop_regulator"),
        ("loop_regulator_runs_away@load_readings", "loop_regulator"),
        ("lv_regulator_runs_away@no_load_readings", "lv_regulator"),
        ("loop_motor_frozen@circulate", "loop_regulator"),
        ("loop_motor_silent@circulate", "loop_regulator"),
        ("ac_source_shown_frozen@energise", "lv_regulator"),
    ],
)
def test_a_regulator_that_fails_is_stopped(
    watch: Watch, bench_pair: Scenario, fault: str, finding: str
) -> None:
    """Named for what it is, with no more current or voltage than its trips allow, and all dead."""
    seen = Seen(watch(bench_pair, faults=[fault]))
    assert seen.outcome.state in ("stopped", "aborted")
    assert seen.outcome.finding is not None
    assert finding in str(seen.outcome.finding)
    assert seen.highest("bus") <= 1.15
    assert seen.highest("loop") <= 1.25


def test_the_loop_motor_is_never_told_both_ways(watch: Watch, bench_pair: Scenario) -> None:
    """In a whole run, whoever sends it."""
    watched = watch(bench_pair)
    held = {"raise": 0.0, "lower": 0.0}
    both: list[float] = []

    def written(output: str, value: float) -> None:
        regulator, _, relay = output.partition(".")
        if relay:
            assert regulator == LOOP_REGULATOR
            held[relay] = value
            both.append(sum(held.values()))

    watched.plant.written = written
    assert Seen(watched).outcome.end == "complete"
    assert 1.0 in both
    assert max(both) <= 1.0


def test_the_source_is_told_every_position_of_the_record(
    watch: Watch, bench_pair: Scenario
) -> None:
    """What the run commanded is what its source was set to, to the millivolt."""
    watched = watch(bench_pair)
    told: list[float] = []

    def written(output: str, value: float) -> None:
        if output == LV_REGULATOR and value > 0:
            told.append(round(value, 4))

    watched.plant.written = written
    Seen(watched)
    moves = [
        e.facts["to"]
        for e in watched.told("command")
        if e.facts["output"] == LV_REGULATOR and e.facts["action"] == "move" and e.facts["to"]
    ]
    assert told == moves
