"""An archive that is taken away, replaced, or ended by others while a run is being recorded."""

import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from acquire.archive import FILE, Archive
from acquire.database import ArchiveError, Held, Hold
from acquire.encoding import PollRow
from acquire.recorder import RunRecorder
from tests.acquire.conftest import FILES, INSTRUMENTS, poll, started
from tests.acquire.test_archive import S, recorded

OTHER_OPENS_AND_CLOSES = (
    "import sys, pathlib; from acquire.archive import Archive;"
    " Archive(pathlib.Path(sys.argv[1])).close()"
)


def replaced(folder: Path) -> None:
    """Put another archive, with a run of the same number, in the place of this one."""
    (folder / FILE).rename(folder / "old")
    recorded(folder / "new").close()
    (folder / "new" / FILE).rename(folder / FILE)


@pytest.mark.parametrize(
    "take_away",
    [
        shutil.rmtree,
        lambda folder: folder.rename(folder.with_name("moved")),
        lambda folder: (folder / FILE).unlink(),
        lambda folder: (folder / f"{FILE}-wal").unlink(),
        lambda folder: (folder / f"{FILE}-shm").unlink(),
        replaced,
    ],
    ids=["removed", "moved", "unlinked", "without_wal", "without_shm", "replaced"],
)
def test_nothing_counts_as_committed_in_an_archive_that_is_gone(
    tmp_path: Path, take_away: Callable[[Path], object]
) -> None:
    """SQLite itself goes on: it has its files open, by whatever name they go or by none."""
    folder = tmp_path / "runs"
    archive = Archive(folder)
    with closing(archive), closing(started(archive)) as recorder:
        recorder.readings(2 * S, poll(2 * S))
        written = (recorder.committed, recorder.last_commit_t)
        take_away(folder)
        recorder.readings(4 * S, poll(4 * S))
        with pytest.raises(ArchiveError, match=r"archive\.sqlite: it was removed, moved or"):
            recorder.event(5 * S, "note", {})
        with pytest.raises(ArchiveError, match="removed, moved or replaced"):
            recorder.end("complete", "complete", "within", None)
        assert (recorder.committed, recorder.last_commit_t) == written


def test_what_could_not_be_written_meanwhile_is_written_once_the_folder_is_back(
    tmp_path: Path,
) -> None:
    """A share that was gone for a moment, or a folder renamed and named back, loses nothing."""
    folder, away = tmp_path / "runs", tmp_path / "away"
    with Archive(folder) as archive:
        recorder = started(archive)
        folder.rename(away)
        with pytest.raises(ArchiveError):
            recorder.event(S, "note", {})
        away.rename(folder)
        recorder.end("complete", "complete", None, None)
        assert [e.kind for e in archive.events(1)] == ["run.started", "note", "run.sealed"]
        assert archive.verify(1).whole


def test_a_run_that_another_program_has_ended_is_written_no_more(tmp_path: Path) -> None:
    """Where somebody has deleted the lock, a run is taken for dead: its seal stays as it is."""
    with Archive(tmp_path) as archive, closing(started(archive)) as recorder:
        (tmp_path / "run-1.lock").unlink()
        assert [run.run for run in archive.close_abandoned()] == [1]
        recorder.readings(9 * S, poll(9 * S))
        assert recorder.last_commit_t == 0
        with pytest.raises(ArchiveError, match="another program has ended run 1"):
            recorder.state("stopping")
        with pytest.raises(ArchiveError):
            recorder.end("complete", "complete", "within", None)
        assert archive.run(1).end == "aborted"
        assert archive.verify(1).whole


def test_looking_from_within_lifts_no_lock(tmp_path: Path) -> None:
    """A second look at the archive in the process that writes it leaves its locks.

    Without them another program takes itself for the last user, and throws away what is written.
    """
    with Archive(tmp_path) as archive, closing(started(archive)) as recorder:
        Archive(tmp_path, read_only=True).close()
        subprocess.run(
            [sys.executable, "-c", OTHER_OPENS_AND_CLOSES, str(tmp_path)],
            check=True,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )
        recorder.event(S, "note", {})
        with closing(sqlite3.connect(tmp_path / FILE)) as other:
            assert other.execute("SELECT count(*) FROM event").fetchone() == (2,)


def test_an_anchor_is_committed_with_the_event_that_tells_of_it(tmp_path: Path) -> None:
    """No power failure comes between them, and a commit that failed loses neither."""
    anchors = [(0, "2026-01-01T00:00:00.000+00:00"), (S, "2026-01-01T01:00:01.000+00:00")]
    with Archive(tmp_path) as archive, closing(started(archive)) as recorder:
        with closing(sqlite3.connect(tmp_path / FILE)) as other:
            other.execute("BEGIN IMMEDIATE")
            recorder.anchors(anchors)
            with pytest.raises(ArchiveError, match="locked"):
                recorder.event(S, "clock.anchor", {"drift_s": 3600.0})
        assert archive.run(1).header == {"version": "0"}
        recorder.state("running")
        assert archive.run(1).header == {"version": "0", "anchors": [list(a) for a in anchors]}
        assert [e.kind for e in archive.events(1)] == ["run.started", "clock.anchor"]


def test_a_run_that_ends_while_it_is_verified_is_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is compared is the record at one instant, however long the comparing takes."""
    with Archive(tmp_path) as archive, Archive(tmp_path, read_only=True) as looking:
        recorder = started(archive)
        recorder.readings(S, poll(S))
        rows = looking.poll_rows

        def slowly(run: int) -> Iterator[tuple[str, PollRow]]:
            yield from rows(run)
            recorder.readings(2 * S, poll(2 * S))
            recorder.end("complete", "complete", "within", None)

        monkeypatch.setattr(looking, "poll_rows", slowly)
        assert looking.verify(1).faults == ()
        monkeypatch.undo()
        assert looking.run(1).end == "complete"
        assert looking.verify(1).faults == ()


def test_an_abandoned_run_that_could_not_be_ended_is_so_by_the_next(tmp_path: Path) -> None:
    """Whoever fails to end it lets go of it."""
    with Archive(tmp_path) as archive:
        started(archive).close()
        with closing(sqlite3.connect(tmp_path / FILE)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(ArchiveError, match="locked") as failed:
                archive.close_abandoned()
        assert [run.end for run in archive.close_abandoned()] == ["aborted"]
        assert archive.verify(1).whole
        assert failed.value.exit_code == 2


class TestHold:
    def test_held_once(self, tmp_path: Path) -> None:
        """The second is told so, and it is free again afterwards."""
        hold = Hold(tmp_path / "run-1.lock")
        with pytest.raises(Held, match=r"run-1\.lock"):
            Hold(tmp_path / "run-1.lock")
        hold.release()
        Hold(tmp_path / "run-1.lock").release()

    def test_a_lock_that_cannot_be_one_is_not_taken_for_held(self, tmp_path: Path) -> None:
        """A file of somebody else's is named, instead of a run believed to be recorded for ever."""
        (tmp_path / "run-1.lock").write_text("not a lock" * 100)
        with (
            Archive(tmp_path) as archive,
            pytest.raises(ArchiveError, match=r"run-1\.lock: it is not an SQLite file"),
        ):
            archive.start_run("loss_test", "s", None, FILES, INSTRUMENTS, {})

    def test_a_run_that_could_not_be_begun_is_not_held(self, tmp_path: Path) -> None:
        """Neither its row nor its lock stays behind."""
        alike = {"one": ("guard",), "two": ("guard",)}
        with Archive(tmp_path) as archive:
            with pytest.raises(ArchiveError):
                archive.start_run("loss_test", "s", None, FILES, alike, {})
            assert archive.runs() == []
            assert not list(tmp_path.glob("run-*"))
            assert isinstance(started(archive), RunRecorder)
