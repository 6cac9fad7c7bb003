"""Random good pairs on stands that just suit them, rehearsed, and the same ones spoilt by hand."""

import multiprocessing
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from random import Random
from typing import NamedTuple

from acquire.archive import Archive
from acquire.rehearsal import Rehearsal
from acquire.storm.good_pairs import good_scenario, use_up_classes
from tests.stand.faults import FAULTS, Fault

WORKERS = 2


class Seen(NamedTuple):
    """How a rehearsal ended, and the most that truly flowed in the loop, per unit of rated."""

    seed: int
    fault: str
    state: str
    finding: str
    seen: str
    stage: str
    attempts: int
    may_be_live: bool
    most_loop: float

    @property
    def right(self) -> bool:
        """Whether a good pair passed at once, or a bad one was found by a name it may be given."""
        if self.may_be_live:
            return False
        passed = self.state == "complete"
        if not self.fault:
            return passed and self.attempts == 1 and not self.finding
        fault = next(f for f in FAULTS if f.name == self.fault)
        return self.finding in fault.findings and passed is fault.cured


def rehearse(seed: int, archive: Archive, fault: Fault | None) -> Seen:
    """Rehearse one pair to its end; the meters of every other pair stand at their limits."""
    d = Random(f"hands/{seed}")
    rehearsal = Rehearsal(good_scenario(seed), seed=seed, archive=archive)
    if d.random() < 0.5:
        use_up_classes(rehearsal, d)
    if fault is not None:
        fault.spoil(rehearsal, d)
    most = 0.0
    for _scan in rehearsal.scans():
        most = max(most, rehearsal.stand.true_state().loop)
        if fault is not None and fault.lasts:
            fault.spoil(rehearsal, d)
    outcome = rehearsal.finish()
    finding = outcome.finding or {"name": "", "seen": ""}
    return Seen(
        seed,
        fault.name if fault else "",
        outcome.state,
        finding["name"],
        finding["seen"],
        outcome.stage,
        outcome.attempts,
        outcome.may_be_live,
        most,
    )


def rehearse_good(seeds: Sequence[int]) -> list[Seen]:
    """Rehearse good pairs on two processes."""
    return _on_two_processes(seeds, bad=False)


def rehearse_bad(seeds: Sequence[int]) -> list[Seen]:
    """Rehearse spoilt pairs on two processes, every kind of fault in turn."""
    return _on_two_processes(seeds, bad=True)


def _on_two_processes(seeds: Sequence[int], bad: bool) -> list[Seen]:
    parts = [seeds[i::WORKERS] for i in range(WORKERS)]
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(WORKERS, mp_context=fresh) as pool:
        return sorted(s for part in pool.map(partial(_some, bad=bad), parts) for s in part)


def _in_memory() -> str | None:
    """Return a folder in memory where there is one: the archive forces every event to the disk."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


def _some(seeds: Sequence[int], bad: bool) -> list[Seen]:
    with tempfile.TemporaryDirectory(dir=_in_memory()) as folder, Archive(Path(folder)) as archive:
        return [
            rehearse(seed, archive, FAULTS[seed % len(FAULTS)] if bad else None) for seed in seeds
        ]
