"""The runs of an archive as they are listed: how each ended, and what tells it from others."""

from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.table import Table
from rich.text import Text

from acquire.archive import Archive
from acquire.particulars import Particulars, particulars
from acquire.records import Run
from acquire.terminal import ABNORMAL, EMERGENCY, FINE, NORMAL, Terminal, print_json


def listed(out: Path, as_json: bool) -> int:
    """List the runs of the archive in a folder; return the exit code. Raises ArchiveError."""
    with Archive(out, read_only=True) as archive:
        runs = archive.runs()
        found = [(r, particulars(archive, r.run), archive.abandoned(r.run)) for r in runs]
    if as_json:
        rows = [_row(run) | asdict(facts) for run, facts, _ in found]
        print_json({"archive": str(archive.path), "runs": rows})
        return FINE
    # Three lines a run, since a line that holds all of it is wider than most terminals.
    table = Table.grid(padding=(0, 2))
    table.add_column(justify="right")
    for run, facts, dead in found:
        table.add_row(str(run.run), _told(run, facts, dead))
    Terminal().print(table if found else "no runs yet")
    return FINE


def _told(run: Run, facts: Particulars, dead: bool) -> Text:
    told = Text(f"{facts.begun}  {_schedule(run)}: ")
    told.append(f"{run.state}, its process is gone" if dead else run.state, _style(run))
    if run.verdict is not None:
        told.append(f", {run.verdict} limits", NORMAL if run.verdict == "within" else ABNORMAL)
    return told.append(f"\n{facts.units}\n{facts.reached}")


def _style(run: Run) -> str:
    return {"complete": NORMAL, "aborted": EMERGENCY, "running": ""}.get(run.state, ABNORMAL)


def _schedule(run: Run) -> str:
    words = run.procedure
    if run.schedule != run.procedure:
        words += f" by {run.schedule}"
    return words if run.continues is None else f"{words}, continues run {run.continues}"


def _row(run: Run) -> dict[str, Any]:
    names = ("run", "procedure", "schedule", "continues", "seed", "state", "end", "verdict")
    return {name: getattr(run, name) for name in names}
