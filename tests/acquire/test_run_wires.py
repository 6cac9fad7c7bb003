"""The program on the served stand when wires or the pair are not as they should be."""

import re
import signal
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from acquire.archive import Archive
from acquire.clock import S
from acquire.configuration import load_scenario
from acquire.records import Run
from tests.acquire.processes import Process, Served, states
from tests.acquire.relay import Relay

UNHURRIED = 4.0
# Longer than some scans, for the guard to be seen open.
HANDS_S = 5.0
# Of a prompt, as it is shown.
ASKED_LINES = 5
# The critical channels of an instrument that is gone are stale after so long.
STALE_S = 40.0
# Of stand time: longer than a time-out, so that one answer at least is lost.
SILENT_S = 5
# What a busy computer may take from the polls; a poll held up by another's time-out loses more.
POLLED = 0.9

Serve = Callable[..., Served]


@pytest.fixture(name="serve")
def _serve(tmp_path: Path) -> Iterator[Serve]:
    all_served: list[Served] = []

    def serve(
        *options: str, speed: float = UNHURRIED, scenario: str = "distribution_pair"
    ) -> Served:
        all_served.append(Served(tmp_path, speed, *options, scenario=scenario))
        return all_served[-1]

    yield serve
    for served in all_served:
        served.close()


def last_run(served: Served) -> tuple[Run, list[tuple[int, str, dict[str, Any]]]]:
    """Return the last run, its record proven whole, and its events."""
    with Archive(served.out, read_only=True) as archive:
        run = archive.runs()[-1]
        assert archive.verify(run.run).whole
        return run, [(e.t, e.kind, dict(e.facts)) for e in archive.events(run.run)]


def print_lateness(served: Served) -> dict[str, float]:
    """Print and return how late the scans of the last run were, in ms."""
    facts = next(f for _, kind, f in last_run(served)[1] if kind == "scan.lateness")
    print(f"at {served.speed:g} times the wall's clock, stand time: {facts}")
    return facts


@pytest.mark.campaign
def test_a_pair_found_aiding_is_interchanged_and_the_test_completes(serve: Serve) -> None:
    served = serve("--connection", "aiding")

    class Interchanging(Process):
        """Answers, but does first what it is asked to do."""

        interchanged = False

        def answered(self, line: str) -> None:
            asked = " ".join(" ".join(self.lines[-ASKED_LINES:]).split())
            if not self.interchanged and "interchange the two ends of ONE" in asked:
                self.interchanged = True
                for hand in ("guard open", "interchange", "guard shut"):
                    served.stand.type(hand)
                    time.sleep(HANDS_S / served.speed)
            super().answered(line)

    program = served.run(kind=Interchanging)
    program.until("energise ─")
    assert program.code() == 0, "\n".join(program.lines[-45:])
    print_lateness(served)
    assert any("one secondary interchanged" in line for line in served.stand.lines)
    run, events = last_run(served)
    stages = [facts["stage"] for _, kind, facts in events if kind == "stage"]
    assert (run.end, run.verdict, stages.count("prove")) == ("complete", "within", 2)
    assert states(served.stand.lines, "lv_contactor") == ["closed", "open"] * 2


def killed_stand_ends_the_run(served: Served, stage: str) -> None:
    """Kill the served stand where the LV contactor is closed: the run ends with a whole record."""
    program = served.run()
    program.until(f"{stage} ─")
    if stage == "prove":
        served.stand.until("lv_contactor closed")
    assert states(served.stand.lines, "lv_contactor")[-1] == "closed"
    served.stand.kill()
    assert program.code() == 3, "\n".join(program.lines[-45:])
    run, events = last_run(served)
    print(f"killed in {stage}: {run.end}", *program.lines[-12:], sep="\n  ")
    assert run.end == "aborted"
    trips = [facts["name"] for _, kind, facts in events if kind == "trip"]
    # A scan without a reading writes nothing that could be lost: then age tells.
    assert trips[0] in {"command_lost", "stale_channel"}
    assert any("nothing of the stand answers" in line for line in program.lines)
    assert run.verdict is None


def test_the_stand_killed_in_prove(serve: Serve) -> None:
    killed_stand_ends_the_run(serve(speed=10.0), "prove")


@pytest.mark.campaign
@pytest.mark.parametrize("stage", ["energise", "circulate", "load readings"])
def test_the_stand_killed_later(serve: Serve, stage: str) -> None:
    killed_stand_ends_the_run(serve(), stage)


@pytest.mark.campaign
def test_one_cut_one_flooding_and_one_hanging_hold_up_nobody(serve: Serve) -> None:
    served = serve()
    file = served.folder / "stand.toml"
    told = re.sub(r"stale_after_s = [\d.]+", f"stale_after_s = {STALE_S}", file.read_text())
    relays = {}
    for name in ("resistance_meter", "hv_analyser", "series_voltmeter"):
        port = re.search(rf'name = "{name}"[^\[]*?127\.0\.0\.1::(\d+)', told)
        assert port
        relays[name] = Relay(int(port[1]))
        told = told.replace(f"::{port[1]}::", f"::{relays[name].port}::")
    file.write_text(told)
    schedule = served.folder / "schedules" / "loss_test.toml"
    schedule.write_text(
        re.sub(r"dwell_s = [\d.]+", f"dwell_s = {3 * STALE_S}", schedule.read_text())
    )
    program = served.run()
    program.until("no load readings ─")
    relays["resistance_meter"].cut()
    relays["hv_analyser"].flood()
    relays["series_voltmeter"].hang()
    assert program.code() == 3, "\n".join(program.lines[-45:])
    print(*program.lines[-12:], sep="\n  ")
    run, events = last_run(served)
    assert run.end in {"stopped", "aborted"}
    entered = next(t for t, k, f in events if k == "stage" and f["stage"] == "no_load_readings")
    ended = next(t for t, k, f in events if t > entered and k in {"stop", "trip", "state"})
    lasted_s = (ended - entered) / S
    with Archive(served.out, read_only=True) as archive:
        asked = Counter(
            name for name, row in archive.poll_rows(run.run) if entered <= row.began < ended
        )
    for i in load_scenario(str(served.folder), "loss_test").stand.instrument:
        due = lasted_s / i.period_s
        print(f"{i.name}: {asked[i.name]} polls of {due:.1f} due in {lasted_s:.1f} s")
        if i.name not in relays:
            assert asked[i.name] >= POLLED * due - 1
    lateness = print_lateness(served)
    assert lateness["missed"] <= (1 - POLLED) * lateness["scans"]


def put_on_two_lines(served: Served) -> None:
    """Have the stand file name the served RTU lines: one the outputs', the other the rest's."""
    file = served.folder / "stand.toml"
    told = file.read_text()
    lines = {}
    for name in ("outputs", "contacts", "temperatures"):
        place = re.search(
            rf"^  {name} +(/\S+) +Modbus RTU, parity N, unit (\d+)$", served.table, re.M
        )
        tcp = re.search(rf'{name}"?\]?\n(?:[^\[]*?\n)?resource = "(modbus-tcp:[^"]+)"', told)
        assert place
        assert tcp
        lines[name] = place[1]
        # A pseudo-terminal takes no parity.
        told = told.replace(f'"{tcp[1]}"', f'"modbus-rtu:{place[1]},19200,N/{place[2]}"')
    assert lines["contacts"] == lines["temperatures"] != lines["outputs"]
    file.write_text(told)


@pytest.mark.campaign
def test_a_whole_loss_test_with_polled_units_on_one_rtu_line(serve: Serve) -> None:
    served = serve("--rtu", speed=2.0)
    put_on_two_lines(served)
    program = served.run()
    for stage in ("energise", "circulate", "load readings"):
        program.until(f"{stage} ─")
    assert program.code() == 0, "\n".join(program.lines[-45:])
    print_lateness(served)
    run, events = last_run(served)
    print(Counter(f["instrument"] for _, kind, f in events if kind == "fault"), "faults")
    assert (run.end, run.verdict) == ("complete", "within")


def test_a_second_program_is_refused_and_the_first_goes_on(serve: Serve, tmp_path: Path) -> None:
    """On the same computer by a lock; from elsewhere, here without the lock, by the heartbeat."""
    served = serve(speed=10.0)
    first = served.run()
    first.until("prove ─")
    second = served.run("--out", str(tmp_path / "second"))
    assert second.code() == 2
    assert any("another program on this computer" in line for line in second.lines)
    elsewhere = served.run("--out", str(tmp_path / "third"), environment={"TMPDIR": str(tmp_path)})
    assert elsewhere.code() == 2
    assert any("another program drives these outputs" in line for line in elsewhere.lines)
    first.signal(signal.SIGTERM)
    assert first.code() == 3
    trips = [facts["name"] for _, kind, facts in last_run(served)[1] if kind == "trip"]
    assert trips == ["operator_stop"]


@pytest.mark.campaign
def test_a_source_and_a_motor_over_wires(serve: Serve) -> None:
    """The whole loss test of the bench, its regulators told in text and by relays."""
    served = serve(speed=2.0, scenario="bench_pair")
    program = served.run()
    for stage in ("prove", "energise", "no load readings", "circulate", "load readings"):
        program.until(f"{stage} ─")
    assert program.code() == 0, "\n".join(program.lines[-45:])
    print_lateness(served)
    run, _ = last_run(served)
    assert (run.end, run.verdict) == ("complete", "within")


@pytest.mark.campaign
def test_an_answer_lost_on_an_rtu_line_while_a_regulator_travels_is_no_regulator_that_is_late(
    serve: Serve,
) -> None:
    """The line is quiet for 12.6 s of stand time then: its position is not read, and goes on."""
    served = serve("--rtu")
    put_on_two_lines(served)
    program = served.run()
    program.until("energise ─")
    served.stand.type(f"fault contacts_silent:{SILENT_S}")
    for stage in ("circulate", "load readings"):
        program.until(f"{stage} ─")
    assert program.code() == 0, "\n".join(program.lines[-45:])
    run, events = last_run(served)
    assert "contacts" in {f["instrument"] for _, kind, f in events if kind == "fault"}
    assert (run.end, run.verdict) == ("complete", "within")
