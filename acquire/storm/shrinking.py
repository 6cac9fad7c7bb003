"""The shortest list of faults with which a seed still fails."""

from collections.abc import Callable, Iterator
from itertools import combinations

from acquire.storm.seed_run import SeedOutcome

Run = Callable[[tuple[str, ...]], SeedOutcome]


def shortest(failed: SeedOutcome, run: Run) -> tuple[str, ...]:
    """Return the first, shortest selection of a seed's faults that breaks what the whole broke."""
    broken = invariants_of(failed)
    for faults in _selections(failed.faults):
        if invariants_of(run(faults)) & broken:
            return faults
    return failed.faults


def invariants_of(outcome: SeedOutcome) -> frozenset[str]:
    """Return the names of the invariants that did not hold."""
    return frozenset(v.partition(" (")[0] for v in outcome.violations)


def _selections(faults: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Every selection that is shorter than the whole, the shortest first."""
    for size in range(len(faults)):
        yield from combinations(faults, size)
