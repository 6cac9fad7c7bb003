"""The archive of a folder: one SQLite file that holds every run, its events and its readings."""

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, closing
from dataclasses import fields
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from acquire.database import (
    ArchiveError,
    Held,
    Hold,
    connect,
    connect_reading,
    create,
    held,
    refuse_others,
    translated,
)
from acquire.encoding import PollCoder, PollRow, ReadingsHash, canonical, sha256
from acquire.recorder import RunRecorder
from acquire.records import Event, Run, Verification
from acquire.verification import verified
from drivers.reading import Reading

FILE = "archive.sqlite"

INSERT_RUN = """INSERT INTO run (procedure, schedule, continues, seed, state, header, last_t)
    VALUES (?, ?, ?, ?, ?, ?, ?)"""
COLUMNS = tuple(field.name for field in fields(Run))
RUNS = f"SELECT {', '.join(COLUMNS)} FROM run"
POLLS = """SELECT name, t, began, times, value, quality, reason FROM poll JOIN instrument
    USING (instrument) WHERE run = ? ORDER BY poll"""


class Archive:
    """The archive in `folder`, made where there is none (but not for `read_only`).

    Raises ArchiveError for a folder that can't be used, and for a file that is not an archive of
    this schema version; such a file is never altered.
    """

    def __init__(self, folder: Path, *, read_only: bool = False) -> None:
        self.folder = folder
        self.path = folder / FILE
        with translated(self.path):
            if read_only and not (self.path.exists() and self.path.stat().st_size):
                raise ArchiveError(f"{self.path}: there is no archive here yet")
            if not read_only:
                folder.mkdir(parents=True, exist_ok=True)
            refuse_others(self.path)
            if not read_only:
                create(self.path)
            self._db = connect_reading(self.path) if read_only else connect(self.path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; a run that is being recorded goes on."""
        self._db.close()

    def start_run(  # noqa: PLR0913 - the row of a run, each column by its name
        self,
        procedure: str,
        schedule: str,
        seed: int | None,
        files: Mapping[str, str],
        instruments: Mapping[str, Sequence[str]],
        header: Mapping[str, Any],
        *,
        continues: int | None = None,
        t: int = 0,
        commit_interval_s: float = 1.0,
    ) -> RunRecorder:
        """Begin a run at stand time `t` (ns) and return what records it.

        `files` are the configuration's texts by name, `instruments` the channels of each
        instrument in the order in which its polls list them, `header` what else is known: version,
        host, anchors. Raises ArchiveError where it can't be written.
        """
        row = (procedure, schedule, continues, seed, "running", canonical(header), t)
        keys = {}
        with ExitStack() as undone, translated(self.path):
            with self._db:
                self._db.execute("BEGIN IMMEDIATE")
                run = self._db.execute(INSERT_RUN, row).lastrowid or 0
                hold = Hold(self._hold_path(run))
                undone.callback(hold.release)
                self._db.executemany(
                    "INSERT INTO file VALUES (?, ?, ?, ?)",
                    [(run, name, sha256(text), text) for name, text in files.items()],
                )
                for name, channels in instruments.items():
                    key = self._db.execute(
                        "INSERT INTO instrument VALUES (NULL, ?, ?)", (run, name)
                    )
                    keys[name] = (key.lastrowid or 0, channels)
                    self._db.executemany(
                        "INSERT INTO channel VALUES (?, ?, ?, ?)",
                        [(run, c, key.lastrowid, i) for i, c in enumerate(channels)],
                    )
            recorder = RunRecorder(
                self.path,
                run,
                keys,
                hold,
                state="running",
                t=t,
                commit_interval_s=commit_interval_s,
            )
            undone.pop_all()
        return recorder

    def close_abandoned(self) -> list[Run]:
        """End the runs whose process ended without doing so, and return them.

        Each is aborted, with an event at the end of its own chain that says where the record
        stops. A run that is being recorded, here or by another process, is left alone.
        """
        marked = []
        for run in self.runs():
            if run.end is None and (recorder := self._taken_over(run.run)):
                facts = {
                    "state": "aborted",
                    "end": "aborted",
                    "last_commit_t": run.last_t,
                    "words": "the process ended without ending the run",
                }
                with closing(recorder):
                    recorder.event(run.last_t, "run.abandoned", facts)
                    recorder.end("aborted", "aborted", None, None)
                marked.append(self.run(run.run))
        return marked

    def abandoned(self, run: int) -> bool:
        """Say whether a run has no end and nobody records it any more."""
        return self.run(run).end is None and not held(self._hold_path(run))

    def runs(self) -> list[Run]:
        """Return all runs, oldest first."""
        with translated(self.path):
            return [_run(row) for row in self._db.execute(f"{RUNS} ORDER BY run")]

    def run(self, run: int) -> Run:
        """Return one run; raises ArchiveError where the archive has no such run."""
        with translated(self.path):
            row = self._db.execute(f"{RUNS} WHERE run = ?", (run,)).fetchone()
            count = self._db.execute("SELECT count(*) FROM run").fetchone()[0]
        if row is None:
            raise ArchiveError(f"{self.path}: there is no run {run} among its {count}")
        return _run(row)

    def files(self, run: int) -> dict[str, str]:
        """Return the configuration of a run: its files' texts by name."""
        with translated(self.path):
            rows = self._db.execute("SELECT name, text FROM file WHERE run = ?", (run,))
            return dict(rows.fetchall())

    def instruments(self, run: int) -> dict[str, tuple[str, ...]]:
        """Return the channels of each instrument of a run, in the order of its polls."""
        return {name: channels for name, (_, channels) in self._instrument_rows(run).items()}

    def events(self, run: int) -> Iterator[Event]:
        """Yield a run's events in their order."""
        with translated(self.path):
            for row in self._db.execute(
                "SELECT sequence, t, kind, facts, previous, hash FROM event WHERE run = ?"
                " ORDER BY sequence",
                (run,),
            ):
                sequence, t, kind, facts, previous, digest = row
                yield Event(sequence, t, kind, json.loads(facts), previous, digest)

    def polls(self, run: int) -> Iterator[tuple[str, tuple[Reading, ...]]]:
        """Yield (instrument, readings) of every poll of a run in the order recorded."""
        coders = {name: PollCoder(channels) for name, channels in self.instruments(run).items()}
        for instrument, row in self.poll_rows(run):
            yield instrument, coders[instrument].unpack(row)

    def readings(self, run: int) -> Iterator[Reading]:
        """Yield every reading of a run in the order recorded."""
        for _, readings in self.polls(run):
            yield from readings

    def poll_rows(self, run: int) -> Iterator[tuple[str, PollRow]]:
        """Yield (instrument, row) of every poll of a run, packed as it is stored."""
        with translated(self.path):
            for name, *row in self._db.execute(POLLS, (run,)):
                yield name, PollRow(*row)

    def verify(self, run: int) -> Verification:
        """Check a run's record against its own hashes, as it was at one instant."""
        polls = 0
        with translated(self.path), self._db:
            # A run that goes on meanwhile would otherwise not agree with itself.
            self._db.execute("BEGIN")
            readings = ReadingsHash(self.instruments(run))
            for instrument, row in self.poll_rows(run):
                readings.add(instrument, row)
                polls += 1
            events = list(self.events(run))
            return verified(self.run(run), events, self.files(run), readings.hexdigest(), polls)

    def _hold_path(self, run: int) -> Path:
        return self.folder / f"run-{run}.lock"

    def _instrument_rows(self, run: int) -> dict[str, tuple[int, tuple[str, ...]]]:
        with translated(self.path):
            rows = self._db.execute(
                "SELECT instrument.instrument, instrument.name, channel.name FROM instrument"
                " JOIN channel USING (instrument) WHERE instrument.run = ?"
                " ORDER BY instrument.instrument, position",
                (run,),
            ).fetchall()
        found: dict[str, tuple[int, tuple[str, ...]]] = {}
        for key, instrument, channel in rows:
            found[instrument] = (key, (*found.get(instrument, (key, ()))[1], channel))
        return found

    def _taken_over(self, run: int) -> RunRecorder | None:
        """Return what goes on recording an abandoned run, None where somebody still does."""
        try:
            hold = Hold(self._hold_path(run))
        except Held:
            return None
        now = self.run(run)
        if now.end is not None:
            hold.release()
            return None
        recorder = RunRecorder(
            self.path,
            run,
            self._instrument_rows(run),
            hold,
            state="aborting",
            t=now.last_t,
            commit_interval_s=0.0,
        )
        events = list(self.events(run))
        last = events[-1] if events else None
        recorder.resumed(
            last.sequence if last else 0, last.hash if last else "", self.poll_rows(run)
        )
        return recorder


def _run(row: tuple[Any, ...]) -> Run:
    columns = dict(zip(COLUMNS, row, strict=True))
    for name in ("result", "header"):
        columns[name] = None if columns[name] is None else json.loads(columns[name])
    return Run(**columns)
