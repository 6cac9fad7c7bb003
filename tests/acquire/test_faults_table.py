"""The catalogue on the command line: listed, given, refused."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from acquire.commands import app
from acquire.faults import catalogue
from tests.acquire.rehearsing import quick


def run(*arguments: object) -> Result:
    """Run the program in this process."""
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def test_lists_every_fault_with_what_must_be_done() -> None:
    """Name and words of each, on a terminal as narrow as it is."""
    result = run("faults")
    assert result.exit_code == 0
    for name in catalogue(quick()):
        assert f"{name} " in result.stdout


def test_lists_them_as_json() -> None:
    """One object, the same faults in the same order."""
    rows = json.loads(run("faults", "--json").stdout)["faults"]
    assert [row["name"] for row in rows] == list(catalogue(quick()))
    assert all(row["must"] and row["stages"] for row in rows)


@pytest.mark.parametrize("word", ["guard_opened@soak:10", "guard_opened@999999"])
def test_a_fault_that_never_begins_is_said_and_is_no_success(tmp_path: Path, word: str) -> None:
    """A loss test has no soak, and ends sooner: it shows nothing of what the fault would do."""
    arguments = ("rehearse", "--schedule", "loss_test", "--out", tmp_path, "--fault", word)
    result = run(*arguments, "--fault", "contacts_slow@2:1")
    assert result.exit_code == 4
    lines = [line for line in result.stdout.splitlines() if "Never begun" in line]
    assert len(lines) == 1
    assert lines[0].endswith(f": {word}")
    result = run(*arguments, "--json")
    assert result.exit_code == 4
    assert json.loads(result.stdout)["faults_never_begun"] == [word]


def test_a_fault_reaches_the_rehearsal(tmp_path: Path) -> None:
    """Given twice there are two; the run ends by the first."""
    result = run(
        "rehearse", "--json", "--out", tmp_path, "--fault", "contacts_slow@2:3",
        "--fault", "emergency_stop_pressed@9",
    )  # fmt: skip
    assert result.exit_code == 3
    assert json.loads(result.stdout)["finding"]["name"] == "emergency_stop"


def test_an_unknown_fault_is_refused_before_anything_begins(tmp_path: Path) -> None:
    """One line with a hint, exit code 2, no run."""
    result = run("rehearse", "--out", tmp_path, "--fault", "gard_opened")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.count("\n") == 1
    assert "did you mean guard_opened?" in result.stderr
    assert json.loads(run("runs", "--out", tmp_path, "--json").stdout)["runs"] == []


def test_a_crash_is_told_and_the_next_start_ends_its_run(tmp_path: Path) -> None:
    """Exit code 3, a run without an end; afterwards it is aborted."""
    result = run("rehearse", "--json", "--out", tmp_path, "--fault", "crash@9")
    assert result.exit_code == 3
    assert json.loads(result.stdout)["state"] == "crashed"
    run("rehearse", "--json", "--out", tmp_path, "--fault", "emergency_stop_pressed")
    rows = json.loads(run("runs", "--out", tmp_path, "--json").stdout)["runs"]
    assert [row["end"] for row in rows] == ["aborted", "aborted"]
