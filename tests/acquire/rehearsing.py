"""Quick rehearsals under fault, their events kept."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from acquire.archive import Archive
from acquire.configuration import Scenario, load_scenario
from acquire.outcome import RunOutcome
from acquire.rehearsal import Rehearsal

S = 1_000_000_000


class Told(NamedTuple):
    """An event of the run: stand time in s, kind and facts."""

    t_s: float
    kind: str
    facts: Mapping[str, Any]


@cache
def quick(prompt_time_s: float = 400.0) -> Scenario:
    """Return the shipped scenario with short windows, and prompts that may stand open so long."""
    scenario = load_scenario("distribution_pair", "loss_test")
    schedule = replace(scenario.schedule, window_s=8.0, dwell_s=4.0, prompt_time_s=prompt_time_s)
    return replace(scenario, schedule=schedule)


class Rehearsed(NamedTuple):
    """A rehearsal and what it told."""

    rehearsal: Rehearsal
    told: list[Told]

    def of(self, kind: str) -> list[Told]:
        """Return the events of a kind so far."""
        return [event for event in self.told if event.kind == kind]

    def happened(self) -> list[tuple[float, str, str]]:
        """Return what faults did: stand time in s, name, what."""
        found = self.of("simulated.fault")
        return [(e.t_s, e.facts["name"], e.facts["happening"]) for e in found]

    def until_stage(self, stage: str) -> None:
        """Run until a stage has been entered."""
        for _scan in self.rehearsal.scans():
            if self.rehearsal.cycle.run.stage == stage:
                return
        raise AssertionError(f"it ended: {self.rehearsal.cycle.run.finding}")

    def finish(self) -> RunOutcome:
        """Run to the end."""
        return self.rehearsal.finish()

    def live(self, after_s: float = 1.0) -> bool:
        """Return whether anything is energised in truth, so long after now."""
        plant = self.rehearsal.stand
        plant.advance(self.rehearsal.clock.now() + round(after_s * S))
        solution = plant.solution()
        return abs(solution.bus) + abs(solution.loop) > 1e-6


@contextmanager
def rehearsing(
    folder: Path, faults: Sequence[str] = (), scenario: Scenario | None = None, **options: Any
) -> Iterator[Rehearsed]:
    """Give a quick rehearsal under faults, in an archive of a folder."""
    told: list[Told] = []

    def tell(t: int, kind: str, facts: Mapping[str, Any]) -> None:
        told.append(Told(t / S, kind, facts))

    with Archive(folder) as archive:
        rehearsal = Rehearsal(
            scenario or quick(),
            archive=archive,
            faults=faults,
            observer=tell,
            **{"seed": 1, **options},
        )
        try:
            yield Rehearsed(rehearsal, told)
        finally:
            rehearsal.close()
