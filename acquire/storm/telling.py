"""A campaign in words and tables, alike for a terminal and for a document (Markdown)."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from acquire.storm.campaign import Coverage, Ran, Tally
from acquire.storm.drawing import STOPS, stages_of

SHORT = {
    "prepare": "prep",
    "prove": "prove",
    "energise": "energ",
    "no_load_readings": "noload",
    "circulate": "circ",
    "load_readings": "load",
    "soak": "soak",
    "overload": "over",
    "shut_down": "shut",
    "cool": "cool",
    "make_safe": "safe",
    "stopping": "stopg",
    "aborting": "abort",
}


def told(tally: Tally, cover: Coverage, command: str) -> str:
    """Return the report of a campaign."""
    lines = [
        f"# Storm: {_seeds(tally)}",
        "",
        f"`{command}`",
        "",
        *_summary(tally, cover),
        "",
        "## Outcomes",
        "",
        *_counts(tally.outcomes, "outcome", "runs"),
        "",
        "## Faults by kind",
        "",
        *_counts(tally.kinds, "kind", "faults given"),
        "",
        "## Coverage: how often a fault began in a stage, or in a stop under way",
        "",
        *_coverage(tally, cover),
        "",
        "## Failing seeds",
        "",
        *(_failing(tally) or ["None."]),
    ]
    return "\n".join(lines) + "\n"


def as_plain(tally: Tally, cover: Coverage) -> dict[str, Any]:
    """Return a campaign as one JSON object."""
    return {
        "seeds": tally.seeds,
        "interrupted": tally.interrupted,
        "programs": tally.programs,
        "seconds": tally.wall_s,
        "seeds_per_second": _rate(tally),
        "stand_hours": tally.stand_s / 3600,
        "asking_at_random": tally.asking_at_random,
        "outcomes": dict(tally.outcomes.most_common()),
        "faults_by_kind": dict(tally.kinds.most_common()),
        "cells": len(cover.wanted),
        "cells_visited": cover.visited,
        "coverage": _nested(tally.cells),
        "failing": [_plain(ran) for ran in tally.failing],
    }


def _seeds(tally: Tally) -> str:
    cut = ", interrupted" if tally.interrupted else ""
    return f"{tally.seeds} seeds, {len(tally.failing)} failing{cut}"


def _rate(tally: Tally) -> float:
    return tally.seeds / tally.wall_s if tally.wall_s else 0.0


def _summary(tally: Tally, cover: Coverage) -> list[str]:
    return [
        f"- {_rate(tally):.2f} seeds a second ({tally.wall_s:.0f} s)",
        f"- {tally.programs} programs started, {tally.stand_s / 3600:.1f} h of stand time",
        f"- the procedure asked at random in {tally.asking_at_random} seeds",
        f"- {cover.visited} of {len(cover.wanted)} cells of stage and fault visited",
        *_hottest(tally),
    ]


def _hottest(tally: Tally) -> Iterator[str]:
    over = [k for k in tally.over_k if k > 0]
    if tally.over_k:
        most = f", by {max(over):.1f} K at the most" if over else ""
        yield f"- a temperature was over the schedule's limit in {len(over)} seeds{most}"


def _counts(counter: Counter[str], what: str, times: str) -> Iterator[str]:
    yield f"| {what} | {times} |"
    yield "| --- | ---: |"
    for name, count in sorted(counter.items(), key=lambda item: (-item[1], item[0])):
        yield f"| {name} | {count} |"


def _coverage(tally: Tally, cover: Coverage) -> Iterator[str]:
    """A cell without a number was not visited; a point: the fault makes no difference there."""
    wanted = set(cover.wanted)
    width = max(len(fault) for fault, _stage in wanted)
    columns = (*stages_of(cover.procedure), *STOPS)
    yield "| " + " | ".join(["fault".ljust(width), *(SHORT[c].rjust(6) for c in columns)]) + " |"
    yield "| --- |" + " ---: |" * len(columns)
    for fault in dict.fromkeys(fault for fault, _stage in cover.wanted):
        cells = [
            str(tally.cells[fault, s] or ("" if (fault, s) in wanted else "·")) for s in columns
        ]
        yield "| " + " | ".join([fault.ljust(width), *(c.rjust(6) for c in cells)]) + " |"


def _failing(tally: Tally) -> list[str]:
    lines = []
    for ran in tally.failing:
        outcome = ran.outcome
        lines.append(f"- seed {outcome.seed} ({outcome.kind}): {'; '.join(outcome.violations)}")
        faults = " ".join(ran.shortest or ()) or "none"
        lines.append(f"  - shortest list of faults: {faults}")
    return lines


def _plain(ran: Ran) -> dict[str, Any]:
    outcome = ran.outcome
    return {
        "seed": outcome.seed,
        "violations": list(outcome.violations),
        "faults": list(outcome.faults),
        "shortest": list(ran.shortest or ()),
        "ends": list(outcome.ends),
    }


def _nested(cells: Counter[tuple[str, str]]) -> dict[str, dict[str, int]]:
    nested: dict[str, dict[str, int]] = {}
    for (fault, stage), count in sorted(cells.items()):
        nested.setdefault(fault, {})[stage] = count
    return nested
