"""How a run ended, and what its readings come to."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calculation.errors import ImpossibleReading
from calculation.limits import Verdict, limits_of
from calculation.loss_test import as_plain, loss_test_result
from calculation.nameplate import Pair
from calculation.readings import LossReadings
from sequences.expected import Expected


@dataclass(frozen=True, slots=True)
class RunOutcome:
    """A run that has ended, ready to be told."""

    state: str
    end: str
    run: int
    archive: Path
    attempts: int
    verdict: str | None
    stage: str
    finding: dict[str, Any] | None
    result: dict[str, Any] | None
    may_be_live: bool
    readings_sha256: str
    events_sha256: str


@dataclass(frozen=True, slots=True)
class Reduced:
    """The result of a run's readings as plain values, its verdict, and why there may be none."""

    result: dict[str, Any] | None
    verdict: str | None
    finding: dict[str, str] | None


def reduced(readings: LossReadings, pair: Pair, expected: Expected) -> Reduced:
    """Reduce what a loss test read and judge it; live results and recomputation share this."""
    evaluate = expected.schedule.evaluate
    try:
        result = loss_test_result(
            readings,
            pair.nameplate,
            pair.resistances,
            lv_branch_ohm=expected.lv_branch_ohm,
            evaluate_load=evaluate.load,
            power_factors=evaluate.power_factor,
            leading=evaluate.leading,
        )
    except ImpossibleReading as impossible:
        finding = {
            "name": "impossible_reading",
            "seen": str(impossible),
            "check": "the readings named: their instruments, ratios and sense",
        }
        return Reduced(None, None, finding)
    judged = limits_of(result.pair_mean, pair.guarantee)
    plain = as_plain(result) | {"limits": as_plain(judged)["rows"]}
    return Reduced(plain, judged.verdict, _no_verdict(judged))


def _no_verdict(judged: Verdict) -> dict[str, str] | None:
    if judged.verdict is not None:
        return None
    return {
        "name": "implausibly_good",
        "seen": judged.reason,
        "check": "the LV current multiplier",
    }
