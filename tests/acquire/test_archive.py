"""The archive keeps what was committed, tells what was altered, and leaves alone what isn't its."""

import contextlib
import sqlite3
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquire.archive import FILE, Archive
from acquire.database import ArchiveError
from acquire.encoding import ReadingsHash, canonical
from acquire.schema import VERSION
from drivers.reading import Quality, Reading
from tests.acquire.conftest import FILES, INSTRUMENTS, poll, started

S = 1_000_000_000


def recorded(folder: Path) -> Archive:
    """Return an archive with one short run that is complete."""
    archive = Archive(folder)
    recorder = started(archive)
    for second in range(1, 6):
        recorder.readings(second * S, poll(second * S, None if second == 3 else 400.0 + second))
    recorder.event(6 * S, "stage", {"stage": "prove"})
    recorder.event(
        6 * S, "run.ended", {"state": "complete", "end": "complete", "verdict": "within"}
    )
    recorder.end("complete", "complete", "within", {"pair_mean": {"no_load_loss_w": 318.5}})
    return archive


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody here lets go of a lock while another waits for it."""
    monkeypatch.setattr("acquire.database.BUSY_S", 0.01)


def alter(folder: Path, statement: str) -> None:
    """Change the file behind the archive's back."""
    with contextlib.closing(sqlite3.connect(folder / FILE)) as db, db:
        assert db.execute(statement).rowcount == 1


class TestRecord:
    def test_readings_come_back_as_they_were(self, tmp_path: Path) -> None:
        """Every part of every reading survives: times, value or none, quality, reason."""
        with recorded(tmp_path) as archive:
            expected = [poll(n * S, None if n == 3 else 400.0 + n) for n in range(1, 6)]
            assert list(archive.polls(1)) == [p for polls in expected for p in polls]
            bad = [r for r in archive.readings(1) if r.quality is Quality.BAD]
            assert [(r.value, r.reason) for r in bad] == [(None, "over range")]

    def test_a_poll_of_several_exchanges_keeps_each_ones_time(self, tmp_path: Path) -> None:
        """An instrument asked twice answers at two times."""
        readings = (
            Reading("lv.voltage.1", 10, 5, 1.0),
            Reading("lv.current.1", 20, 15, 2.0, Quality.UNCERTAIN, "ranging"),
        )
        with Archive(tmp_path) as archive:
            recorder = started(archive)
            recorder.readings(S, [("lv_analyser", readings)])
            recorder.end("complete", "complete", None, None)
            assert list(archive.polls(1)) == [("lv_analyser", readings)]

    @pytest.mark.parametrize(
        "readings",
        [(), (Reading("lv.voltage.1", 1, 1, 1.0),), (Reading("x", 1, 1, 1.0),) * 2],
    )
    def test_a_poll_of_other_channels_is_refused(
        self, tmp_path: Path, readings: tuple[Reading, ...]
    ) -> None:
        """A value can't land under another channel's name."""
        with (
            Archive(tmp_path) as archive,
            contextlib.closing(started(archive)) as recorder,
            pytest.raises(ValueError, match="instead of"),
        ):
            recorder.readings(S, [("lv_analyser", readings)])

    def test_a_run_has_its_row_from_the_start(self, tmp_path: Path) -> None:
        """What is run with which files is there before anything happens."""
        with Archive(tmp_path) as archive, contextlib.closing(started(archive)):
            run = archive.run(1)
            assert (run.procedure, run.schedule, run.seed) == ("loss_test", "loss_test", 1)
            assert (run.state, run.end, run.verdict, run.result) == ("running", None, None, None)
            assert run.header == {"version": "0"}
            assert archive.files(1) == FILES
            assert archive.instruments(1) == INSTRUMENTS

    def test_an_ended_run_keeps_state_end_verdict_and_result(self, tmp_path: Path) -> None:
        """The end is in the row."""
        with recorded(tmp_path) as archive:
            run = archive.run(1)
            assert (run.state, run.end, run.verdict) == ("complete", "complete", "within")
            assert run.result == {"pair_mean": {"no_load_loss_w": 318.5}}

    def test_runs_are_numbered_in_one_file(self, tmp_path: Path) -> None:
        """A folder's runs share its archive, and a missing one is said to be missing."""
        recorded(tmp_path).close()
        with recorded(tmp_path) as archive:
            assert [run.run for run in archive.runs()] == [1, 2]
            assert list(archive.readings(1)) == list(archive.readings(2))
            with pytest.raises(ArchiveError, match="no run 7 among its 2"):
                archive.run(7)

    def test_the_readme_reads_a_channel(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The lines that the file carries are a program, and it does what they say."""
        recorded(tmp_path).close()
        with contextlib.closing(sqlite3.connect(tmp_path / FILE)) as db:
            lines = [text for (text,) in db.execute("SELECT text FROM readme ORDER BY line")]
        assert len([line for line in lines if not line.startswith("#")]) == 5
        monkeypatch.chdir(tmp_path)
        found: dict[str, Any] = {}
        exec("\n".join(lines), found)
        np.testing.assert_array_equal(found["t"], [1, 2, 3, 4, 5])
        np.testing.assert_array_equal(found["y"], [401, 402, np.nan, 404, 405])
        found["db"].close()


class TestCommits:
    def test_readings_wait_for_the_interval_and_events_do_not(self, tmp_path: Path) -> None:
        """Readings are committed at their pace, and with whatever event comes after them."""
        with Archive(tmp_path) as archive:
            recorder = started(archive, commit_interval_s=10.0)
            recorder.readings(9 * S, poll(9 * S))
            assert (recorder.committed, recorder.last_commit_t) == (1, 0)
            recorder.readings(10 * S, poll(10 * S))
            assert (recorder.committed, recorder.last_commit_t) == (5, 10 * S)
            recorder.readings(11 * S, poll(11 * S))
            number = recorder.event(12 * S, "intent", {"output": "lv_contactor"})
            assert number == recorder.committed == 8
            assert recorder.last_commit_t == 12 * S
            assert len(list(archive.readings(1))) == 9
            recorder.close()

    def test_a_state_is_committed_at_once(self, tmp_path: Path) -> None:
        """Whoever reads the archive sees the state that the run is in."""
        with Archive(tmp_path) as archive, contextlib.closing(started(archive)) as recorder:
            recorder.state("stopping")
            assert archive.run(1).state == "stopping"

    def test_what_a_locked_archive_could_not_take_comes_later(self, tmp_path: Path) -> None:
        """A failed commit is said, seen by its age, and loses nothing once the way is free."""
        with Archive(tmp_path) as archive:
            recorder = started(archive, commit_interval_s=1.0)
            with contextlib.closing(sqlite3.connect(tmp_path / FILE)) as other:
                other.execute("BEGIN IMMEDIATE")
                recorder.readings(2 * S, poll(2 * S))
                assert recorder.last_commit_t == 0
                with pytest.raises(ArchiveError, match="another program holds it locked"):
                    recorder.event(3 * S, "note", {"words": "kept"})
                assert (recorder.committed, recorder.last_commit_t) == (1, 0)
            recorder.readings(4 * S, poll(4 * S))
            assert (recorder.committed, recorder.last_commit_t) == (6, 4 * S)
            recorder.end("complete", "complete", None, None)
            assert [e.kind for e in archive.events(1)] == ["run.started", "note", "run.sealed"]
            assert archive.verify(1).whole

    def test_an_end_that_could_not_be_written_may_be_repeated(self, tmp_path: Path) -> None:
        """Ending twice seals once."""
        with Archive(tmp_path) as archive:
            recorder = started(archive)
            with contextlib.closing(sqlite3.connect(tmp_path / FILE)) as other:
                other.execute("BEGIN IMMEDIATE")
                with pytest.raises(ArchiveError):
                    recorder.end("complete", "complete", "within", None)
            recorder.end("complete", "complete", "within", None)
            assert archive.verify(1) == archive.verify(1)
            assert archive.verify(1).whole
            assert archive.verify(1).events == 2

    def test_a_full_disk_is_one_line(self, tmp_path: Path) -> None:
        """SQLite's page limit stands for a disk without room."""
        with Archive(tmp_path) as archive, contextlib.closing(started(archive)) as recorder:
            recorder._db.execute("PRAGMA max_page_count = 1")
            with pytest.raises(ArchiveError, match=r"archive\.sqlite: the disk is full$"):
                recorder.event(S, "note", {"words": "x" * 100_000})


class TestHashes:
    def test_same_record_same_hashes_in_another_folder(self, tmp_path: Path) -> None:
        """Neither path nor run number is in the hashes."""
        recorded(tmp_path / "a").close()
        with recorded(tmp_path / "a") as a, recorded(tmp_path / "b") as b:
            second, first = a.verify(2), b.verify(1)
            assert second.whole
            assert second == first

    def test_the_recorder_knows_the_hashes_that_verifying_finds(self, tmp_path: Path) -> None:
        """The hashes a run reports are the ones its archive gives."""
        with Archive(tmp_path) as archive:
            recorder = started(archive)
            recorder.readings(S, poll(S))
            recorder.end("complete", "complete", None, None)
            found = archive.verify(1)
            assert recorder.events_sha256 == found.events_sha256
            assert recorder.readings_sha256 == found.readings_sha256
            assert archive.run(1).readings_sha256 == found.readings_sha256

    def test_readings_are_hashed_decoded(self, tmp_path: Path) -> None:
        """Names, times, values, qualities, reasons and order count; each alone changes the hash."""
        names = {"m": ("u",)}
        base = Reading("u", 2, 1, 3.0)
        variants = [
            [base],
            [base._replace(t=3)],
            [base._replace(began=0)],
            [base._replace(value=3.0000000001)],
            [base._replace(value=-0.0)],
            [base._replace(value=0.0)],
            [base._replace(quality=Quality.UNCERTAIN)],
            [base._replace(reason="noisy")],
            [base, base],
        ]
        hashes = set()
        for i, readings in enumerate(variants):
            with Archive(tmp_path / str(i)) as archive:
                recorder = archive.start_run("p", "s", 1, {}, names, {})
                recorder.readings(S, [("m", (reading,)) for reading in readings])
                recorder.end("complete", "complete", None, None)
                hashes.add(archive.verify(1).readings_sha256)
        assert len(hashes) == len(variants)
        assert ReadingsHash({"m": ("v",)}).hexdigest() != ReadingsHash(names).hexdigest()

    def test_json_has_one_spelling_and_never_nan(self) -> None:
        """Order of keys doesn't matter, and what is no number is said in words."""
        assert canonical({"b": [1.5, "°"], "a": None}) == canonical({"a": None, "b": (1.5, "°")})
        assert (
            canonical({"a": [float("nan"), {"b": float("-inf")}]}) == '{"a":["nan",{"b":"-inf"}]}'
        )
        with pytest.raises(TypeError):
            canonical({"a": object()})


class TestTampering:
    @pytest.mark.parametrize(
        ("statement", "words"),
        [
            ("UPDATE event SET t = t + 1 WHERE sequence = 2", "event 2 (stage) is not"),
            ("UPDATE event SET kind = 'note' WHERE sequence = 2", "event 2 (note) is not"),
            ("UPDATE event SET facts = '{}' WHERE sequence = 2", "event 2 (stage) is not"),
            ("UPDATE event SET hash = 'x' WHERE sequence = 2", "event 3 doesn't follow"),
            ("UPDATE event SET previous = '' WHERE sequence = 2", "event 2 doesn't follow"),
            ("DELETE FROM event WHERE sequence = 1", "event 1 is missing"),
            ("DELETE FROM event WHERE sequence = 2", "event 2 is missing"),
            ("DELETE FROM event WHERE sequence = 4", "the end of the chain is missing"),
            ("UPDATE poll SET t = t + 1 WHERE poll = 1", "the readings are not"),
            ("UPDATE poll SET began = 0 WHERE poll = 1", "the readings are not"),
            ("UPDATE poll SET value = zeroblob(16) WHERE poll = 1", "the readings are not"),
            ("UPDATE poll SET quality = x'0001' WHERE poll = 1", "the readings are not"),
            ("UPDATE poll SET reason = NULL WHERE poll = 5", "the readings are not"),
            ("DELETE FROM poll WHERE poll = 10", "the number of polls is not"),
            ("UPDATE channel SET name = 'x' WHERE name = 'guard'", "the readings are not"),
            ("UPDATE run SET state = 'stopped'", "the run's state is not"),
            ("UPDATE run SET verdict = 'outside'", "the verdict is not"),
            ("UPDATE run SET result = '{}'", "the result is not"),
            ("UPDATE run SET seed = 2", "the run's seed is not"),
            ("UPDATE file SET text = 'scan_period_s = 9'", "the configuration is not"),
        ],
    )
    def test_whatever_is_altered_is_found(self, tmp_path: Path, statement: str, words: str) -> None:
        """No event, reading or result can be changed without the record saying so."""
        with recorded(tmp_path) as archive:
            assert archive.verify(1).whole
        alter(tmp_path, statement)
        with Archive(tmp_path, read_only=True) as archive:
            assert any(words in fault for fault in archive.verify(1).faults)

    def test_a_run_that_goes_on_has_a_chain_already(self, tmp_path: Path) -> None:
        """A run without an end can be verified as far as it has come."""
        with Archive(tmp_path) as archive, contextlib.closing(started(archive)):
            found = archive.verify(1)
            assert (found.whole, found.events, found.polls) == (True, 1, 0)


class TestFilesOfOthers:
    def test_another_schema_version_is_refused_untouched(self, tmp_path: Path) -> None:
        """A file of a later version says which, and stays byte for byte as it was."""
        recorded(tmp_path).close()
        with contextlib.closing(sqlite3.connect(tmp_path / FILE)) as db:
            db.execute("PRAGMA journal_mode = DELETE")
            db.execute(f"PRAGMA user_version = {VERSION + 1}")
        before = (tmp_path / FILE).read_bytes()
        for read_only in (False, True):
            with pytest.raises(ArchiveError, match=f"version {VERSION + 1}, this program reads"):
                Archive(tmp_path, read_only=read_only)
        assert (tmp_path / FILE).read_bytes() == before
        assert [f.name for f in tmp_path.iterdir()] == [FILE]

    def test_an_sqlite_file_of_another_program_is_refused_untouched(self, tmp_path: Path) -> None:
        """Tables of another program are never added to."""
        with contextlib.closing(sqlite3.connect(tmp_path / FILE)) as db:
            db.execute("CREATE TABLE theirs (x)")
        before = (tmp_path / FILE).read_bytes()
        with pytest.raises(ArchiveError, match="not an archive of this program"):
            Archive(tmp_path)
        assert (tmp_path / FILE).read_bytes() == before

    @pytest.mark.parametrize("content", [b"text", b"\0" * 4096])
    def test_a_file_that_is_no_sqlite_is_refused(self, tmp_path: Path, content: bytes) -> None:
        """Any other file is left as it is."""
        (tmp_path / FILE).write_bytes(content)
        with pytest.raises(ArchiveError, match="not an archive of this program"):
            Archive(tmp_path)
        assert (tmp_path / FILE).read_bytes() == content

    def test_a_directory_in_the_archives_place(self, tmp_path: Path) -> None:
        """A directory is no archive."""
        (tmp_path / FILE).mkdir()
        with pytest.raises(ArchiveError, match="not a file"):
            Archive(tmp_path)

    def test_a_file_in_the_folders_place(self, tmp_path: Path) -> None:
        """A folder that can't be made is one line."""
        (tmp_path / "runs").write_text("a file")
        with pytest.raises(ArchiveError, match="its folder is a file"):
            Archive(tmp_path / "runs")

    def test_a_damaged_archive_is_one_line(self, tmp_path: Path) -> None:
        """Pages that make no sense come out as an archive error."""
        recorded(tmp_path).close()
        with (tmp_path / FILE).open("r+b") as file:
            file.seek(100)
            file.write(b"\xff" * 8000)
        with pytest.raises(ArchiveError, match=r"^[^\n]*archive\.sqlite: [^\n]*$"):
            Archive(tmp_path).runs()

    def test_reading_only_makes_nothing(self, tmp_path: Path) -> None:
        """Looking for runs where there are none leaves no file behind."""
        with pytest.raises(ArchiveError, match="no archive here yet"):
            Archive(tmp_path / "runs", read_only=True)
        assert list(tmp_path.iterdir()) == []

    def test_an_empty_file_becomes_an_archive(self, tmp_path: Path) -> None:
        """A creation cut short before its first byte is made good."""
        (tmp_path / FILE).touch()
        with recorded(tmp_path) as archive:
            assert archive.verify(1).whole

    def test_looking_changes_nothing(self, tmp_path: Path) -> None:
        """Whoever opens an archive to look can't write, and leaves the folder as it was."""
        recorded(tmp_path).close()
        before = (tmp_path / FILE).read_bytes()
        with Archive(tmp_path, read_only=True) as archive:
            assert archive.verify(1).whole
            with pytest.raises(ArchiveError, match="read-only"):
                started(archive)
        assert (tmp_path / FILE).read_bytes() == before
        assert [f.name for f in tmp_path.iterdir()] == [FILE]

    def test_looking_needs_no_room_for_side_files(self, tmp_path: Path) -> None:
        """A finished archive is read where SQLite's side files can't be made.

        A directory that has the name of one stands for a medium that can't be written.
        """
        recorded(tmp_path).close()
        (tmp_path / f"{FILE}-shm").mkdir()
        with Archive(tmp_path, read_only=True) as archive:
            assert archive.verify(1).whole
