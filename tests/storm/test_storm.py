"""Two hundred seeds in which nothing may be that must not be, and what a storm is there to find."""

import json
import signal
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path
from time import monotonic, sleep

import pytest
from typer.testing import CliRunner

from acquire.commands import app
from acquire.configuration import Scenario, load_scenario
from acquire.storm import invariants
from acquire.storm.campaign import SCENARIO, coverage, storm
from acquire.storm.drawing import draw
from acquire.storm.seed_run import SeedOutcome, run_seed
from acquire.storm.shrinking import shortest
from acquire.storm.telling import as_plain, told
from tests.storm.planting import PLANTED

SEEDS = range(1, 201)
IN_ORDINARY_TESTS = ("overcurrent made category 1", "loop close without opposition")


@pytest.fixture(name="base", scope="module")
def _base() -> Scenario:
    """Return the shipped scenario."""
    return load_scenario(SCENARIO, "loss_test")


def test_two_hundred_seeds_break_no_invariant() -> None:
    """Whatever fails in them, at whatever instant, and whatever is asked for."""
    tally = storm(SEEDS, "loss_test", 2, monotonic)
    assert [str(ran) for ran in tally.failing] == []
    assert tally.seeds == len(SEEDS)
    # What would else hold of a storm in which nothing happens.
    assert "complete: within" in tally.outcomes
    assert set(tally.kinds) == {"instrument", "stand", "wiring", "process", "operator"}
    assert tally.asking_at_random > len(SEEDS) / 8
    assert tally.programs > tally.seeds


def found(base: Scenario) -> int | None:
    """Return the first seed that fails, None where none does."""
    return next((seed for seed in SEEDS if run_seed(seed, base).failed), None)


@pytest.mark.parametrize("name", IN_ORDINARY_TESTS)
def test_a_planted_fault_is_found_within_two_hundred_seeds(name: str, base: Scenario) -> None:
    with PLANTED[name].inside():
        assert found(base) is not None


@pytest.mark.campaign
@pytest.mark.parametrize("name", sorted(set(PLANTED) - set(IN_ORDINARY_TESTS)))
def test_every_planted_fault_is_found_within_two_hundred_seeds(name: str, base: Scenario) -> None:
    with PLANTED[name].inside():
        assert found(base) is not None


@pytest.mark.campaign
def test_ten_thousand_seeds_break_no_invariant_and_visit_every_cell() -> None:
    tally = storm(range(1, 10_001), "loss_test", 2, monotonic)
    cover = coverage(tally, "loss_test")
    print(told(tally, cover, "twinload storm --seeds 1..10000 --jobs 2"))
    assert tally.failing == []
    assert cover.visited == len(cover.wanted)


def crashing(base: Scenario) -> SeedOutcome:
    """Return what came of a seed whose program crashes and is started again."""
    crashes = (s for s in range(1, 500) if any("crash" in f for f in draw(s, base).faults))
    return next(ran for ran in (run_seed(s, base) for s in crashes) if len(ran.ends) > 1)


def test_a_replay_is_what_it_replays(base: Scenario) -> None:
    """The same faults at the same instants, the same record to the last bit, the same ends."""
    first = crashing(base)
    assert asdict(run_seed(first.seed, base)) == asdict(first)
    assert first.ends[0].startswith("crashed")
    assert first.hashes


def test_leaving_a_fault_out_changes_nothing_else(base: Scenario) -> None:
    """Or the shortest list of faults would be of another run."""
    with_it, without = run_seed(1, base), run_seed(1, base, faults=())
    assert without.faults == ()
    assert (without.kind, without.asks_at_random) == (with_it.kind, with_it.asks_at_random)
    assert run_seed(1, base, faults=with_it.faults).hashes == with_it.hashes


def outcome(faults: tuple[str, ...], *violations: str) -> SeedOutcome:
    """Return what a seed came to, on paper."""
    return SeedOutcome(1, "good", False, faults, ("stopped",), 1.0, (), violations)


def test_the_shortest_list_still_breaks_what_was_broken() -> None:
    """Of three faults the two that matter, whatever else fewer faults break."""

    def run(faults: tuple[str, ...]) -> SeedOutcome:
        needed = {"a", "c"} <= set(faults)
        return outcome(faults, "wanted (2, at 3.00 s)" if needed else "another (1, at 1.00 s)")

    failed = outcome(("a", "b", "c"), "wanted (1, at 2.00 s)")
    assert shortest(failed, run) == ("a", "c")


def test_every_invariant_has_its_reason() -> None:
    tables = (
        *invariants.ALWAYS,
        *invariants.ON_COMMAND,
        *invariants.ON_CLOSING,
        *invariants.ON_OPENING,
        *invariants.ON_LOWERING_LV,
        *invariants.ON_WRITING,
        *invariants.AT_CATEGORY_0,
        *invariants.AT_START,
    )
    assert all(invariant.__doc__ for invariant in tables)
    assert len({invariant.__name__ for invariant in tables}) == len(tables)


def test_an_interrupted_storm_tells_what_it_has() -> None:
    """Ctrl-C after three seeds: three are counted and told."""
    seen = []

    def interrupt(ran: object) -> None:
        seen.append(ran)
        if len(seen) == 3:
            raise KeyboardInterrupt

    tally = storm(SEEDS, "loss_test", 1, monotonic, interrupt)
    assert (tally.seeds, tally.interrupted) == (3, True)
    cover = coverage(tally, "loss_test")
    assert "3 seeds" in told(tally, cover, "twinload storm")
    assert as_plain(tally, cover)["interrupted"] is True


@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGTERM])
def test_one_that_is_ended_from_outside_tells_what_it_has(tmp_path: Path, by: int) -> None:
    """The command itself, with two workers, told while they are at it."""
    report = tmp_path / "storm.md"
    words = ["storm", "--seeds", "1..100000", "--jobs", "2", "--report", str(report)]
    app_ = "from acquire.commands import app; app()"
    with subprocess.Popen([sys.executable, "-c", app_, *words], stdout=subprocess.PIPE) as process:
        workers = Path(f"/proc/{process.pid}/task/{process.pid}/children")
        while len(workers.read_text().split()) < 2:
            sleep(0.1)
        sleep(2.0)
        process.send_signal(by)
        assert process.wait() == 3
    assert "interrupted" in report.read_text(encoding="utf-8")


def test_the_command_writes_its_report(tmp_path: Path) -> None:
    """Exit code 0 where every invariant holds, and the same words in the file."""
    report = tmp_path / "storm.md"
    ran = CliRunner().invoke(app, ["storm", "--seeds", "1..4", "--report", str(report)])
    assert ran.exit_code == 0, ran.output
    assert "4 seeds, 0 failing" in ran.stdout
    text = report.read_text(encoding="utf-8")
    for title in ("Outcomes", "Faults by kind", "Coverage", "Failing seeds"):
        assert f"## {title}" in text


@pytest.mark.parametrize("words", ["", "1", "3..1", "a..b", "1..99999999999"])
def test_what_is_no_range_of_seeds_is_refused(words: str) -> None:
    ran = CliRunner().invoke(app, ["storm", "--seeds", words])
    assert ran.exit_code == 2


def test_a_violation_ends_in_exit_code_4() -> None:
    """With the shortest list of faults that still fails; a replay says the same."""
    with PLANTED["a stale check inverted"].inside():
        ran = CliRunner().invoke(app, ["storm", "--seeds", "1..40", "--json"])
        failing = json.loads(ran.stdout)["failing"]
        again = CliRunner().invoke(app, ["storm", "--replay", str(failing[0]["seed"])])
    assert ran.exit_code == again.exit_code == 4
    assert failing[0]["shortest"] == []
    assert "VIOLATED: nothing_stops_what_nothing_is_wrong_with" in again.stdout
