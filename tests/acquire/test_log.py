"""The log is JSON lines, one an event, each with its run and stage."""

import contextlib
import json
from pathlib import Path
from typing import Any

import pytest

from acquire.database import ArchiveError
from acquire.log import FILE, EventLog


def lines(folder: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (folder / FILE).read_text().splitlines()]


def test_a_line_says_when_what_and_in_which_run(tmp_path: Path) -> None:
    """Stand time, UTC, level, kind and facts are in the line, nothing else."""
    with contextlib.closing(EventLog(tmp_path, 7, utc=lambda: "then")) as log:
        log.event(2_500_000_000, "note", {"words": "all well"})
    assert lines(tmp_path) == [
        {
            "event": "note",
            "facts": {"words": "all well"},
            "level": "info",
            "run": 7,
            "t_s": 2.5,
            "utc": "then",
        }
    ]


def test_the_stage_stays_until_the_next(tmp_path: Path) -> None:
    """Whoever reads one line knows in which stage it happened."""
    with contextlib.closing(EventLog(tmp_path, 1)) as log:
        log.event(0, "run.started", {})
        log.event(0, "stage", {"stage": "prepare"})
        log.event(1, "note", {"words": ""})
        log.event(2, "stage", {"stage": "prove"})
        log.event(3, "trip", {"name": "guard"})
    assert [line.get("stage") for line in lines(tmp_path)] == [
        None,
        "prepare",
        "prepare",
        "prove",
        "prove",
    ]
    assert lines(tmp_path)[-1]["level"] == "error"


def test_runs_follow_each_other_in_one_file(tmp_path: Path) -> None:
    """A new run appends."""
    for run in (1, 2):
        with contextlib.closing(EventLog(tmp_path, run)) as log:
            log.event(0, "note", {"words": "", "level": float("nan")})
    assert [line["run"] for line in lines(tmp_path)] == [1, 2]


def test_a_line_that_cannot_be_written_stops_nothing(tmp_path: Path) -> None:
    """A full disk is the archive's to tell."""
    (tmp_path / FILE).symlink_to("/dev/full")
    log = EventLog(tmp_path, 1)
    log.event(0, "note", {"words": "lost"})
    log.close()


def test_a_log_that_cannot_be_opened_is_one_line(tmp_path: Path) -> None:
    """A directory in its place is said before the run starts."""
    (tmp_path / FILE).mkdir()
    with pytest.raises(ArchiveError, match=r"log\.jsonl: is a directory"):
        EventLog(tmp_path, 1)
