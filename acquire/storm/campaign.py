"""Many seeds on several processes, and what they come to."""

import multiprocessing
import signal
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from acquire.configuration import Scenario, load_scenario
from acquire.fault_schedule import timed_fault
from acquire.storm.drawing import applicable, faults_of
from acquire.storm.seed_run import SeedOutcome, run_seed
from acquire.storm.shrinking import shortest

SCENARIO = "distribution_pair"


class Ran(NamedTuple):
    """A seed that has run, and with how few of its faults it fails where it does."""

    outcome: SeedOutcome
    shortest: tuple[str, ...] | None


@dataclass
class Tally:
    """What the seeds of a campaign have come to so far."""

    seeds: int = 0
    programs: int = 0
    stand_s: float = 0.0
    asking_at_random: int = 0
    wall_s: float = 0.0
    interrupted: bool = False
    outcomes: Counter[str] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    cells: Counter[tuple[str, str]] = field(default_factory=Counter)
    failing: list[Ran] = field(default_factory=list)
    over_k: list[float] = field(default_factory=list)

    def add(self, ran: Ran, kind_of: Callable[[str], str]) -> None:
        """Count one more seed."""
        outcome = ran.outcome
        self.seeds += 1
        self.programs += len(outcome.ends)
        self.stand_s += outcome.stand_s
        self.asking_at_random += outcome.asks_at_random
        self.outcomes.update(outcome.ends)
        self.cells.update(outcome.began)
        self.kinds.update(kind_of(word) for word in outcome.faults)
        if outcome.over_k is not None:
            self.over_k.append(outcome.over_k)
        if outcome.failed:
            self.failing.append(ran)


class Coverage(NamedTuple):
    """The cells (fault, stage) that are to be visited, and how many were."""

    wanted: list[tuple[str, str]]
    visited: int
    procedure: str = "loss_test"


def coverage(tally: Tally, schedule: str) -> Coverage:
    """Return which cells there are, and how many of them have been visited."""
    base = load_scenario(SCENARIO, schedule)
    wanted = applicable(faults_of(base))
    visited = sum(cell in tally.cells for cell in wanted)
    return Coverage(wanted, visited, base.schedule.procedure)


def storm(
    seeds: Sequence[int],
    schedule: str,
    jobs: int,
    seconds: Callable[[], float],
    seen: Callable[[Ran], None] = lambda _ran: None,
) -> Tally:
    """Run seeds and return what they came to; when interrupted, what it came to by then.

    `seconds` tells the time that passes for whoever waits. Raises ConfigurationError.
    """
    base = load_scenario(SCENARIO, schedule)
    known = faults_of(base)
    tally, begun = Tally(), seconds()
    try:
        with _results(seeds, base, jobs) as results:
            for ran in results:
                tally.add(ran, lambda word: known[timed_fault(word, known).name].kind)
                seen(ran)
    except KeyboardInterrupt:
        tally.interrupted = True
    tally.wall_s = seconds() - begun
    tally.failing.sort(key=lambda ran: ran.outcome.seed)
    return tally


def run_one(seed: int, base: Scenario) -> Ran:
    """Run a seed and, where it fails, find the shortest list of faults that still does."""
    outcome = run_seed(seed, base)
    if not outcome.failed:
        return Ran(outcome, None)
    return Ran(outcome, shortest(outcome, lambda faults: run_seed(seed, base, faults)))


@contextmanager
def _results(seeds: Sequence[int], base: Scenario, jobs: int) -> Iterator[Iterator[Ran]]:
    if jobs == 1:
        yield (run_one(seed, base) for seed in seeds)
        return
    fresh = multiprocessing.get_context("spawn")
    with fresh.Pool(jobs, _be_a_worker, (base,)) as pool:
        yield pool.imap_unordered(_run_in_worker, seeds, chunksize=4)


_worker: dict[str, Any] = {}


def _be_a_worker(base: Scenario) -> None:
    """A worker leaves interrupts to whoever started it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _worker["base"] = base


def _run_in_worker(seed: int) -> Ran:
    return run_one(seed, _worker["base"])
