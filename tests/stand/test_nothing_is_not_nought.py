"""What has no value is judged as nothing at all, and what is revoked is not announced as proven."""

import pytest

from acquire.configuration import Scenario
from tests.stand.conftest import S, Watch
from tests.stand.hands import open_soon, silencing
from tests.stand.held import Held, loaded


@pytest.mark.parametrize("seconds", [14, 21, 24])
def test_an_analyser_over_range_in_prove_is_named_as_that(
    watch: Watch, scenario: Scenario, seconds: int
) -> None:
    """Not as an open loop through which no volts drive no amperes."""
    outcome = watch(scenario, faults=[f"hv_analyser_over_range@prove+{seconds}"]).finish()
    assert outcome.end == "aborted"
    assert outcome.finding is not None
    assert outcome.finding["name"] == "nothing_to_judge_by"
    assert "over range" in outcome.finding["seen"]


def test_after_a_trip_in_prove_nothing_is_told_as_proven(watch: Watch, scenario: Scenario) -> None:
    """The loop contactor that the stop opens completes no proof."""
    watched = watch(scenario, faults=["emergency_stop_pressed@prove+28"])
    watched.finish()
    tripped = watched.told("trip")[0].t
    assert watched.told("evidence")
    assert not [e for e in watched.told("evidence") if e.t >= tripped]


@pytest.mark.parametrize(
    ("hand", "words"),
    [("shut", "the guard was unread and may have opened"), ("open", "the guard opened")],
)
def test_a_guard_that_nobody_reads_is_not_told_as_opened(
    watch: Watch, scenario: Scenario, hand: str, words: str
) -> None:
    """Either way nothing holds any more."""
    watched = watch(scenario)
    watched.until_stage("prepare", 30.0)
    if hand == "open":
        watched.plant.guard = False
    else:
        silencing("contacts")(watched)
    watched.go_on(3)
    emptied = [e for e in watched.told("evidence") if e.facts["name"] == "emptied"]
    assert [e.facts["words"] for e in emptied] == [f"{words}: nothing holds"]


def test_blind_to_contacts_and_guard_nothing_beats(watch: Watch) -> None:
    """However well everything else is read, the watchdog is fed no longer than they may be old."""
    holding = Held(loaded)
    watched = watch(procedure=holding)
    watched.until(lambda _scan: holding.reached)
    plant, beats = watched.plant, []
    silencing("contacts")(watched)
    silenced = plant.t

    def written(output: str, _value: float) -> None:
        if output == "heartbeat":
            beats.append(plant.t - silenced)

    plant.written = written
    watched.finish()
    assert max(beats, default=0) <= 2.0 * S
    assert open_soon(plant)
