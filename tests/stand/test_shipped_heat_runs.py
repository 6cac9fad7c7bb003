"""The heat runs as they are shipped, whole: on request, a quarter of a minute each."""

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from acquire.archive import Archive
from acquire.configuration import load_scenario
from acquire.heat_fold import refolded
from acquire.rehearsal import Rehearsal

pytestmark = pytest.mark.campaign

SHIPPED = (
    ("distribution_pair", "heat_run"),
    ("distribution_pair", "heat_run_ieee"),
    ("distribution_pair", "heat_run_overload"),
    ("dry_pair", "heat_run"),
)
HOUR_S = 3600.0


def whole(scenario: str, schedule: str, folder: Path) -> tuple[dict[str, Any], dict[str, float]]:
    """Run it and return its result and the instants of its marks, s; it folds to the same."""
    with Archive(folder) as archive:
        rehearsal = Rehearsal(load_scenario(scenario, schedule), seed=1, archive=archive)
        outcome = rehearsal.finish()
        assert (outcome.state, outcome.verdict, outcome.finding) == ("complete", "within", None)
        assert outcome.result is not None
        again = refolded(archive, outcome.run).result
        assert json.loads(json.dumps(again)) == json.loads(json.dumps(outcome.result))
        events = archive.events(outcome.run)
        marks = {e.facts["mark"]: e.facts["at_s"] for e in events if "mark" in e.facts}
    return outcome.result, marks


@pytest.mark.parametrize(("scenario", "schedule"), SHIPPED)
def test_it_is_within_limits_and_its_archive_says_the_same(
    tmp_path: Path, scenario: str, schedule: str
) -> None:
    whole(scenario, schedule, tmp_path)


def test_a_shortened_warm_up_is_ended_by_its_forecast_and_a_step_is_predicted(
    tmp_path: Path,
) -> None:
    """Sooner than rated current would have come there; the step within what is stated of it."""
    result, marks = whole("distribution_pair", "heat_run_overload", tmp_path)
    order = ("soak", "warmed_up", "soaked", "overload", "overloaded", "shutdown")
    assert all(marks[one] < marks[other] for one, other in pairwise(order))
    assert 2 * HOUR_S < marks["warmed_up"] - marks["soak"] < 6 * HOUR_S
    assert marks["overloaded"] - marks["overload"] == pytest.approx(2 * HOUR_S, abs=60.0)
    for step in result["overload_step"].values():
        expanded = step["uncertainty"]["predicted_top_liquid_k"]["expanded"]
        assert step["measured_top_liquid_k"] == pytest.approx(
            step["predicted_top_liquid_k"], abs=expanded
        )
