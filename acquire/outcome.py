"""How a run ended, and what its readings come to."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calculation.errors import ImpossibleReading
from calculation.limits import Verdict, limits_of
from calculation.loss_test import as_plain
from calculation.meters import Instruments, MeterLimits
from calculation.nameplate import Pair
from calculation.readings import LossReadings
from sequences.expected import Expected

# Which reading decides on which range a channel stood: the largest that a stage reads on it.
RANGED_BY = {
    "lv.voltage": "voltage_v",
    "lv.voltage_mean": "voltage_mean_v",
    "lv.current": "current_a",
    "lv.power": "power_w",
    "hv.voltage": "hv_voltage_v",
    "hv.current": "hv_current_a",
    "hv.power": "hv_power_w",
}


@dataclass(frozen=True, slots=True)
class RunOutcome:
    """A run that has ended, ready to be told; `never_begun` are faults that did not come to it."""

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
    never_begun: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reduced:
    """The result of a run's readings as plain values, its verdict, and why there may be none."""

    result: dict[str, Any] | None
    verdict: str | None
    finding: dict[str, str] | None


def reduced(readings: LossReadings, pair: Pair, expected: Expected) -> Reduced:
    """Reduce what a loss test read and judge it; live results and recomputation share this.

    `uncertainty` in the result comes from the channel accuracies of the stand file.
    """
    # Here, since a run needs neither budgets nor NumPy before its readings are complete.
    from calculation.loss_budget import LossTest, loss_budgets, uncertainty_of

    evaluate = expected.schedule.evaluate
    test = LossTest(
        readings,
        pair.nameplate,
        pair.resistances,
        expected.lv_branch_ohm,
        evaluate.load,
        evaluate.power_factor,
        evaluate.leading,
    )
    try:
        result = test.result()
        uncertainty = uncertainty_of(loss_budgets(test, instruments_of(readings, expected)))
        expanded = {name: float(u["expanded"]) for name, u in uncertainty.items()}
        judged = limits_of(result.pair_mean, pair.guarantee, expanded)
    except ImpossibleReading as impossible:
        finding = {
            "name": "impossible_reading",
            "seen": str(impossible),
            "check": "the readings named: their instruments, ratios and sense",
        }
        return Reduced(None, None, finding)
    plain = as_plain(result) | {
        "uncertainty": uncertainty,
        "limits": as_plain(judged)["rows"],
        "decision_rule": judged.rule,
    }
    return Reduced(plain, judged.verdict, _no_verdict(judged))


def instruments_of(readings: LossReadings, expected: Expected) -> Instruments:
    """Return the limits of error of the stand's meters, each on the range that it stood on."""
    largest = {"series.voltage": readings.series_voltage_v}
    for channel, field in RANGED_BY.items():
        stage = readings.no_load if channel.startswith("lv.") else readings.load
        largest[channel] = getattr(stage, field)
    meters = {}
    for channel, value in largest.items():
        accuracy = expected.channels[f"{channel}.1"].accuracy
        if accuracy is not None:
            meters[channel] = MeterLimits(
                accuracy.reading_percent,
                accuracy.range_percent,
                expected.range_of(f"{channel}.1", value),
            )
    return Instruments(meters)


def _no_verdict(judged: Verdict) -> dict[str, str] | None:
    if judged.verdict is not None:
        return None
    return {
        "name": "implausibly_good",
        "seen": judged.reason,
        "check": "the LV current multiplier",
    }
