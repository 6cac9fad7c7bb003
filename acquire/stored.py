"""A run read back from its archive, in the shape in which it ended."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from acquire.archive import Archive
from acquire.records import Event, Verification


@dataclass(frozen=True, slots=True)
class StoredRun:
    """An outcome with its events, and whether its record is whole."""

    run: int
    archive: Path
    state: str
    end: str | None
    attempts: int
    stage: str
    verdict: str | None
    finding: dict[str, str] | None
    result: dict[str, Any] | None
    may_be_live: bool
    readings_sha256: str
    events_sha256: str
    events: tuple[Event, ...]
    verification: Verification


def read_back(archive: Archive, run: int) -> StoredRun:
    """Return a run of an archive; raises ArchiveError where there is no such run."""
    row, events, found = archive.run(run), tuple(archive.events(run)), archive.verify(run)
    stages = [event.facts["stage"] for event in events if event.kind == "stage"]
    return StoredRun(
        run=run,
        archive=archive.path,
        state=row.state,
        end=row.end,
        attempts=sum(event.kind == "attempt" for event in events),
        stage=stages[-1] if stages else "",
        verdict=row.verdict,
        finding=finding_of(events),
        result=row.result,
        may_be_live=any(event.facts.get("may_be_live") is True for event in events),
        readings_sha256=found.readings_sha256,
        events_sha256=found.events_sha256,
        events=events,
        verification=found,
    )


def finding_of(events: Iterable[Event]) -> dict[str, str] | None:
    """Return the finding that a run ended with, as the run itself keeps it.

    The last finding; a trip replaces it while the run still runs, a trip of the stop that follows
    doesn't.
    """
    finding, running = None, True
    for event in events:
        if event.kind == "state":
            running = event.facts["state"] == "running"
        if event.kind == "finding" or (event.kind == "trip" and (running or finding is None)):
            finding = {key: str(event.facts[key]) for key in ("name", "seen", "check")}
    return finding
