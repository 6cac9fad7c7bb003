"""A heat run on the served stand that is cut short in its soak, and the run that continues it."""

import re
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from acquire.archive import Archive
from acquire.configuration import load_scenario
from acquire.heat_fold import folded
from acquire.stand import expected_of
from tests.acquire.processes import Served, states

# Of the wall's time, what takes two hours of the stand's is two minutes.
FAST = 60.0
# What is stale, or dropped, at that speed: two seconds of the wall's.
PATIENT_S = 2 * FAST
# How long the first soaks before it is cut short.
SOAKED_S = 1500.0
# How often a test looks, of the wall's time.
LOOKS_S = 1.0
# Nobody is at the stand for so long, of the wall's time.
AWAY_S = 5.0
# Longer than the hour over which the loss of a heat run is averaged.
SOAK_H = 1.25


@pytest.fixture(name="served")
def _served(tmp_path: Path) -> Iterator[Served]:
    served = Served(tmp_path, FAST, patient_s=PATIENT_S)
    schedule = served.folder / "schedules" / "heat_run.toml"
    told = schedule.read_text()
    for key, by in (
        ("window_s", 10.0),
        ("dwell_s", 5.0),
        ("cooling_s", 1500.0),
        ("time_limit_h", SOAK_H),
    ):
        told = re.sub(rf"(?m)^{key} = [\d.]+", f"{key} = {by}", told)
    schedule.write_text(told)
    yield served
    served.close()


def marks(served: Served, run: int) -> dict[str, dict[str, Any]]:
    """Return what a run has marked in its record, by name."""
    with Archive(served.out, read_only=True) as archive:
        assert archive.verify(run).whole
        shown = [dict(e.facts) for e in archive.events(run) if e.kind == "shows"]
    return {facts["mark"]: facts for facts in shown if "mark" in facts}


def cut_short(served: Served, how: str) -> float:
    """Kill a heat run, or stop it by a signal, 25 minutes into its soak; return when, stand's s."""
    program = served.run(schedule="heat_run")
    program.until("soak ─")
    until_s = served.now_s() + SOAKED_S
    while served.now_s() < until_s:
        time.sleep(LOOKS_S)
    told, cut_s = len(served.stand.lines), served.now_s()
    if how == "killed":
        program.kill()
        # Before the hardware has cut, whoever starts finds the stand live, and leaves it.
        served.stand.until("lv_contactor open", told)
    else:
        program.signal(signal.SIGTERM)
        assert program.code() == 3
    return cut_s


@pytest.mark.campaign
@pytest.mark.parametrize("how", ["killed", "stopped"])
def test_a_heat_run_cut_short_in_its_soak_is_continued_to_its_end(served: Served, how: str) -> None:
    cut_s = cut_short(served, how)
    time.sleep(AWAY_S)
    away_s = served.now_s() - cut_s
    second = served.run("--continues", "1", schedule="heat_run")
    for stage in ("soak", "cool"):
        second.until(f"{stage} ─")
    # It soaks with the history of the first, and ends by the schedule's time limit: not steady.
    code = second.code()
    print(*second.lines[-45:], sep="\n")
    with Archive(served.out, read_only=True) as archive:
        first, last = archive.runs()
        expected = expected_of(load_scenario(str(served.folder), "heat_run"))
        record = folded(archive, last.run, expected)
        left_s = first.last_t / 1e9
    assert first.end == ("aborted" if how == "killed" else "stopped")
    assert (last.continues, last.end) == (first.run, "complete")
    assert code in {0, 4}
    before, after = marks(served, first.run), marks(served, last.run)
    assert {"cold", "losses", "soak"} <= set(before)
    assert not {"cold", "losses"} & set(after)
    assert {"continues", "soak", "shutdown"} <= set(after)
    assert record.losses is not None
    minutes_s = record.history().t_s
    assert minutes_s[0] < before["losses"]["at_s"]
    assert minutes_s[-1] > after["shutdown"]["at_s"]
    # The stand went on meanwhile, at its own speed.
    gap_s = after["continues"]["gap_s"]
    print(f"gap {gap_s:.0f} s; left at {left_s:.0f} s, soak again at {after['soak']['at_s']:.0f} s")
    assert gap_s >= away_s
    assert states(served.stand.lines, "lv_contactor")[-1] == "open"
