"""The report tells a run so that a practitioner follows it, and judges each result in one table."""

import io
import os
import subprocess
import sys
from dataclasses import replace
from typing import Any, Literal

import pytest
from rich.console import Console

from acquire.report import CAUTIONS, MAY_BE_LIVE, Report, stand_time
from acquire.results_table import number, results_table
from acquire.terminal import Terminal
from sequences.prompt import OPERATOR_ABORT, OPERATOR_HOLD, OPERATOR_STOP
from tests.acquire.canned import EVENTS, FINDING, OUTCOME, RESULT, TRIP, S


def told(
    *events: tuple[int, str, dict[str, Any]], width: int = 80, colour: bool = False
) -> list[str]:
    """Return the lines that a report makes of some events."""
    out = io.StringIO()
    system: Literal["standard"] | None = "standard" if colour else None
    console = Console(file=out, width=width, force_terminal=colour, color_system=system)
    report = Report(console)
    for second, kind, facts in events:
        report.event(second * S, kind, facts)
    report._moved()
    return out.getvalue().splitlines()


def closing(**changes: Any) -> str:
    """Return what a report says at the end of the canned run, changed."""
    out = io.StringIO()
    Report(Console(file=out, width=80)).result(replace(OUTCOME, **changes))
    return out.getvalue()


class TestEvents:
    def test_stages_pass_with_stand_time(self) -> None:
        """A stage is a line of its own with hours, minutes and seconds."""
        lines = told(*EVENTS)
        assert any(line.startswith(" 1:02:03  no load readings ──") for line in lines)
        assert stand_time(43_200 * S) == "12:00:00"

    def test_a_prompt_has_all_its_parts_and_a_marked_answer(self) -> None:
        """What was seen, what is asked, of whom, what follows; and that nobody was asked."""
        text = " ".join(" ".join(told(*EVENTS)).split())
        assert "Do both tap changers stand on the same position?" in text
        assert "seen: both contactors open; asked of the person who wired the stand;" in text
        assert "then: the secondaries are taken to cancel" in text
        assert "answer yes [REHEARSED, nobody was asked]" in text

    def test_an_answer_of_a_person_names_them(self) -> None:
        """Only a rehearsed answer is marked as one."""
        facts = {"prompt": "p", "by": "A. Wirer", "source": "terminal", "value": False}
        assert told((0, "answer", facts)) == [" 0:00:00  answer     no, by A. Wirer (terminal)"]

    @pytest.mark.parametrize(
        ("prompt", "by", "source", "line"),
        [
            (OPERATOR_STOP, "", "the terminal was lost", "stop       the terminal was lost"),
            (OPERATOR_ABORT, "", "SIGINT came (Ctrl-C)", "open all   SIGINT came (Ctrl-C)"),
            (OPERATOR_HOLD, "Ada", "terminal", "hold       asked at the terminal by Ada"),
        ],
    )
    def test_what_nobody_was_asked_for_is_no_answer(
        self, prompt: str, by: str, source: str, line: str
    ) -> None:
        """Who asked for it by name, or what came; never a yes that nobody said."""
        facts = {"prompt": prompt, "by": by, "source": source, "value": True}
        assert told((0, "answer", facts)) == [f" 0:00:00  {line}"]

    def test_a_ramp_is_one_line(self) -> None:
        """Moves of one regulator are put together until something else happens."""
        moves = [line for line in told(*EVENTS) if "of travel" in line]
        assert [line[21:] for line in moves] == [
            "LV regulator to 50.00 % of travel, in 2 moves",
            "loop regulator to 12.50 % of travel",
        ]

    def test_evidence_has_its_values_with_units(self) -> None:
        """A value's unit is taken from its name."""
        assert any("the loop is closed; impedance 34.331 Ω" in line for line in told(*EVENTS))

    def test_a_finding_says_what_was_seen_and_what_to_check(self) -> None:
        """Both are on the terminal, under the finding's name."""
        lines = told((0, "finding", FINDING))
        assert lines[0].endswith("aiding: closing drove 50 % of rated")
        assert lines[1].endswith("check: one secondary")

    def test_no_kind_of_event_is_lost(self) -> None:
        """What the report doesn't know it prints all the same."""
        assert told((0, "new.kind", {"a": 1, "b": "c"})) == [" 0:00:00  new.kind   a 1; b c"]

    @pytest.mark.parametrize("width", [40, 80, 200])
    def test_no_line_is_wider_than_the_terminal(self, width: int) -> None:
        """Words wrap under themselves."""
        assert max(len(line) for line in told(*EVENTS, width=width)) <= width

    def test_text_is_never_taken_for_markup(self) -> None:
        """Brackets in what an instrument said are printed as they are."""
        facts = {"instrument": "m", "asked": "[bold]", "came_back": "[/red]"}
        assert "asked '[bold]', [/red]" in told((0, "fault", facts))[0]

    @pytest.mark.parametrize(
        ("kind", "facts", "colour"),
        [
            ("trip", TRIP, "31"),
            ("state", {"state": "aborting"}, "31"),
            ("run.ended", {"state": "aborted", "verdict": None, "may_be_live": True}, "31"),
            ("finding", FINDING, "33"),
            ("fault", {"instrument": "m", "asked": "?", "came_back": "nothing"}, "33"),
            ("permissive.met", {"output": "lv_contactor", "name": "guard shut"}, "32"),
            ("prompt", dict(EVENTS[3][2]), "34"),
        ],
    )
    def test_colours_mean_what_iec_60073_says(
        self, kind: str, facts: dict[str, Any], colour: str
    ) -> None:
        """Red is emergency, yellow abnormal, green normal, blue an action that is due."""
        text = "\n".join(told((0, kind, facts), colour=True))
        assert f"{colour}m" in text

    def test_nothing_is_coloured_in_a_pipe(self) -> None:
        """A file gets words only."""
        out = io.StringIO()
        report = Report(Terminal(file=out))
        for second, kind, facts in EVENTS:
            report.event(second * S, kind, facts)
        report.result(OUTCOME)
        assert "\x1b" not in out.getvalue()


class TestResults:
    def test_each_judged_quantity_stands_beside_guarantee_and_limit(self) -> None:
        """Value, guarantee, limit and verdict are on one line."""
        rows = [" ".join(line.split()) for line in closing().splitlines()]
        assert "P0 no-load loss 318.2 W 320 ≤ 368 within" in rows
        assert "P_k load loss 2100 W 1750 ≤ 2012.5 OUTSIDE" in rows
        assert "u_k impedance 3.994 % 4 3.6…4.4 within" in rows

    @pytest.mark.parametrize(
        "row",
        [
            "by the plain split 301.2 W",
            "by the plain split 1527 W",
            "in prove, 20.9 °C 1508 W",
            "in prove, 20.9 °C 16.97 Ω",
            "at rated voltage alone 17.20 Ω",
            "R0 core-loss resistance 498.9 Ω",
            "X_m magnetising reactance 92.50 Ω",
            "R_e equivalent resistance 6.565 Ω",
            "X_e equivalent reactance 15.65 Ω",
            "d ratio mismatch 0.06050 %",
            "load 0.5, cos φ 0.8 lag 98.14 %",
            "load 0.5, cos φ 1 0.8889 %",
        ],
    )
    def test_every_result_is_in_the_one_table(self, row: str) -> None:
        """Balance and split, cold and rated, circuit, performance and mismatch."""
        assert row in [" ".join(line.split()) for line in closing().splitlines()]

    def test_the_table_fits_a_narrow_terminal(self) -> None:
        """Eighty columns hold it."""
        out = io.StringIO()
        Console(file=out, width=80).print(results_table(RESULT))
        assert max(len(line.rstrip()) for line in out.getvalue().splitlines()) <= 80

    def test_a_result_without_prove_or_limits_is_shown(self) -> None:
        """What is missing is left out."""
        bare = {key: value for key, value in RESULT.items() if key != "limits"} | {"prove": None}
        text = closing(result=bare)
        assert "in prove" not in text
        assert "within limits" in text

    @pytest.mark.parametrize(
        ("value", "text"),
        [
            (0.0, "0"),
            (1750.0, "1750"),
            (2012.5, "2012.5"),
            (1234567.0, "1234567"),
            (-0.00012345678, "-0.00012346"),
        ],
    )
    def test_a_number_has_no_exponent(self, value: float, text: str) -> None:
        """A reader of a table needn't count powers of ten."""
        assert number(value) == text


class TestEnding:
    def test_the_end_names_archive_and_cautions(self) -> None:
        """Where the record lies, and that this is no safety device."""
        text = " ".join(closing().split())
        assert "Archive: runs/archive.sqlite" in text
        assert "Verdict: within limits" in text
        for caution in CAUTIONS:
            assert caution in text

    def test_a_stopped_run_says_what_was_found(self) -> None:
        """There is no table, but the finding and what to check."""
        text = closing(state="stopped", end="stopped", verdict=None, result=None)
        assert "Found: aiding: closing drove 50 % of rated" in text
        assert "Check: one secondary" in text
        assert "Quantity" not in text

    def test_no_verdict_is_said(self) -> None:
        """A result that isn't judged doesn't pass silently."""
        assert "No verdict" in closing(verdict=None)

    def test_a_stand_that_may_be_live_is_said_last_and_loudest(self) -> None:
        """Whoever reads only the end reads that."""
        assert MAY_BE_LIVE in " ".join(closing(state="aborted", may_be_live=True).split())


TELL = """
from acquire.report import Report
from acquire.terminal import Terminal
from sequences.prompt import OPERATOR_ABORT, OPERATOR_HOLD, OPERATOR_STOP
from tests.acquire.canned import EVENTS, OUTCOME
report = Report(Terminal())
for i in range(3):
    for t, kind, facts in EVENTS:
        report.event(t, kind, facts)
report.result(OUTCOME)
open(__import__("sys").argv[1], "w").write("came to the end")
"""


def test_a_reader_that_goes_away_stops_no_run(tmp_path: Any) -> None:
    """With its output closed the program goes on to its end, without a trace."""
    process = subprocess.Popen(
        [sys.executable, "-c", TELL, str(tmp_path / "end")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert process.stdout is not None
    process.stdout.close()
    assert process.stderr is not None
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait() == 0
    assert (tmp_path / "end").read_text() == "came to the end"
