"""A run as it is written: readings at an interval, events at once, both in the order they came."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from acquire.database import ArchiveError, Hold, connect, identities, translated
from acquire.encoding import (
    NOTHING_BEFORE,
    PollCoder,
    PollRow,
    ReadingsHash,
    canonical,
    link,
    sha256,
)
from drivers.reading import Reading

SEALED = "run.sealed"

INSERT_POLL = "INSERT INTO poll VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)"
INSERT_EVENT = "INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?)"
# A run that has an end is written no more.
UPDATE_RUN = """UPDATE run SET state = :state, end = :end, verdict = :verdict, result = :result,
    header = iif(:anchors IS NULL, header, json_set(header, '$.anchors', json(:anchors))),
    readings_sha256 = :readings_sha256, last_t = :last_t WHERE run = :run AND end IS NULL"""


class Recorded:
    """What is on the disk of a run, from whoever stands between the scan and its recorder."""

    def __init__(self, recorder: "RunRecorder") -> None:
        self._recorder = recorder

    @property
    def run(self) -> int:
        """The run's number."""
        return self._recorder.run

    @property
    def committed(self) -> int:
        """How many rows are on the disk."""
        return self._recorder.committed

    @property
    def last_commit_t(self) -> int:
        """The stand time of the last commit, ns."""
        return self._recorder.last_commit_t

    @property
    def events_sha256(self) -> str:
        """The hash of the last event written."""
        return self._recorder.events_sha256

    @property
    def readings_sha256(self) -> str:
        """The hash of all readings written."""
        return self._recorder.readings_sha256


class RunRecorder:
    """Writes one run.

    Readings wait until `commit_interval_s` of stand time has passed since the last commit, events
    and states don't: they are committed before the call returns, with the readings that came
    before them. What a failed commit could not write is kept in order and goes with the next one.
    None succeeds once the archive is another file than at first, or none: SQLite would go on
    writing what nobody finds again.

    `committed` counts the rows (polls and events) that are on the disk, `last_commit_t` is the
    stand time (ns) of the last call after which everything was.
    """

    def __init__(
        self,
        path: Path,
        run: int,
        instruments: Mapping[str, tuple[int, Sequence[str]]],
        hold: Hold,
        *,
        state: str,
        t: int,
        commit_interval_s: float,
    ) -> None:
        """Write run `run` of the archive at `path`; instruments map to their row and channels."""
        self.run = run
        self.committed = 0
        self.last_commit_t = t
        self.path = path
        self._db = connect(path)
        self._identities = identities(path)
        self._hold = hold
        self._coders = {name: (key, PollCoder(c)) for name, (key, c) in instruments.items()}
        self._sha = ReadingsHash({name: channels for name, (_, channels) in instruments.items()})
        self._interval = round(commit_interval_s * 1e9)
        self._now = self._tried_t = t
        self._polls: list[tuple[object, ...]] = []
        self._events: list[tuple[object, ...]] = []
        self._poll_count = 0
        self._sequence = 0
        self._last_hash = NOTHING_BEFORE
        self._row: dict[str, object] = dict.fromkeys(("end", "verdict", "result", "anchors"))
        self._row |= {"run": run, "state": state, "readings_sha256": None}

    def resumed(self, sequence: int, last_hash: str, polls: Iterable[tuple[str, PollRow]]) -> None:
        """Go on behind what is already in the archive: the chain's end and all polls so far."""
        self._sequence, self._last_hash = sequence, last_hash
        for instrument, row in polls:
            self._sha.add(instrument, row)
            self._poll_count += 1

    @property
    def events_sha256(self) -> str:
        """The hash of the last event: it stands for the whole chain."""
        return self._last_hash

    @property
    def readings_sha256(self) -> str:
        """The hash of all readings so far."""
        return self._sha.hexdigest()

    def readings(self, t: int, polls: Sequence[tuple[str, tuple[Reading, ...]]]) -> None:
        """Take the polls that arrived by stand time `t` (ns), each an instrument's whole answer.

        A commit that fails here is seen by the age of `last_commit_t` and tried again later.
        Raises ValueError where a poll's channels are not the instrument's.
        """
        for instrument, readings in polls:
            key, coder = self._coders[instrument]
            row = coder.pack(readings)
            self._sha.add(instrument, row)
            self._polls.append((key, *row))
        self._poll_count += len(polls)
        self._now = t
        if t - self.last_commit_t >= self._interval and t - self._tried_t >= self._interval // 4:
            try:
                self._commit()
            except ArchiveError:
                # The trip "record not being written" acts on the age of the last commit.
                return

    def event(self, t: int, kind: str, facts: Mapping[str, Any]) -> int:
        """Record and commit an event of stand time `t` (ns).

        Returns its number among the rows: it is on the disk once `committed` has reached that.
        Raises ArchiveError where it can't be written now; TypeError for facts that JSON can't say.
        """
        self._append(t, kind, facts)
        self._commit()
        return self.committed

    def state(self, state: str) -> None:
        """Record the run's state; raises ArchiveError where it can't be written now."""
        self._row["state"] = state
        self._commit()

    def anchors(self, dropped: Sequence[tuple[int, str]]) -> None:
        """Take which UTC instant belongs to which stand time (ns), outside the chain.

        Written with the next commit: the event that tells why an anchor was dropped comes with it.
        """
        self._row["anchors"] = canonical(dropped)

    def end(
        self, state: str, end: str, verdict: str | None, result: Mapping[str, Any] | None
    ) -> None:
        """Seal the run and close it.

        The last event of the chain holds the hashes of readings and result, so that the chain's
        last hash stands for the whole run. Raises ArchiveError where it can't be written now; the
        call may then be made again.
        """
        if self._row["end"] is None:
            text = None if result is None else canonical(result)
            seal = {
                "state": state,
                "end": end,
                "verdict": verdict,
                "result_sha256": None if text is None else sha256(text),
                "polls": self._poll_count,
                "readings_sha256": self.readings_sha256,
            }
            self._append(self._now, SEALED, seal)
            self._row |= {"state": state, "end": end, "verdict": verdict, "result": text}
            self._row["readings_sha256"] = self.readings_sha256
        self._commit()
        self.close()

    def close(self) -> None:
        """Let go of the archive; a run without an end then counts as abandoned."""
        self._db.close()
        self._hold.release()

    def _append(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        text, previous = canonical(facts), self._last_hash
        self._now = max(t, self._now)
        self._sequence += 1
        self._last_hash = link(self._sequence, t, kind, text, previous)
        self._events.append((self.run, self._sequence, t, kind, text, previous, self._last_hash))

    def _commit(self) -> None:
        self._tried_t = self._now
        with translated(self.path):
            try:
                # Immediate, so that the wait for another writer is here and not midway.
                self._db.execute("BEGIN IMMEDIATE")
                self._db.executemany(INSERT_POLL, self._polls)
                self._db.executemany(INSERT_EVENT, self._events)
                updated = self._db.execute(UPDATE_RUN, self._row | {"last_t": self._now})
                self._refuse_unless_here(updated.rowcount)
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise
        self.committed += len(self._polls) + len(self._events)
        self.last_commit_t = self._now
        self._polls.clear()
        self._events.clear()

    def _refuse_unless_here(self, runs: int) -> None:
        """Raise ArchiveError where what is about to be committed would be in no archive."""
        try:
            same = identities(self.path) == self._identities
        except FileNotFoundError:
            same = False
        if not same:
            raise ArchiveError(
                f"{self.path}: it was removed, moved or replaced while run {self.run} was being"
                " recorded in it; put it back, or begin anew"
            )
        if runs != 1:
            raise ArchiveError(f"{self.path}: another program has ended run {self.run}")
