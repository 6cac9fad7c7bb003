"""The command line: exit codes, one object of JSON, one line for whatever is wrong, quick help."""

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from acquire.archive import Archive
from acquire.commands import app
from acquire.outcome import RunOutcome
from tests.acquire.canned import ENDED, EVENTS, FINDING, OUTCOME, RESULT, canned_run
from tests.acquire.test_archive import alter

HEAVY = (
    "numpy",
    "uncertainties",
    "matplotlib",
    "pyvisa",
    "scipy",
    "pydantic",
    "structlog",
    "sqlite3",
)


def run(*arguments: object) -> Result:
    """Run the program in this process."""
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def refused(*arguments: object) -> str:
    """Return the one line with which a command is refused."""
    result = run(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("twinload: ")
    assert result.stderr.count("\n") == 1
    return result.stderr


@pytest.fixture(name="asked")
def _asked(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Put a canned rehearsal in place of the real one, and return what it was asked for."""
    asked: dict[str, Any] = {"outcome": OUTCOME}

    def rehearse(scenario: Any, **options: Any) -> RunOutcome:
        asked.update(options, scenario=scenario)
        for t, kind, facts in EVENTS:
            options["observer"](t, kind, facts)
        outcome: RunOutcome = asked["outcome"]
        return outcome

    monkeypatch.setattr("acquire.actions.rehearse", rehearse)
    return asked


@pytest.fixture(name="out")
def _out(tmp_path: Path) -> Path:
    """Return a folder with the canned runs in its archive."""
    canned_run(tmp_path / "runs")
    return tmp_path / "runs"


class TestRehearse:
    def test_defaults(self, asked: dict[str, Any]) -> None:
        """Without a word it is the shipped pair, wired rightly, seed 1, into ./runs."""
        result = run("rehearse")
        assert result.exit_code == 0
        assert asked["scenario"].name == "distribution_pair"
        assert (asked["seed"], asked["connection"], asked["voltmeter"], asked["out"]) == (
            1,
            "opposition",
            "live",
            Path("runs"),
        )
        assert "Results of the pair's mean" in result.stdout

    def test_options_reach_the_rehearsal(self, asked: dict[str, Any]) -> None:
        """Each option is what it says."""
        run("rehearse", "--seed", 7, "--connection", "open-lv-lead", "--voltmeter", "dead",
            "--out", "x", "--schedule", "loss_test")  # fmt: skip
        assert (asked["seed"], asked["connection"], asked["voltmeter"], asked["out"]) == (
            7,
            "open-lv-lead",
            "dead",
            Path("x"),
        )

    def test_a_folder_is_a_scenario(self, asked: dict[str, Any], folder: Path) -> None:
        """A scenario needn't be shipped."""
        run("rehearse", folder)
        assert asked["scenario"].folder == folder

    def test_json_is_one_object_and_nothing_else(self, asked: dict[str, Any]) -> None:
        """What is on the standard output parses whole and has the promised keys."""
        result = run("rehearse", "--json")
        assert result.stderr == ""
        assert json.loads(result.stdout) == {
            "state": "complete",
            "run": 3,
            "archive": "runs/archive.sqlite",
            "attempts": 2,
            "verdict": "within",
            "stage": "no_load_readings",
            "finding": FINDING,
            "result": RESULT,
            "readings_sha256": "a" * 64,
            "events_sha256": "b" * 64,
            "faults_never_begun": [],
        }
        assert asked["seed"] == 1

    @pytest.mark.parametrize(
        ("changes", "code"),
        [
            ({}, 0),
            ({"verdict": "outside"}, 4),
            ({"verdict": None}, 4),
            ({"state": "stopped", "end": "stopped", "verdict": None, "result": None}, 3),
            ({"state": "aborted", "end": "aborted", "verdict": None, "result": None}, 3),
        ],
    )
    def test_exit_codes(self, asked: dict[str, Any], changes: dict[str, Any], code: int) -> None:
        """Only a complete run within its limits is success."""
        asked["outcome"] = replace(OUTCOME, **changes)
        assert run("rehearse").exit_code == code
        assert run("rehearse", "--json").exit_code == code

    def test_an_interrupted_run_leaves_no_trace(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Ctrl-C is one line and the code of a stopped run."""

        def rehearse(*_: Any, **__: Any) -> None:
            raise KeyboardInterrupt

        monkeypatch.setattr("acquire.actions.rehearse", rehearse)
        result = run("rehearse")
        assert (result.exit_code, result.stderr.count("\n")) == (3, 1)
        assert "interrupted" in result.stderr


class TestRefusals:
    @pytest.mark.parametrize(
        ("arguments", "words"),
        [
            ((), "Missing command"),
            (("begin",), "No such command 'begin'"),
            (("--bad",), "--bad"),
            (("rehearse", "--seed", "x"), "--seed"),
            (("rehearse", "--seed", "-1"), "--seed"),
            (("rehearse", "--connection", "sideways"), "'opposition', 'aiding'"),
            (("rehearse", "--voltmeter", "broken"), "'live', 'dead'"),
            (("rehearse", "no_such"), "distribution_pair"),
            (("rehearse", "a", "b"), "b"),
            (("rehearse", "--schedule", "soak"), "loss_test"),
            (("show", "x"), "run"),
            (("show", "0"), "run"),
            (("show",), "run"),
            (("show", "9" * 30), "run"),
        ],
    )
    def test_what_cannot_be_meant(self, arguments: tuple[str, ...], words: str) -> None:
        """A wrong command, option or value is one line and code 2."""
        assert words in refused(*arguments)

    def test_a_folder_that_cannot_be_one(self, tmp_path: Path) -> None:
        """A file in the archive's way is said before anything runs."""
        (tmp_path / "file").write_text("")
        assert "a file" in refused("rehearse", "--out", tmp_path / "file")

    def test_a_broken_scenario(self, folder: Path) -> None:
        """File, key and expectation come through to the terminal."""
        (folder / "pair.toml").write_text("name = 3\n")
        assert "pair.toml:1: name = 3: expected a valid string" in refused("rehearse", folder)

    def test_runs_where_there_are_none(self, tmp_path: Path) -> None:
        """An archive that isn't there isn't made."""
        assert "no archive here yet" in refused("runs", "--out", tmp_path / "none")
        assert "no archive here yet" in refused("show", 1, "--out", tmp_path / "none")
        assert list(tmp_path.iterdir()) == []

    def test_a_run_that_is_not_there(self, out: Path) -> None:
        """The number of runs is said."""
        assert "no run 9 among its 2" in refused("show", 9, "--out", out)


class TestStored:
    def test_runs_lists_state_and_verdict(self, out: Path) -> None:
        """A run whose process is gone is told from one that goes on."""
        told = run("runs", "--out", out).stdout
        assert "loss_test: complete, within limits" in told
        assert "loss_test: running, its process is gone" in told

    def test_runs_as_json(self, out: Path) -> None:
        """The same for a program."""
        found = json.loads(run("runs", "--out", out, "--json").stdout)
        assert [(r["run"], r["state"], r["verdict"]) for r in found["runs"]] == [
            (1, "complete", "within"),
            (2, "running", None),
        ]

    def test_show_tells_the_run_again(self, out: Path) -> None:
        """Events, results and the state of the record are what they were."""
        result = run("show", 1, "--out", out)
        assert result.exit_code == 0
        assert " 1:02:03  no load readings" in result.stdout
        assert "P0 no-load loss" in result.stdout
        assert "The record is whole: 23 events in one chain, 44 polls" in result.stdout

    def test_show_as_json_has_what_rehearse_said_and_the_events(self, out: Path) -> None:
        """A stored run reads as it ended."""
        found = json.loads(run("show", 1, "--out", out, "--json").stdout)
        assert (found["attempts"], found["stage"], found["finding"], found["result"]) == (
            2,
            "no_load_readings",
            FINDING,
            RESULT,
        )
        assert found["whole"] is True
        assert found["events"][-2] == {"t": 3724 * 10**9, "kind": "run.ended", "facts": ENDED}

    def test_show_finds_a_record_that_was_altered(self, out: Path) -> None:
        """It says what, and the code is that of something found wrong."""
        alter(out, "UPDATE run SET verdict = 'outside' WHERE run = 1")
        result = run("show", 1, "--out", out)
        assert result.exit_code == 4
        assert "THE RECORD IS NOT WHOLE: the verdict is not what the seal says" in result.stdout

    def test_a_run_that_never_ended_is_shown(self, out: Path) -> None:
        """What there is of it is printed."""
        assert "Run 2: running" in run("show", 2, "--out", out).stdout

    def test_looking_ends_no_run(self, out: Path) -> None:
        """Only the next start ends a run whose process is gone."""
        run("runs", "--out", out)
        run("show", 2, "--out", out)
        with Archive(out) as archive:
            assert archive.run(2).end is None


def program(*arguments: str, code: str = "app()", **options: Any) -> Any:
    """Run the program as a process of its own."""
    start = f"import sys; from acquire.commands import app; {code}"
    return subprocess.run(
        [sys.executable, "-c", start, *arguments],
        stdout=options.get("stdout", subprocess.PIPE),
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)} | options.get("env", {}),
    )


class TestProcess:
    @pytest.mark.parametrize(
        "command", [(), ("rehearse",), ("reduce",), ("supplies",), ("runs",), ("show",)]
    )
    def test_help_loads_nothing_heavy(self, command: tuple[str, ...]) -> None:
        """Help comes at once since what commands need is imported by them."""
        code = (
            "import atexit, json; atexit.register(lambda: print('\\n' + json.dumps("
            f"[m for m in {HEAVY} if m in sys.modules]))); app()"
        )
        result = program(*command, "--help", code=code)
        assert result.returncode == 0
        assert "--help" in result.stdout
        assert json.loads(result.stdout.splitlines()[-1]) == []

    def test_a_terminal_of_few_characters_is_no_error(self, out: Path) -> None:
        """Signs that it can't show become question marks."""
        result = program("show", "1", "--out", str(out), env={"PYTHONIOENCODING": "ascii"})
        assert (result.returncode, result.stderr) == (0, "")
        assert "cos ?0" in result.stdout

    def test_json_into_a_closed_pipe_leaves_no_trace(self, out: Path) -> None:
        """A reader that goes away gets nothing, and nobody else does either."""
        reader, writer = os.pipe()
        os.close(reader)
        result = program("show", "1", "--out", str(out), "--json", stdout=writer)
        os.close(writer)
        assert (result.returncode, result.stderr) == (0, "")
