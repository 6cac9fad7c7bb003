"""The end of a run, on either clock: its readings reduced, its record closed, how it ended."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Protocol

from acquire.cycle import Cycle
from acquire.database import ArchiveError
from acquire.heat_outcome import heat_reduced
from acquire.outcome import RunOutcome, reduced
from calculation.nameplate import Pair
from calculation.readings import LossReadings
from sequences.heat_record import HeatRecord


class UnrecordedEnd(ArchiveError):
    """A run has ended and the archive could not take its end: it will count as aborted."""

    exit_code = 3

    def __init__(self, state: str, error: ArchiveError) -> None:
        super().__init__(f"{error}; the run, {state}, has no end in the archive: not a result")


class Ending(Protocol):
    """What the end of a run needs of its recorder."""

    @property
    def run(self) -> int:
        """The run's number."""
        ...

    @property
    def events_sha256(self) -> str:
        """The hash of the last event."""
        ...

    @property
    def readings_sha256(self) -> str:
        """The hash of all readings."""
        ...

    def end(
        self, state: str, end: str, verdict: str | None, result: Mapping[str, Any] | None
    ) -> None:
        """Seal the run. Raises ArchiveError where it can't be written."""
        ...


def conclude(
    cycle: Cycle, recorder: Ending, archive: Path, pair: Pair, record: HeatRecord | None
) -> RunOutcome:
    """Reduce what a run that has ended has read, close its record and say how it ended.

    Raises UnrecordedEnd.
    """
    run = cycle.run
    finding: dict[str, Any] | None = run.finding._asdict() if run.finding else None
    result = verdict = None
    if isinstance(run.returned, LossReadings):
        outcome = reduced(run.returned, pair, cycle.expected)
        if record is not None:
            outcome = heat_reduced(outcome, record, pair, cycle.expected, run.returned)
        result, verdict = outcome.result, outcome.verdict
        if outcome.finding is not None:
            finding = outcome.finding
            cycle.record("finding", finding)
    facts = {"state": run.state.value, "verdict": verdict, "may_be_live": run.may_be_live}
    cycle.record("run.ended", facts)
    try:
        recorder.end(run.state.value, run.state.value, verdict, result)
    except ArchiveError as error:
        raise UnrecordedEnd(run.state.value, error) from error
    return RunOutcome(
        state=run.state.value,
        end=run.state.value,
        run=recorder.run,
        archive=archive,
        attempts=run.attempts,
        verdict=verdict,
        stage=run.stage,
        finding=finding,
        result=result,
        may_be_live=run.may_be_live,
        readings_sha256=recorder.readings_sha256,
        events_sha256=recorder.events_sha256,
    )
