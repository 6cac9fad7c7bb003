"""What a heat run comes to, against the true state of the plant, its archive and its continuation.

On a plant that warms ten times as fast: about three hours on the stand.
"""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from acquire.archive import Archive
from acquire.configuration import Scenario
from acquire.fault_schedule import Crashed
from acquire.heat_fold import refolded
from acquire.outcome import RunOutcome
from acquire.rehearsal import Rehearsal
from acquire.restart import restarted
from drivers.simulated.thermal.unit import LiquidUnit
from tests.stand.heat import shipped_heat_run, soon_steady

UNITS = "ab"
SIDES = ("lv", "hv")


class Truth(NamedTuple):
    """At the last scan before the current fell: windings and top-liquid rises, degC and K."""

    windings_c: dict[str, float]
    top_liquid_k: dict[str, float]


class Ended(NamedTuple):
    """A heat run that has ended, what was true of it, and its archive."""

    outcome: RunOutcome
    truth: Truth
    archive: Archive

    @property
    def result(self) -> dict[str, Any]:
        """Return what it came to."""
        assert self.outcome.result is not None
        return self.outcome.result


def truth_of(rehearsal: Rehearsal) -> Truth:
    """Return what is true now."""
    heat = rehearsal.stand.thermal
    assert heat is not None
    windings, rises = {}, {}
    for unit in UNITS:
        found = heat.units[unit]
        assert isinstance(found, LiquidUnit)
        windings[f"{unit}_lv"], windings[f"{unit}_hv"] = found.winding_lv_c, found.winding_hv_c
        rises[unit] = found.top_liquid_c - heat.room.temperature_c
    return Truth(windings, rises)


def scenario() -> Scenario:
    """Return the shipped heat run with liquid, cores and room ten times as fast; windings not.

    What is read of a winding in the minutes after the shutdown is what it is on the shipped one.
    """
    shipped, fast = shipped_heat_run(), soon_steady()
    slow, heat = shipped.truth.thermal, fast.truth.thermal
    assert slow is not None
    assert heat is not None
    heat = replace(
        heat,
        a=replace(heat.a, lv=slow.a.lv, hv=slow.a.hv),
        b=replace(heat.b, lv=slow.b.lv, hv=slow.b.hv),
    )
    return replace(fast, truth=replace(fast.truth, thermal=heat))


def looked_at(archive: Archive) -> Ended:
    """Run it to the end and look at the truth once, as the current is about to fall."""
    rehearsal = Rehearsal(scenario(), seed=3, archive=archive)
    truth = None
    for _scan in rehearsal.scans():
        if truth is None and rehearsal.cycle.run.stage == "shut_down":
            truth = truth_of(rehearsal)
    assert truth is not None
    return Ended(rehearsal.finish(), truth, archive)


@pytest.fixture(name="ended", scope="module")
def _ended(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ended]:
    """Return the run, made once."""
    with Archive(tmp_path_factory.mktemp("heat")) as archive:
        yield looked_at(archive)


def test_it_is_within_limits_and_says_everything(ended: Ended) -> None:
    """The keys of a heat run's result, each unit and winding in its place."""
    assert (ended.outcome.verdict, ended.outcome.finding) == ("within", None)
    result = ended.result
    for unit in UNITS:
        rises = {"top_liquid_k", "average_liquid_k", "winding_lv_k", "winding_hv_k", "hot_spot_k"}
        assert result["rises"][unit].keys() == rises | {"uncertainty"}
        assert result["rises"][unit]["uncertainty"].keys() == rises
        assert result["fitted"][unit] is not None
        assert result["overload"][unit] is not None
    assert result["cooling"].keys() == {f"{u}_{s}" for u in UNITS for s in SIDES}
    assert {"at_s", "rule", "rate_k_per_h", "remaining_k"} <= result["steady"].keys()


@pytest.mark.parametrize("winding", [f"{u}_{s}" for u in UNITS for s in SIDES])
def test_the_winding_at_shutdown_is_what_it_truly_was(ended: Ended, winding: str) -> None:
    """Within what is stated of the extrapolation and the cold temperature together."""
    found = ended.result["cooling"][winding]
    unit, side = winding.split("_")
    stated = ended.result["rises"][unit]["uncertainty"][f"winding_{side}_k"]["expanded"]
    assert found["winding_0_c"] == pytest.approx(ended.truth.windings_c[winding], abs=stated + 0.1)


@pytest.mark.parametrize("unit", UNITS)
def test_the_top_liquids_rise_is_what_it_truly_was(ended: Ended, unit: str) -> None:
    """At rated loss, which this run is within a few per cent of."""
    found = ended.result["rises"][unit]
    expanded = found["uncertainty"]["top_liquid_k"]["expanded"]
    losses = ended.result["heat_losses"]
    to_rated = (losses["total_loss_reference_w"] / losses["total_loss_run_w"]) ** 0.8
    assert found["top_liquid_k"] == pytest.approx(
        ended.truth.top_liquid_k[unit] * to_rated, abs=expanded + 0.3
    )


def test_the_warmer_twin_is_named(ended: Ended) -> None:
    """Unit B of the plant has 1 K more of liquid."""
    rows = {row["quantity"]: row for row in ended.result["twins"]["rows"]}
    assert rows["top_liquid_k"]["warmer"] == "b"


def test_the_archive_folds_to_the_same_result(ended: Ended) -> None:
    """To the last digit: what is live is what can be reduced again years later."""
    again = refolded(ended.archive, ended.outcome.run, scenario())
    assert again.verdict == ended.outcome.verdict
    as_stored = json.loads(json.dumps(ended.result))
    assert json.loads(json.dumps(again.result)) == as_stored


@pytest.fixture(name="continued", scope="module")
def _continued(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Ended, int]]:
    """Return a run that goes on from one whose program crashed in the soak, and the first's."""
    with Archive(tmp_path_factory.mktemp("continued")) as archive:
        first = Rehearsal(scenario(), seed=3, archive=archive, faults=["crash@5000"])
        with pytest.raises(Crashed):
            first.finish()
        second = restarted(first, after_s=600.0)
        outcome = second.finish()
        yield Ended(outcome, Truth({}, {}), archive), first.recorder.run


def test_a_continued_run_inherits_readings_and_shows_the_gap(
    continued: tuple[Ended, int],
) -> None:
    """The old run is aborted, the new one names it, skips d.c. and losses, and says how long."""
    ended, first = continued
    row = ended.archive.run(ended.outcome.run)
    assert (row.continues, ended.archive.run(first).end) == (first, "aborted")
    marks = [e.facts for e in ended.archive.events(row.run) if e.kind == "shows"]
    names = [facts.get("mark") for facts in marks]
    assert "cold" not in names
    assert "losses" not in names
    gap_s = next(facts["gap_s"] for facts in marks if facts.get("mark") == "continues")
    assert 600.0 <= gap_s <= 900.0


def test_no_minute_before_the_gap_counts_as_steady(continued: tuple[Ended, int]) -> None:
    """Window and hold begin with the new soak: an hour and an hour by this rule."""
    ended, _ = continued
    events = list(ended.archive.events(ended.outcome.run))
    soak_s = next(e.facts["at_s"] for e in events if e.facts.get("mark") == "soak")
    assert ended.result["steady"]["at_s"] - soak_s >= 2 * 3600.0 - 60.0


def test_a_continued_run_comes_to_the_same_rises(
    continued: tuple[Ended, int], ended: Ended
) -> None:
    """Of the same plant: within what is stated of one of them."""
    for unit in UNITS:
        one, other = continued[0].result["rises"][unit], ended.result["rises"][unit]
        for name, stated in other["uncertainty"].items():
            assert one[name] == pytest.approx(other[name], abs=stated["expanded"])


def test_a_record_of_two_runs_folds_to_the_same_result(continued: tuple[Ended, int]) -> None:
    ended, _ = continued
    again = refolded(ended.archive, ended.outcome.run, scenario())
    assert json.loads(json.dumps(again.result)) == json.loads(json.dumps(ended.result))


def test_the_same_seed_gives_the_same_record(ended: Ended, tmp_path: Path) -> None:
    """Readings and events to the last bit, in another folder."""
    with Archive(tmp_path) as archive:
        again = looked_at(archive).outcome
    assert again.readings_sha256 == ended.outcome.readings_sha256
    assert again.events_sha256 == ended.outcome.events_sha256
