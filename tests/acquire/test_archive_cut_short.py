"""An archive as a full disk, a crash or a medium that can't be written leaves it."""

import os
import signal
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from acquire.archive import FILE, Archive
from acquire.database import ArchiveError, Hold, held
from tests.acquire.conftest import started
from tests.acquire.test_archive import S, recorded

PAGE = 4096

RECORD_FOR_EVER = f"""
import pathlib, sys
from acquire.archive import Archive
from tests.acquire.conftest import poll, started
recorder = started(Archive(pathlib.Path(sys.argv[1])), commit_interval_s=0.5)
t = 0
while True:
    t += {S}
    recorder.readings(t, poll(t))
    print(recorder.event(t, "note", {{"t": t}}), flush=True)
"""


def test_a_checkpoint_that_was_cut_short_is_no_damage(tmp_path: Path) -> None:
    """With only its first page brought over, the rest is still in SQLite's log beside it."""
    source, cut = tmp_path / "source", tmp_path / "cut"
    cut.mkdir()
    with Archive(source) as archive, closing(started(archive)) as recorder:
        archive._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        for t in range(200):
            recorder.event(t, "note", {"words": "x" * 1000})
        before = (source / FILE).read_bytes()
        log = (source / f"{FILE}-wal").read_bytes()
        archive._db.execute("PRAGMA wal_checkpoint(FULL)")
        after = (source / FILE).read_bytes()
    assert after[:PAGE] != before[:PAGE]
    (cut / FILE).write_bytes(after[:PAGE] + before[PAGE:])
    (cut / f"{FILE}-wal").write_bytes(log)
    with Archive(cut, read_only=True) as archive:
        assert archive.verify(1).whole
        assert archive.verify(1).events == 201


def without_room(folder: Path, log: bytes) -> None:
    """Leave SQLite's log beside an archive, and no place in which the log's index could be made."""
    recorded(folder).close()
    (folder / f"{FILE}-wal").write_bytes(log)
    (folder / f"{FILE}-shm").symlink_to(folder / "none" / "such")


def test_an_archive_with_nothing_in_its_log_is_read_as_it_stands(tmp_path: Path) -> None:
    """Where the disk is full SQLite makes its log and finds no room for the index of it."""
    without_room(tmp_path, b"")
    with Archive(tmp_path, read_only=True) as archive:
        assert archive.verify(1).whole


def test_what_is_in_a_log_that_cannot_be_read_is_not_passed_over(tmp_path: Path) -> None:
    """Rather no answer than one without the last commits."""
    without_room(tmp_path, b"commits")
    with pytest.raises(ArchiveError, match="can't be opened or made, its folder may be read-only"):
        Archive(tmp_path, read_only=True)


def test_an_archive_whose_making_found_no_room_is_none_yet(tmp_path: Path) -> None:
    """Whoever looks is told so, and not of tables that are missing."""
    (tmp_path / FILE).touch()
    with pytest.raises(ArchiveError, match="there is no archive here yet"):
        Archive(tmp_path, read_only=True)


def test_a_lock_file_that_cannot_be_removed_holds_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a medium that has become read-only the file stays, the lock on it is lifted."""

    def refuse(*_: Any, **__: Any) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(Path, "unlink", refuse)
    lock = tmp_path / "run-1.lock"
    Hold(lock).release()
    assert lock.exists()
    assert not held(lock)


class TestProcessThatDies:
    def test_nothing_committed_is_lost(self, tmp_path: Path) -> None:
        """Killed while committing, a run has all that it said was committed, its chain whole."""
        process = subprocess.Popen(
            [sys.executable, "-c", RECORD_FOR_EVER, str(tmp_path)],
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )
        assert process.stdout is not None
        said = [int(process.stdout.readline()) for _ in range(50)]
        with Archive(tmp_path) as archive:
            assert archive.close_abandoned() == []
            assert not archive.abandoned(1)
        process.send_signal(signal.SIGKILL)
        said += [int(line) for line in process.stdout.read().split("\n")[:-1]]
        process.stdout.close()
        process.wait()
        with Archive(tmp_path) as archive:
            found = archive.verify(1)
            assert found.whole
            assert found.events + found.polls >= said[-1]
            assert archive.abandoned(1)
            self.is_ended_as_abandoned(archive)

    @staticmethod
    def is_ended_as_abandoned(archive: Archive) -> None:
        """The next start ends the dead run in its own chain, once."""
        last = archive.run(1).last_t
        assert [run.run for run in archive.close_abandoned()] == [1]
        run, events = archive.run(1), list(archive.events(1))
        assert (run.state, run.end, run.verdict) == ("aborted", "aborted", None)
        assert (events[-2].kind, events[-2].facts["last_commit_t"]) == ("run.abandoned", last)
        assert archive.verify(1).whole
        assert archive.close_abandoned() == []

    def test_a_recorder_let_go_without_an_end_counts_as_abandoned(self, tmp_path: Path) -> None:
        """Whoever closes without ending leaves a run for the next start to end."""
        with Archive(tmp_path) as archive:
            recorder = started(archive)
            assert archive.close_abandoned() == []
            recorder.close()
            assert [run.end for run in archive.close_abandoned()] == ["aborted"]
            assert archive.verify(1).whole
