"""What the commands do, once it is clear which: rehearse, show."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.text import Text

from acquire.archive import Archive
from acquire.configuration import load_scenario
from acquire.fault_schedule import Crashed
from acquire.particulars import Particulars, particulars
from acquire.records import Outcome, Verification
from acquire.rehearsal import rehearse
from acquire.report import Report
from acquire.stored import read_back
from acquire.terminal import (
    ABNORMAL,
    EMERGENCY,
    FINE,
    FOUND_WRONG,
    NORMAL,
    STOPPED,
    Terminal,
    print_json,
)

CRASHED = (
    "The rehearsed program has crashed, as was asked. Its run is left without an end: the next"
    " start marks it aborted."
)


def rehearsed(  # noqa: PLR0913, PLR0917 - the options of the command, one each
    scenario: str,
    schedule: str,
    seed: int,
    connection: str,
    voltmeter: str,
    faults: Sequence[str],
    out: Path,
    as_json: bool,
    continues: int | None = None,
) -> int:
    """Rehearse a scenario and tell of it; return the exit code.

    Raises ConfigurationError, FaultRefused, CannotContinue and ArchiveError before anything has
    begun, and
    ArchiveError where the end can't be written.
    """
    report = Report(Terminal())
    try:
        outcome = rehearse(
            load_scenario(scenario, schedule),
            seed=seed,
            connection=str(connection),
            voltmeter=str(voltmeter),
            faults=faults,
            out=out,
            observer=_unseen if as_json else report.event,
            continues=continues,
        )
    except Crashed:
        if as_json:
            print_json({"state": "crashed", "words": CRASHED})
        else:
            Terminal().print(Text(CRASHED, EMERGENCY))
        return STOPPED
    never = outcome.never_begun
    if as_json:
        print_json(plain(outcome) | {"faults_never_begun": never})
    else:
        report.result(outcome)
        if never:
            Terminal().print(
                Text(f"Never begun, so nothing is shown of it: {', '.join(never)}", ABNORMAL)
            )
    code = exit_code(outcome)
    return FOUND_WRONG if never and code == FINE else code


def exit_code(outcome: Outcome) -> int:
    """Return what the shell is told of a run: only a verdict of within is success."""
    if outcome.end != "complete":
        return STOPPED
    return FINE if outcome.verdict == "within" else FOUND_WRONG


def plain(outcome: Outcome) -> dict[str, Any]:
    """Return an outcome as one JSON object."""
    return {
        "state": outcome.state,
        "run": outcome.run,
        "archive": str(outcome.archive),
        "attempts": outcome.attempts,
        "verdict": outcome.verdict,
        "stage": outcome.stage,
        "finding": outcome.finding,
        "result": outcome.result,
        "readings_sha256": outcome.readings_sha256,
        "events_sha256": outcome.events_sha256,
    }


def shown(run: int, out: Path, as_json: bool, figure: Path | None = None) -> int:
    """Print a run of the archive in a folder, draw it where asked; return the exit code.

    Raises ArchiveError, and where a figure is asked what `picture_of` and `draw_heat` raise.
    """
    with Archive(out, read_only=True) as archive:
        stored, facts = read_back(archive, run), particulars(archive, run)
        if figure is not None:
            from acquire.figure import refuse_other_suffixes
            from acquire.heat_figure import draw_heat
            from acquire.heat_picture import picture_of

            refuse_other_suffixes(figure)  # before the record is folded, which takes its time
            draw_heat(picture_of(archive, run), figure)
    found = stored.verification
    if as_json:
        events = [{"t": e.t, "kind": e.kind, "facts": e.facts} for e in stored.events]
        print_json(
            plain(stored)
            | asdict(facts)
            | {"whole": found.whole, "faults": found.faults, "events": events}
        )
    else:
        terminal = Terminal()
        for words in _which(run, facts):
            terminal.print(Text(words))
        report = Report(terminal)
        for event in stored.events:
            report.event(event.t, event.kind, event.facts)
        report.result(stored)
        for words, style in _record(found):
            terminal.print(Text(words, style))
        if figure is not None:
            terminal.print(Text(f"Figure: {figure}"), soft_wrap=True)
    return FINE if found.whole else FOUND_WRONG


def _which(run: int, facts: Particulars) -> list[str]:
    return [
        f"Run {run}, begun {facts.begun}",
        f"Pair: {facts.units}",
        f"Stand: {facts.reached}",
    ]


def _record(found: Verification) -> list[tuple[str, str]]:
    if found.whole:
        words = f"The record is whole: {found.events} events in one chain, {found.polls} polls"
        return [(words, NORMAL)]
    return [(f"THE RECORD IS NOT WHOLE: {fault}", EMERGENCY) for fault in found.faults]


def _unseen(_t: int, _kind: str, _facts: Mapping[str, Any]) -> None:
    """Nobody watches a run whose only output is JSON."""
