"""A run on the terminal: its events as they come, and at the end its results in one table."""

import textwrap
from collections.abc import Callable, Mapping
from typing import Any

from rich.console import Console
from rich.text import Text

from acquire.heat_lines import Lines, shown
from acquire.heat_table import heat_tables, judged_outside
from acquire.records import Outcome
from acquire.results_table import number, results_table
from acquire.terminal import ABNORMAL, EMERGENCY, MANDATORY, NORMAL, PLAIN, QUIET
from sequences.prompt import OPERATOR_ABORT, OPERATOR_HOLD, OPERATOR_STOP, asked_by

Facts = Mapping[str, Any]

S = 1_000_000_000
INDENT = 21
WIDEST = 110

OUTPUTS = {
    "lv_contactor": "LV contactor",
    "loop_contactor": "loop contactor",
    "resistance_selector": "resistance selector",
    "lv_regulator": "LV regulator",
    "loop_regulator": "loop regulator",
}
UNITS = {"ohm": "Ω", "percent": "%", "v": "V", "a": "A", "w": "W", "s": "s", "c": "°C"}

# What comes as an answer though nobody was asked, and how it is labelled.
UNASKED = {OPERATOR_STOP: "stop", OPERATOR_ABORT: "open all", OPERATOR_HOLD: "hold"}

MAY_BE_LIVE = "THE STAND MAY BE LIVE: an opening was not confirmed. Cut the supplies upstream."

CAUTIONS = (
    "This program is not a safety device. Guard, emergency stop, protection and watchdog are"
    " hardware, designed and inspected under local rules by people licensed to.",
    "A gap that reads zero is not dead, and a zero on a voltmeter proves nothing until the"
    " voltmeter is proven. Discharge and earth before touching.",
)
REHEARSED = (
    "This was a rehearsal on a simulated stand, which scans once a second where its file says so,"
    " to be quick; a real stand is scanned at least five times a second.",
)


class Report:
    """Follows a run event by event and closes with its results."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._moves: tuple[int, str, int, float] | None = None
        self._shown_time = ""
        self._rehearsed = True

    def event(self, t: int, kind: str, facts: Facts) -> None:
        """Show an event of stand time `t` (ns)."""
        if kind == "command" and facts["action"] == "move":
            self._move(t, facts)
            return
        self._moved()
        if kind == "run.started":
            self._rehearsed = facts.get("seed") is not None
        if kind == "shows":
            lines = shown(t, facts)
        else:
            lines = LINES.get(kind, _unknown)({"kind": kind, **facts})
        for label, style, words in lines:
            self._line(t, label, style, words)

    def result(self, run: Outcome) -> None:
        """Show how a run ended and, where it came so far, what it measured."""
        self._moved()
        self._console.print()
        if run.result is not None:
            self._console.print(results_table(run.result))
            for part in heat_tables(run.result):
                self._console.print()
                self._console.print(part)
            self._console.print()
        for words, style in _ending(run):
            self._console.print(Text(words, style))
        self._console.print()
        for caution in (*CAUTIONS, *(REHEARSED if self._rehearsed else ())):
            self._console.print(Text(caution, ABNORMAL))

    def _move(self, t: int, facts: Facts) -> None:
        """Keep a move until something else happens: a ramp is one line, not forty."""
        output, to = str(facts["output"]), float(facts["to"])
        if self._moves is not None and self._moves[1] != output:
            self._moved()
        count = self._moves[2] if self._moves is not None else 0
        self._moves = (t, output, count + 1, to)

    def _moved(self) -> None:
        if self._moves is None:
            return
        t, output, count, to = self._moves
        self._moves = None
        steps = "" if count == 1 else f", in {count} moves"
        self._line(t, "command", PLAIN, f"{_output(output)} to {100 * to:.2f} % of travel{steps}")

    def _line(self, t: int, label: str, style: str, words: str) -> None:
        width = max(min(self._console.width, WIDEST) - INDENT - 1, 10)
        time = stand_time(t)
        if label == "stage":
            rule = "─" * max(width + INDENT - len(words) - 11, 0)
            self._console.print(Text(f"\n{time:>8}  {words} {rule}", "bold"), soft_wrap=True)
        else:
            line = Text(f"{'' if time == self._shown_time else time:>8}  ", QUIET)
            line.append(f"{label:<10} ", style)
            line.append(f"\n{'':{INDENT}}".join(textwrap.wrap(words, width)), style)
            self._console.print(line, soft_wrap=True)
        self._shown_time = time


def stand_time(t: int) -> str:
    """Return stand time (ns) as h:mm:ss."""
    seconds = t // S
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def _started(facts: Facts) -> Lines:
    words = f"back-to-back test: procedure {facts['procedure']}, schedule {facts['schedule']}"
    if facts.get("seed") is not None:
        words += f", simulated with seed {facts['seed']}"
    if facts.get("connection"):
        words += f", wired {facts['connection']}"
    words += "; times are stand time, h:mm:ss"
    files = ", ".join(f"{name} {sha[:8]}" for name, sha in facts.get("files", {}).items())
    return [("run", PLAIN, words), *([("files", QUIET, files)] if files else [])]


def _prompt(facts: Facts) -> Lines:
    rest = [f"asked of {facts['who']}", f"then: {facts['follows']}"]
    if facts.get("seen"):
        rest.insert(0, f"seen: {facts['seen']}")
    return [("prompt", MANDATORY, str(facts["asked"])), ("", MANDATORY, "; ".join(rest))]


def _answer(facts: Facts) -> Lines:
    said = {True: "yes", False: "no"}.get(facts["value"], str(facts["value"]))
    by, source = str(facts["by"]), str(facts["source"])
    if source == "rehearsed":
        return [("answer", MANDATORY, f"{said} [REHEARSED, nobody was asked]")]
    if facts["prompt"] in UNASKED:
        return [(UNASKED[facts["prompt"]], MANDATORY, asked_by(by, source))]
    return [("answer", MANDATORY, f"{said}, by {by} ({source})")]


def _permissive(facts: Facts) -> Lines:
    return [("permissive", NORMAL, f"{_output(facts['output'])}: {facts['name']}")]


def _command(facts: Facts) -> Lines:
    return [("command", "bold", f"{_output(facts['output'])}: {facts['action']}")]


def _contact(facts: Facts) -> Lines:
    seen = "closed" if facts["closed"] else "open"
    return [("contact", PLAIN, f"{_output(facts['channel'])} is seen {seen}")]


def _evidence(facts: Facts) -> Lines:
    values = [_value(key, value) for key, value in facts.items() if isinstance(value, float)]
    words = "; ".join([str(facts["words"]), *values])
    return [("evidence", ABNORMAL if facts["name"] == "emptied" else NORMAL, words)]


def _finding(facts: Facts) -> Lines:
    return [
        ("FINDING", ABNORMAL, f"{_words(facts['name'])}: {facts['seen']}"),
        ("", ABNORMAL, f"check: {facts['check']}"),
    ]


def _trip(facts: Facts) -> Lines:
    head = f"{_words(facts['name'])}, stop category {facts['category']}: {facts['seen']}"
    return [("TRIP", EMERGENCY, head), ("", EMERGENCY, f"check: {facts['check']}")]


def _state(facts: Facts) -> Lines:
    style = {"aborting": EMERGENCY, "aborted": EMERGENCY, "complete": NORMAL}
    return [("state", style.get(facts["state"], ABNORMAL), str(facts["state"]))]


def _ended(facts: Facts) -> Lines:
    verdict = f", {facts['verdict']} limits" if facts.get("verdict") else ""
    style = NORMAL if facts["state"] == "complete" else ABNORMAL
    lines = [("end", style, f"{facts['state']}{verdict}")]
    if facts.get("may_be_live"):
        lines.append(("", EMERGENCY, MAY_BE_LIVE))
    return lines


def _fault(facts: Facts) -> Lines:
    words = f"{facts['instrument']}: asked {facts['asked']!r}, {facts['came_back']}"
    return [("fault", ABNORMAL, words)]


def _lateness(facts: Facts) -> Lines:
    words = (
        f"{facts['scans']} scans: half began within {facts['p50_ms']:g} ms, 99 % within"
        f" {facts['p99_ms']:g} ms, the latest {facts['most_ms']:.3g} ms late;"
        f" {facts['missed']} left out"
    )
    return [("scans", QUIET, words)]


def _unknown(facts: Facts) -> Lines:
    words = "; ".join(f"{key} {value}" for key, value in facts.items() if key != "kind")
    return [(str(facts["kind"]), QUIET, words)]


def _nothing(_facts: Facts) -> Lines:
    return []


# How each kind of event reads: label, colour, words.
LINES: dict[str, Callable[[Facts], Lines]] = {
    "run.started": _started,
    "stage": lambda facts: [("stage", PLAIN, _words(facts["stage"]))],
    "attempt": lambda facts: [("attempt", PLAIN, f"number {facts['number']}")],
    "prompt": _prompt,
    "answer": _answer,
    "permissive.met": _permissive,
    "intent": lambda f: [("intent", PLAIN, f"{_output(f['output'])} to close, now in the record")],
    "command": _command,
    "contact": _contact,
    "evidence": _evidence,
    "finding": _finding,
    "trip": _trip,
    "state": _state,
    "fault": _fault,
    "fault.cleared": lambda facts: [("fault", NORMAL, f"{facts['instrument']}: answers again")],
    "simulated.fault": lambda f: [
        ("SIMULATED", ABNORMAL, f"{_words(f['name'])}: {f['happening']}")
    ],
    "scan.lateness": _lateness,
    "held_up": lambda f: [("late", ABNORMAL, f"scans were held up for {f['late_s']:.1f} s")],
    "clock.anchor": lambda f: [("anchor", QUIET, f"UTC is {f['drift_s']:+g} s off stand time")],
    "note": lambda facts: [("note", PLAIN, str(facts["words"]))],
    "result": _nothing,  # the table at the end shows it
    "run.ended": _ended,
    "run.sealed": _nothing,
    "run.abandoned": lambda facts: [("ABANDONED", EMERGENCY, str(facts["words"]))],
}


def _output(name: object) -> str:
    return OUTPUTS.get(str(name), _words(name))


def _words(name: object) -> str:
    return str(name).replace("_", " ")


def _value(key: str, value: float) -> str:
    name, _, unit = key.rpartition("_")
    return f"{_words(name)} {number(value)} {UNITS.get(unit, unit)}"


def _ending(run: Outcome) -> list[tuple[str, str]]:
    style = {"complete": NORMAL, "aborted": EMERGENCY}.get(run.state, ABNORMAL)
    lines = [(f"Run {run.run}: {run.state}", style)]
    if run.verdict is not None:
        within = run.verdict == "within"
        lines.append((f"Verdict: {run.verdict} limits", NORMAL if within else ABNORMAL))
        lines += [(f"Outside: {words}", ABNORMAL) for words in judged_outside(run.result or {})]
    elif run.result is not None:
        lines.append(("No verdict", ABNORMAL))
    if run.may_be_live:
        lines.append((MAY_BE_LIVE, EMERGENCY))
    if run.finding is not None:
        found = run.finding
        lines.append((f"Found: {_words(found['name'])}: {found['seen']}", ABNORMAL))
        lines.append((f"Check: {found['check']}", ABNORMAL))
    lines.append((f"Archive: {run.archive}", PLAIN))
    lines.append((f"readings {run.readings_sha256[:16]}, events {run.events_sha256[:16]}", QUIET))
    return lines
