"""The program on the served stand: two processes, prompts answered, killed, stopped, hung up."""

import fcntl
import os
import pty
import re
import signal
import struct
import termios
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from acquire.archive import Archive
from acquire.records import Run
from tests.acquire.processes import LONG_S, PATIENT_S, Process, Served, states, told_s
from tests.stand.conftest import STAGES

# What is told lags by a step of the stand's, 0.2 s at most here; a contactor takes time to open.
LAGS_S = 0.5

# A whole test has to keep pace all the way, also where others use the computer.
UNHURRIED = 4.0


@pytest.fixture(name="served")
def _served(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Served]:
    campaign = request.node.get_closest_marker("campaign") is not None
    served = Served(tmp_path, UNHURRIED) if campaign else Served(tmp_path)
    yield served
    served.close()


def committed(served: Served) -> int:
    """Return how many events of the last run are on the disk."""
    with Archive(served.out, read_only=True) as archive:
        return len(list(archive.events(archive.runs()[-1].run)))


def last_run(served: Served) -> Run:
    """Return the last run, its record proven whole."""
    with Archive(served.out, read_only=True) as archive:
        run = archive.runs()[-1]
        assert archive.verify(run.run).whole
        return run


def killed_in(served: Served, program: Process, stage: str) -> None:
    """Kill the program in a stage: the stand goes dead, nothing is lost, the next start says so."""
    program.until(f"{stage} ─")
    if stage == "prove":
        served.stand.until("lv_contactor closed")
    before = committed(served)
    told = len(served.stand.lines)
    program.kill()
    killed_s = served.now_s()
    dropped_s = told_s(served.stand.until("watchdog dropped", told))
    assert dropped_s <= killed_s + PATIENT_S + LAGS_S
    for contactor in ("lv_contactor", "loop_contactor"):
        # Closed, it follows the relay.
        if states(served.stand.lines[:told], contactor)[-1:] == ["closed"]:
            opened_s = told_s(served.stand.until(f"{contactor} open", told))
            assert opened_s <= dropped_s + LAGS_S
    after = served.run(answer=False)
    after.until("was left without an end by its process")
    after.signal(signal.SIGTERM)
    assert after.code() == 3
    with Archive(served.out, read_only=True) as archive:
        first = archive.runs()[0]
        assert first.end == "aborted"
        assert archive.verify(first.run).whole
        assert len(list(archive.events(first.run))) >= before


def test_killed_in_prove_the_stand_goes_dead_and_the_next_start_says_what_happened(
    served: Served,
) -> None:
    killed_in(served, served.run(), "prove")
    assert states(served.stand.lines, "lv_contactor") == ["closed", "open"]


@pytest.mark.campaign
@pytest.mark.parametrize("stage", STAGES)
def test_killed_in_any_stage(served: Served, stage: str) -> None:
    killed_in(served, served.run(), stage.replace("_", " "))


TERM, INT, QUIT = signal.SIGTERM, signal.SIGINT, signal.SIGQUIT


@pytest.mark.parametrize(
    ("signals", "seen"),
    [
        ((TERM,), {"SIGTERM came"}),
        ((QUIT, QUIT), {"SIGQUIT came (Ctrl-\\)"}),
        ((INT, TERM), {"SIGINT came (Ctrl-C)", "SIGTERM came"}),
        ((), {"the terminal was lost"}),
    ],
    ids=["SIGTERM", "SIGQUIT twice", "SIGINT and SIGTERM", "hung up"],
)
def test_signals_stop_the_run_and_hanging_up_does_too_and_the_record_says_so(
    served: Served, signals: tuple[signal.Signals, ...], seen: set[str]
) -> None:
    program = served.run(answer=False)
    program.until("asked of")
    for number in signals:
        program.signal(number)
    if not signals:
        program.hang_up()
    assert program.code() == 3
    run = last_run(served)
    assert run.end == "stopped"
    with Archive(served.out, read_only=True) as archive:
        events = list(archive.events(run.run))
    trips = [e.facts for e in events if e.kind == "trip"]
    assert {t["name"] for t in trips} == {"operator_stop"}
    assert {t["seen"] for t in trips} <= seen
    assert {(e.facts["by"], e.facts["source"]) for e in events if e.kind == "answer"} == {
        ("", what) for what in seen
    }
    assert not any("yes, by" in line for line in program.lines)


def test_on_a_terminal_the_prompt_stands_below_and_the_answer_is_in_the_record(
    served: Served,
) -> None:
    far, near = pty.openpty()
    fcntl.ioctl(near, termios.TIOCSWINSZ, struct.pack("HHHH", 50, 160, 0, 0))
    program = served.on_terminal(near)
    screen = b""
    # Painted once more, it was shown before: only then an answer counts.
    while screen.count(b"ASKED of the person in charge") < 2:
        screen += os.read(far, 65536)
    os.write(far, b"n Ada Exampel\x7f\x7fle")
    while b"> n Ada Example" not in screen:
        screen += os.read(far, 65536)
    os.write(far, b"\n")
    with suppress(OSError):
        while came := os.read(far, 65536):
            screen += came
    assert program.wait(LONG_S) == 3
    os.close(far)
    shown = re.sub(rb"\x1b\[[0-9;?]*[a-zA-Z]", b"", screen).decode()
    for words in ("lv.voltage.1", "to go at least", "Ctrl-C or stop ends the run"):
        assert words in shown
    with Archive(served.out, read_only=True) as archive:
        answer = next(e.facts for e in archive.events(1) if e.kind == "answer")
    assert (answer["by"], answer["value"]) == ("Ada Example", False)


@pytest.mark.campaign
def test_a_whole_loss_test(served: Served) -> None:
    program = served.run()
    assert program.code() == 0, program.lines[-30:]
    print("\n".join(line for line in program.lines if "scans" in line))
    assert last_run(served).verdict == "within"
    assert states(served.stand.lines, "lv_contactor")[-1] == "open"
