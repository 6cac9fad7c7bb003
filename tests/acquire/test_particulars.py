"""What tells one run of an archive from another, by nothing but what the archive holds."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from acquire.archive import Archive
from acquire.commands import app
from acquire.configuration import load_scenario
from acquire.particulars import particulars

SERVED = load_scenario("distribution_pair", "loss_test").files
AWAY = SERVED | {"stand.toml": SERVED["stand.toml"].replace("127.0.0.1", "192.0.2.1", 1)}
ANCHORS = [(0, "2026-03-01T23:59:58.123+00:00"), (10**9, "2026-03-02T01:00:00.000+00:00")]


def run_of(
    folder: Path, files: dict[str, str], seed: int | None, speed: float | None, schedule: str = "s"
) -> int:
    """Record a run that has begun, and return its number."""
    with Archive(folder) as archive:
        header = {"host": "bench", "anchors": ANCHORS}
        recorder = archive.start_run("loss_test", schedule, seed, files, {}, header)
        if speed is not None or seed is not None:
            facts = {"procedure": "loss_test", "schedule": schedule}
            recorder.event(0, "run.started", facts | ({} if speed is None else {"speed": speed}))
        recorder.end("stopped", "stopped", None, None)
        return recorder.run


@pytest.mark.parametrize(
    ("files", "seed", "speed", "reached"),
    [
        (SERVED, 7, None, "rehearsed with seed 7"),
        (AWAY, 0, None, "rehearsed with seed 0"),
        (SERVED, None, 10.0, "over wires within the computer, at speed 10"),
        (SERVED, None, 1.0, "over wires within the computer, in real time"),
        (AWAY, None, 1.0, "over wires, in real time"),
        (SERVED, None, None, "not begun"),
    ],
)
def test_how_a_stand_was_reached(
    tmp_path: Path, files: dict[str, str], seed: int | None, speed: float | None, reached: str
) -> None:
    """A rehearsal has a seed; of wires the record knows where they led and how fast time ran."""
    run = run_of(tmp_path, files, seed, speed)
    with Archive(tmp_path, read_only=True) as archive:
        found = particulars(archive, run)
    assert found.reached == f"simulated stand, single-phase, {reached}"
    assert found.begun == "2026-03-01 23:59:58 UTC"
    assert found.units == "distribution pair, 100 kVA: INVENTED-A, INVENTED-B"


@pytest.mark.parametrize("text", ["", "name =", "resource = 3"])
def test_what_the_archive_has_not_is_said_not_to_be_known(tmp_path: Path, text: str) -> None:
    """A text that was altered takes no run from the list: what is wrong is told by `show`."""
    with Archive(tmp_path) as archive:
        files = {"stand.toml": text, "pair.toml": text}
        recorder = archive.start_run("loss_test", "s", None, files, {}, {})
        recorder.event(0, "run.started", {"speed": 1.0})
        recorder.close()
        found = particulars(archive, 1)
    assert (found.begun, found.units) == ("at an unknown time", "pair not known")
    assert found.reached == "stand not known, over wires, in real time"


def told(*words: str, columns: int = 80) -> str:
    """Return what a command says on a terminal of so many columns."""
    result = CliRunner().invoke(app, words, env={"COLUMNS": str(columns)})
    assert result.exit_code == 0
    return result.stdout


def test_a_terminal_of_eighty_columns_breaks_nothing(tmp_path: Path) -> None:
    """Each of the three lines that tell a run fits."""
    run_of(tmp_path, SERVED, 7, None, "loss_test")
    run_of(tmp_path, SERVED, None, 10.0, "short")
    assert [line.rstrip() for line in told("runs", "--out", str(tmp_path)).splitlines()] == [
        "1  2026-03-01 23:59:58 UTC  loss_test: stopped",
        "   distribution pair, 100 kVA: INVENTED-A, INVENTED-B",
        "   simulated stand, single-phase, rehearsed with seed 7",
        "2  2026-03-01 23:59:58 UTC  loss_test by short: stopped",
        "   distribution pair, 100 kVA: INVENTED-A, INVENTED-B",
        "   simulated stand, single-phase, over wires within the computer, at speed 10",
    ]


def test_a_program_is_told_the_same(tmp_path: Path) -> None:
    """`runs` and `show` as JSON have the facts and not the words."""
    run_of(tmp_path, AWAY, None, 1.0)
    expected = {
        "begun_utc": ANCHORS[0][1],
        "host": "bench",
        "pair": "distribution pair, 100 kVA",
        "serials": ["INVENTED-A", "INVENTED-B"],
        "stand": "simulated stand, single-phase",
        "seed": None,
        "speed": 1.0,
        "within_computer": False,
    }
    (listed,) = json.loads(told("runs", "--json", "--out", str(tmp_path)))["runs"]
    shown = json.loads(told("show", "1", "--json", "--out", str(tmp_path)))
    assert expected.items() <= listed.items()
    assert expected.items() <= shown.items()


def test_show_begins_with_them(tmp_path: Path) -> None:
    """The first lines say which run it is that is told."""
    run_of(tmp_path, AWAY, None, 1.0)
    assert told("show", "1", "--out", str(tmp_path)).splitlines()[:3] == [
        "Run 1, begun 2026-03-01 23:59:58 UTC",
        "Pair: distribution pair, 100 kVA: INVENTED-A, INVENTED-B",
        "Stand: simulated stand, single-phase, over wires, in real time",
    ]


def test_an_archive_without_runs_says_so(tmp_path: Path) -> None:
    """An empty list isn't mistaken for a command that did nothing."""
    Archive(tmp_path).close()
    assert told("runs", "--out", str(tmp_path)) == "no runs yet\n"
