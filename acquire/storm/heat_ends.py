"""What must be so when a heat run has ended: its gaps, its steady state, its rises, its verdict.

Truth is of the simulated plant alone: its temperatures in the hour that counts and as the current
began to fall, carried to rated by the plant's own exponents.
"""

from collections.abc import Mapping
from typing import Any

from acquire.outcome import RunOutcome
from acquire.rehearsal import Rehearsal
from acquire.storm.heat_watch import HeatWatch, Sample
from acquire.storm.witness import Witness

HOUR_S = 3600.0
# The rule of the drawn schedules: a rate over an hour, kept for an hour.
LEAST_STEADY_S = 2 * HOUR_S
TO_THE_MINUTE_S = 180.0
# Expanded uncertainties that a rise may be off by: 95 % of honest statements lie within one, and
# what a few hundred runs may not break has to hold in all.
EXPANDED = 3.0
# What no statement has in it, K: the room's lag against the plate's constant, a plant that is ten
# times as fast against a fall of the current that is not.
UNMODELLED_K = 1.0
LIQUID, WINDING = 0.8, 1.6  # the true plant's exponents on loss and on current


def judge_heat(at: Witness, heat: HeatWatch, rehearsal: Rehearsal, outcome: RunOutcome) -> None:
    """Judge a heat run that has come to its end."""
    _judge_gap(at, heat, rehearsal)
    result = outcome.result
    if result is None:
        return
    if "rises" not in result:
        _judge_no_rises(at, outcome)
        return
    steady_s = result["steady"]["at_s"]
    if steady_s is None:
        _judge_no_rises(at, outcome)
        return
    _judge_steady(at, heat, float(steady_s))
    _judge_rises(at, heat, outcome, result)


def _judge_gap(at: Witness, heat: HeatWatch, rehearsal: Rehearsal) -> None:
    """A run that goes on says how long nobody looked; else the gap would pass for a record."""
    stages = [e.facts["stage"] for e in rehearsal.archive.events(rehearsal.recorder.run)
              if e.kind == "stage"]  # fmt: skip
    went_on = rehearsal.continues is not None and "prove" in stages
    if went_on and (heat.gap_s is None or heat.gap_s < heat.down_s):
        at.note("a_run_that_continues_shows_its_gap", heat.gap_s or 0.0)


def _judge_no_rises(at: Witness, outcome: RunOutcome) -> None:
    """What was not steady, or could not be reduced, is never within, and says why it is not."""
    if outcome.verdict == "within":
        at.note("nothing_is_within_that_was_not_steady_and_reduced", 1.0)
    elif outcome.state == "complete" and outcome.verdict is None and outcome.finding is None:
        at.note("a_run_without_a_verdict_says_why", 1.0)


def _judge_steady(at: Witness, heat: HeatWatch, steady_s: float) -> None:
    """Steady is what a unit has been under one load: nothing before a gap or a hold counts."""
    told = max((t for t in heat.anew_s if t < steady_s), default=0.0)
    since = max(told, heat.since_loaded_s(steady_s))
    kept = steady_s - since
    if kept < LEAST_STEADY_S - TO_THE_MINUTE_S:
        at.note("no_minute_before_a_gap_or_a_hold_counts_as_steady", kept)


def _judge_rises(
    at: Witness, heat: HeatWatch, outcome: RunOutcome, result: Mapping[str, Any]
) -> None:
    """No rise is further from the truth than its statement allows, nor within what it denies.

    A meter or sensor that was wrong may make a rise wrong; then the verdict is not within.
    """
    end_s, shutdown_s = result["steady"]["hour_ends_s"], heat.marks["shutdown"]
    hour = heat.between(end_s - HOUR_S, end_s)
    wrong = at.meters_were_wrong or heat.sensors_were_wrong
    if outcome.verdict is None or (wrong and outcome.verdict != "within"):
        return
    limits = {row["quantity"]: row["upper_limit"] for row in result["limits"]}
    for unit in "ab":
        truths = true_rises(at, unit, hour, heat.last_before(shutdown_s), result)
        stated = result["rises"][unit]
        for name, true_k in truths.items():
            bound = EXPANDED * stated["uncertainty"][name]["expanded"] + UNMODELLED_K
            off = stated[name] - true_k
            if abs(off) > bound:
                at.note(f"no_rise_is_further_from_the_truth_than_is_stated: {unit} {name}", off)
            row = {"top_liquid_k": "top_liquid_k"}.get(
                name, f"average_k({unit}_{name.split('_')[1]})"
            )
            limit = limits.get(f"{unit}.{row}")
            if outcome.verdict == "within" and limit is not None and true_k > limit + bound:
                at.note(f"within_is_never_what_the_truth_denies: {unit} {name}", true_k - limit)


def true_rises(
    at: Witness, unit: str, hour: list[Sample], last: Sample, result: Mapping[str, Any]
) -> dict[str, float]:
    """Return the true rises of a unit at rated loss and current, K, by their names.

    Losses of the run and at reference are taken from the result: they have bounds of their own.
    """
    mine = [getattr(s, unit) for s in hour]
    room = sum(s.room_c for s in hour) / len(hour)
    end = getattr(last, unit)
    ratios = {"lv": 1 / end.lv_current, "hv": 1 / last.loop}
    if at.expected.thermal is not None and at.expected.thermal.construction == "dry":
        return {
            f"winding_{side}_k": (getattr(end, f"winding_{side}_c") - last.room_c)
            * ratios[side] ** WINDING
            for side in ratios
        }
    losses = result["heat_losses"]
    to_rated = (losses["total_loss_reference_w"] / losses["total_loss_run_w"]) ** LIQUID
    average_k = sum(u.average_c for u in mine) / len(mine) - room
    found = {
        "top_liquid_k": (sum(u.top_c for u in mine) / len(mine) - room) * to_rated,
        "average_liquid_k": average_k * to_rated,
    }
    for side, ratio in ratios.items():
        gradient = getattr(end, f"winding_{side}_c") - end.average_c
        found[f"winding_{side}_k"] = average_k * to_rated + gradient * ratio**WINDING
    return found
