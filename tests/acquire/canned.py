"""A run as its events tell it, and its results: invented, for the report and the commands."""

from pathlib import Path
from typing import Any

from acquire.archive import Archive
from acquire.encoding import sha256
from acquire.outcome import RunOutcome
from tests.acquire.conftest import FILES, INSTRUMENTS, poll

S = 1_000_000_000

STARTED = {
    "procedure": "loss_test",
    "schedule": "loss_test",
    "seed": 1,
    "connection": "aiding",
    "files": {name: sha256(text) for name, text in FILES.items()},
}
PROMPT = {
    "id": "taps_equal",
    "kind": "confirm",
    "seen": "both contactors open",
    "asked": "Do both tap changers stand on the same position?",
    "who": "the person who wired the stand",
    "follows": "the secondaries are taken to cancel",
    "expires_s": 900.0,
}
ANSWER = {"prompt": "taps_equal", "by": "the wirer", "source": "rehearsed", "value": True}
FINDING = {"name": "aiding", "seen": "closing drove 50 % of rated", "check": "one secondary"}
TRIP = {"name": "lv_current", "category": 0, "seen": "31 A", "check": "the bus"}
INTENT = {"output": "lv_contactor"}
CLOSE = {"output": "lv_contactor", "action": "close"}
RAISE = {"output": "lv_regulator", "action": "move", "to": 0.25}
HIGHER = {"output": "lv_regulator", "action": "move", "to": 0.5}
MOVE = {"output": "loop_regulator", "action": "move", "to": 0.125}
LOOP = {"name": "loop", "words": "the loop is closed", "impedance_ohm": 34.331}
ENDED = {"state": "complete", "verdict": "within", "may_be_live": False}

# Stand time in s, kind, facts.
EVENTS: list[tuple[int, str, dict[str, Any]]] = [
    (0, "run.started", STARTED),
    (1, "attempt", {"number": 1}),
    (1, "stage", {"stage": "prepare"}),
    (2, "prompt", PROMPT),
    (6, "answer", ANSWER),
    (7, "stage", {"stage": "prove"}),
    (8, "permissive.met", {"output": "lv_contactor", "name": "guard shut", "hazard": "people"}),
    (8, "intent", INTENT),
    (9, "command", CLOSE),
    (9, "contact", {"channel": "lv_contactor", "closed": True}),
    (10, "command", RAISE),
    (11, "command", HIGHER),
    (12, "command", MOVE),
    (13, "evidence", LOOP),
    (14, "finding", FINDING),
    (15, "fault", {"instrument": "hv_analyser", "asked": "FETC?", "came_back": "nothing"}),
    (16, "fault.cleared", {"instrument": "hv_analyser"}),
    (17, "note", {"words": "a word"}),
    (18, "attempt", {"number": 2}),
    (3723, "stage", {"stage": "no_load_readings"}),
    (3724, "state", {"state": "complete"}),
    (3724, "run.ended", ENDED),
]


def at(load: float, power_factor: float, value: float) -> dict[str, Any]:
    """Return a value at a load and power factor."""
    return {"load": load, "power_factor": power_factor, "leading": False, "value": value}


RESULT: dict[str, Any] = {
    "pair_mean": {
        "no_load_loss_w": 318.2,
        "no_load_current_a": 4.398,
        "no_load_current_percent": 1.7592,
        "no_load_power_factor": 0.1823,
        "core_loss_current_a": 0.8018,
        "magnetizing_current_a": 4.324,
        "core_loss_resistance_ohm": 498.9,
        "magnetizing_reactance_ohm": 92.5,
        "load_loss_w": 1507.1,
        "equivalent_resistance_ohm": 6.565,
        "equivalent_impedance_ohm": 16.971,
        "equivalent_reactance_ohm": 15.651,
        "impedance_percent": 3.896,
        "impedance_at_rated_voltage_ohm": 17.204,
        "winding_temperature_c": 20.94,
        "load_loss_reference_w": 2100.4,
        "impedance_reference_percent": 3.994,
        "reference_temperature_c": 75.0,
        "efficiency": [at(0.5, 1.0, 0.98512), at(0.5, 0.8, 0.9814)],
        "regulation_percent": [at(0.5, 1.0, 0.8889), at(0.5, 0.8, 1.7801)],
    },
    "plain_split": {
        "no_load_loss_w": 301.2,
        "load_loss_w": 1527.3,
        "exchanged_power_w": 36.4,
        "least_ratio_mismatch_percent": 0.036,
    },
    "prove": {
        "load_loss_w": 1508.2,
        "equivalent_impedance_ohm": 16.969,
        "winding_temperature_c": 20.9,
    },
    "ratio_mismatch_percent": 0.0605,
    "series_ratio_percent": 0.03025,
    "limits": [
        {
            "quantity": "no_load_loss_w",
            "value": 318.2,
            "guarantee": 320.0,
            "lower_limit": None,
            "upper_limit": 368.0,
            "within": True,
        },
        {
            "quantity": "load_loss_reference_w",
            "value": 2100.4,
            "guarantee": 1750.0,
            "lower_limit": None,
            "upper_limit": 2012.5,
            "within": False,
        },
        {
            "quantity": "impedance_reference_percent",
            "value": 3.994,
            "guarantee": 4.0,
            "lower_limit": 3.6,
            "upper_limit": 4.4,
            "within": True,
        },
    ],
}

OUTCOME = RunOutcome(
    state="complete",
    end="complete",
    run=3,
    archive=Path("runs/archive.sqlite"),
    attempts=2,
    verdict="within",
    stage="no_load_readings",
    finding=FINDING,
    result=RESULT,
    may_be_live=False,
    readings_sha256="a" * 64,
    events_sha256="b" * 64,
)


def canned_run(folder: Path) -> None:
    """Record the canned run, and a second one that never ended."""
    with Archive(folder) as archive:
        recorder = archive.start_run("loss_test", "loss_test", 1, FILES, INSTRUMENTS, {})
        for second, kind, facts in EVENTS:
            recorder.readings(second * S, poll(second * S))
            recorder.event(second * S, kind, facts)
        recorder.end("complete", "complete", "within", RESULT)
        archive.start_run("loss_test", "loss_test", None, FILES, INSTRUMENTS, {}).close()
