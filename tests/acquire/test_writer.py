"""The archive's writer: what it was told is on the disk in order, and no scan waits for it."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from threading import Event

import pytest

from acquire.archive import Archive
from acquire.database import ArchiveError
from acquire.log import EventLog
from acquire.writer import Writer
from drivers.reading import Reading

POLL = ("meter", (Reading("x", 5, 4, 1.5),))
PATIENCE_S = 30.0


@pytest.fixture(name="archive")
def _archive(tmp_path: Path) -> Iterator[Archive]:
    with Archive(tmp_path) as archive:
        yield archive


def writer_of(archive: Archive) -> Writer:
    recorder = archive.start_run("loss_test", "s", None, {}, {"meter": ["x"]}, {})
    return Writer(recorder, EventLog(archive.folder, recorder.run))


def until_committed(writer: Writer, number: int) -> None:
    for _ in range(3000):
        if writer.committed >= number:
            return
        Event().wait(0.01)
    raise AssertionError(f"{writer.committed} of {number}")


def test_events_and_readings_are_kept_in_the_order_in_which_they_were_told(
    archive: Archive,
) -> None:
    writer = writer_of(archive)
    for i in range(20):
        writer.readings(i, [POLL])
        writer.event(i, "note", {"number": i})
    writer.end("complete", "complete", None, None)
    events = [e.facts.get("number") for e in archive.events(writer.run)]
    assert events == [*range(20), None]
    assert len(list(archive.polls(writer.run))) == 20
    assert archive.verify(writer.run).whole
    assert "note" in (archive.folder / "log.jsonl").read_text()


def test_an_events_number_is_reached_once_it_is_on_the_disk(archive: Archive) -> None:
    writer = writer_of(archive)
    writer.readings(1, [POLL, POLL])
    number = writer.event(1, "intent", {})
    assert number == 3
    until_committed(writer, number)
    assert [e.kind for e in archive.events(writer.run)] == ["intent"]
    writer.close()


def test_a_locked_archive_stops_nobody_and_shows_in_the_age(archive: Archive) -> None:
    writer = writer_of(archive)
    until_committed(writer, writer.event(10, "note", {}))
    lock = sqlite3.connect(archive.path, isolation_level=None)
    lock.execute("BEGIN IMMEDIATE")
    number = writer.event(20, "note", {})
    assert writer.last_commit_t == 10
    assert writer.committed < number
    lock.execute("ROLLBACK")
    lock.close()
    until_committed(writer, writer.event(30, "note", {}))
    writer.end("complete", "complete", None, None)
    assert [e.t for e in archive.events(writer.run)][:3] == [10, 20, 30]
    assert archive.verify(writer.run).whole


def test_an_end_that_cannot_be_written_is_told(archive: Archive) -> None:
    writer = writer_of(archive)
    lock = sqlite3.connect(archive.path, isolation_level=None)
    lock.execute("BEGIN IMMEDIATE")
    with pytest.raises(ArchiveError, match="locked"):
        writer.end("complete", "complete", None, None)
    lock.close()
    writer.close()
    assert archive.abandoned(writer.run)


def test_a_log_that_cannot_be_written_keeps_no_run_from_its_end(archive: Archive) -> None:
    """The archive is the record; the log beside it is a convenience."""
    (archive.folder / "log.jsonl").symlink_to("/dev/full")
    writer = writer_of(archive)
    writer.event(1, "note", {"words": "all well"})
    writer.end("complete", "complete", "within", None)
    writer.close()
    assert archive.run(writer.run).end == "complete"
    assert archive.verify(writer.run).whole


@pytest.mark.parametrize("hangs", ["event", "end"])
def test_a_disk_that_does_not_come_back_is_told_and_left(
    archive: Archive, monkeypatch: pytest.MonkeyPatch, hangs: str
) -> None:
    """Whoever ends the run gets it back, once: neither the end nor the closing waits for ever."""
    monkeypatch.setattr("acquire.writer.PATIENCE_S", 0.2)
    came_back = Event()
    recorder = archive.start_run("loss_test", "s", None, {}, {"meter": ["x"]}, {})
    monkeypatch.setattr(recorder, hangs, lambda *_: came_back.wait(PATIENCE_S))
    writer = Writer(recorder, EventLog(archive.folder, recorder.run))
    writer.event(1, "note", {})
    with pytest.raises(ArchiveError, match=r"archive\.sqlite: the disk has not come back for 0\.2"):
        writer.end("complete", "complete", "within", None)
    waited: list[float] = []
    monkeypatch.setattr(writer._thread, "join", waited.append)
    writer.close()
    assert waited == [0.0]
    assert archive.run(writer.run).end is None
    came_back.set()


def test_a_fault_of_the_program_is_raised_at_the_end(archive: Archive) -> None:
    writer = writer_of(archive)
    writer.readings(1, [("meter", (Reading("y", 5, 4, 1.5),))])
    with pytest.raises(ValueError, match="instead of"):
        writer.end("complete", "complete", None, None)
    writer.close()
