"""A heat run's record folded from the archive: what a live run folded, once more."""

from collections import deque
from pathlib import Path
from tempfile import TemporaryDirectory

from acquire.archive import Archive
from acquire.configuration import Setup, load_setup
from acquire.heat_outcome import heat_reduced
from acquire.outcome import Reduced, reduced
from acquire.records import Event
from acquire.refusal import Refusal
from acquire.stand import unjudged
from sequences.expected import Expected
from sequences.heat_record import HeatRecord

S = 1_000_000_000


def folded(archive: Archive, run: int, expected: Expected) -> HeatRecord:
    """Return the record of a run, and before it of those that it continues.

    Raises ArchiveError where there is no such run.
    """
    continues = archive.run(run).continues
    record = HeatRecord(expected)
    if continues is not None:
        record = folded(archive, continues, expected).inherited()
    marks = deque(e for e in archive.events(run) if e.kind == "shows" and "mark" in e.facts)
    for _, readings in archive.polls(run):
        while marks and marks[0].t <= readings[0].t:
            _mark(record, marks.popleft())
        record.add(readings)
    for event in marks:
        _mark(record, event)
    return record


def _mark(record: HeatRecord, event: Event) -> None:
    facts = dict(event.facts)
    name, at_s = facts.pop("mark"), facts.pop("at_s")
    record.mark(name, round(at_s * S), **facts)


class CannotContinue(Refusal):
    """A run that no other can go on from."""


def refuse_to_continue(archive: Archive, run: int, scenario: Setup) -> None:
    """Raise CannotContinue unless a heat run of the same pair has ended before its time.

    Raises ArchiveError where there is no such run.
    """
    old, files = archive.run(run), archive.files(run)
    if scenario.schedule.procedure != "heat_run" or old.procedure != "heat_run":
        raise CannotContinue(f"run {run}: only a heat run continues a heat run")
    if old.end not in {"stopped", "aborted"}:
        raise CannotContinue(f"run {run} is {old.state}: only a run that was cut short goes on")
    for name in ("pair.toml", "stand.toml"):
        if files.get(name) != scenario.files[name]:
            raise CannotContinue(f"run {run} was of another {name}: its readings are not of this")
    marks = {e.facts.get("mark") for e in archive.events(run) if e.kind == "shows"}
    if old.continues is None and "losses" not in marks:
        raise CannotContinue(f"run {run} ended before its losses were read: begin anew")


def scenario_of(archive: Archive, run: int) -> Setup:
    """Return the set-up of a run from the texts in its archive.

    Raises ArchiveError, and ConfigurationError for texts that this version no longer reads.
    """
    with TemporaryDirectory() as place:
        for name, text in archive.files(run).items():
            file = Path(place, name)
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(text, encoding="utf-8")
        return load_setup(place, "", archive.run(run).schedule)


def refolded(archive: Archive, run: int, scenario: Setup | None = None) -> Reduced:
    """Reduce a finished heat run from its archive alone, by default with the scenario in it.

    Raises ArchiveError, ConfigurationError, and ValueError for a run that read no losses.
    """
    scenario = scenario or scenario_of(archive, run)
    expected = unjudged(scenario)
    record = folded(archive, run, expected)
    losses = record.losses
    if losses is None:
        raise ValueError(f"run {run} has no loss readings in its archive")
    return heat_reduced(
        reduced(losses, scenario.pair, expected), record, scenario.pair, expected, losses
    )
