"""The daemon's log: one JSON line an event, beside the archive and never instead of it."""

from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from acquire.clock import utc_now
from acquire.database import translated
from acquire.encoding import canonical

FILE = "log.jsonl"
LEVELS = {"trip": "error", "finding": "warning", "fault": "warning", "run.abandoned": "warning"}


class EventLog:
    """Writes the events of one run to `folder`/log.jsonl; samples never come here.

    Each line carries the run and, once there is one, the stage. Raises ArchiveError where the file
    can't be opened; a line that can't be written is dropped, since the archive has it.
    """

    def __init__(self, folder: Path, run: int, utc: Callable[[], str] = utc_now) -> None:
        # Here, since the command line's help must not wait for it.
        import structlog

        path = folder / FILE
        with translated(path):
            folder.mkdir(parents=True, exist_ok=True)
            self._file = path.open("a", encoding="utf-8")
        # Wrapped and not configured: no setting of the whole process hangs on a run.
        self._log = structlog.wrap_logger(
            structlog.WriteLogger(self._file),
            processors=[
                structlog.processors.add_log_level,
                lambda _logger, _name, line: {"utc": utc(), **line},
                lambda _logger, _name, line: canonical(line),
            ],
            wrapper_class=structlog.BoundLogger,
        ).bind(run=run)

    def event(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        """Write an event of stand time `t` (ns), in the very shape in which it is recorded."""
        if kind == "stage":
            self._log = self._log.bind(stage=facts["stage"])
        try:
            getattr(self._log, LEVELS.get(kind, "info"))(kind, t_s=t / 1e9, facts=dict(facts))
        except OSError:
            return

    def close(self) -> None:
        """Close the file, whether or not its last lines can be written."""
        with suppress(OSError):
            self._file.close()
