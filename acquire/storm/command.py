"""What `twinload storm` does: a campaign, or one seed with its story."""

import re
import signal
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from time import monotonic

from rich.text import Text

from acquire.configuration import load_scenario
from acquire.database import translated
from acquire.refusal import Refusal
from acquire.report import Report
from acquire.storm.campaign import SCENARIO, coverage, storm
from acquire.storm.seed_run import SeedOutcome, run_seed
from acquire.storm.telling import as_plain, told
from acquire.terminal import (
    EMERGENCY,
    FINE,
    FOUND_WRONG,
    NORMAL,
    STOPPED,
    Terminal,
    print_json,
)

SEEDS = re.compile(r"(\d{1,18})\.\.(\d{1,18})")
MOST_SEEDS = 10_000_000


class SeedsRefused(Refusal):
    """Words that are no range of seeds; as text one line."""


def seeds_of(words: str) -> range:
    """Read A..B, both included. Raises SeedsRefused."""
    match = SEEDS.fullmatch(words)
    if match is None or int(match[1]) > int(match[2]):
        raise SeedsRefused(f"seeds {words!r}: A..B wanted, such as 1..200")
    if int(match[2]) - int(match[1]) >= MOST_SEEDS:
        raise SeedsRefused(f"seeds {words!r}: at most {MOST_SEEDS}")
    return range(int(match[1]), int(match[2]) + 1)


def stormed(
    seeds: Sequence[int], schedule: str, jobs: int, report: Path | None, as_json: bool
) -> int:
    """Run a campaign, tell of it, and return the exit code. Raises ConfigurationError."""
    # Ended from outside it tells what it has, as on Ctrl-C.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    tally = storm(seeds, schedule, jobs, monotonic)
    cover = coverage(tally, schedule)
    text = told(tally, cover, f"twinload storm --seeds {seeds[0]}..{seeds[-1]} --jobs {jobs}")
    if report is not None:
        with translated(report):
            report.write_text(text, encoding="utf-8")
    if as_json:
        print_json(as_plain(tally, cover))
    else:
        Terminal(soft_wrap=True).print(Text(text), soft_wrap=True)
    if tally.failing:
        return FOUND_WRONG
    return STOPPED if tally.interrupted else FINE


def replayed(seed: int, schedule: str, as_json: bool) -> int:
    """Run one seed again and tell its story; return the exit code. Raises ConfigurationError."""
    base = load_scenario(SCENARIO, schedule)
    terminal = Terminal()
    story = None if as_json else Report(terminal).event
    outcome = run_seed(seed, base, story=story)
    if as_json:
        print_json(asdict(outcome))
    else:
        for words, style in _lines(outcome):
            terminal.print(Text(words, style))
    return FOUND_WRONG if outcome.failed else FINE


def _lines(outcome: SeedOutcome) -> list[tuple[str, str]]:
    random = ", asking at random" if outcome.asks_at_random else ""
    lines = [
        (f"Seed {outcome.seed}: {outcome.kind} pair{random}", ""),
        (f"Faults: {' '.join(outcome.faults) or 'none'}", ""),
        *((f"Ended {end}", "") for end in outcome.ends),
    ]
    if not outcome.failed:
        return [*lines, ("Every invariant held.", NORMAL)]
    return [*lines, *((f"VIOLATED: {v}", EMERGENCY) for v in outcome.violations)]
