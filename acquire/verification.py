"""Whether a run's record is whole: the chain of its events, and what the chain stands for."""

from collections.abc import Iterator, Mapping, Sequence

from acquire.encoding import NOTHING_BEFORE, canonical, link, sha256
from acquire.recorder import SEALED
from acquire.records import Event, Run, Verification


def verified(
    run: Run,
    events: Sequence[Event],
    files: Mapping[str, str],
    readings_sha256: str,
    polls: int,
) -> Verification:
    """Compare a run's record with itself; the hash is that of its readings as they are now.

    A run that has no end yet has no seal either: then only the chain can be checked.
    """
    faults = [*_chain_faults(events), *_start_faults(run, events, files)]
    if run.end is not None:
        faults += _seal_faults(run, events, readings_sha256, polls)
    last = events[-1].hash if events else NOTHING_BEFORE
    return Verification(tuple(faults), len(events), polls, last, readings_sha256)


def _chain_faults(events: Sequence[Event]) -> Iterator[str]:
    previous = NOTHING_BEFORE
    for expected, event in enumerate(events, start=1):
        if event.sequence != expected:
            yield f"event {expected} is missing"
            return
        if event.previous != previous:
            yield f"event {expected} doesn't follow the one before it"
        made = link(event.sequence, event.t, event.kind, canonical(event.facts), event.previous)
        if made != event.hash:
            yield f"event {expected} ({event.kind}) is not what was recorded"
        previous = event.hash


def _start_faults(run: Run, events: Sequence[Event], files: Mapping[str, str]) -> Iterator[str]:
    """Yield what the first event says otherwise than the run's row and configuration."""
    if not events or events[0].kind != "run.started":
        return
    facts = events[0].facts
    for column in ("procedure", "schedule", "seed"):
        if column in facts and facts[column] != getattr(run, column):
            yield f"the run's {column} is not the one it was started with"
    if "files" in facts and facts["files"] != {name: sha256(text) for name, text in files.items()}:
        yield "the configuration is not the one that the run was started with"


def _seal_faults(
    run: Run, events: Sequence[Event], readings_sha256: str, polls: int
) -> Iterator[str]:
    if not events or events[-1].kind != SEALED:
        yield "the end of the chain is missing"
        return
    result = None if run.result is None else sha256(canonical(run.result))
    found = {
        "state": run.state,
        "end": run.end,
        "verdict": run.verdict,
        "result_sha256": result,
        "polls": polls,
        "readings_sha256": readings_sha256,
    }
    for name, value in found.items():
        if events[-1].facts.get(name) != value:
            yield f"{WORDS[name]} not what the seal says"


WORDS = {
    "state": "the run's state is",
    "end": "the run's end is",
    "verdict": "the verdict is",
    "result_sha256": "the result is",
    "polls": "the number of polls is",
    "readings_sha256": "the readings are",
}
