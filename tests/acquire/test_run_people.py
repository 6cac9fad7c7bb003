"""People at a served stand and away from it: a selector that they turn, a terminal that is left."""

import re
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from acquire.archive import Archive
from sequences.prompt import CONNECTED_COLD, PREPARATION
from tests.acquire.processes import SPEED, Served, free_port, states
from tests.serving.serving import turned_by_hand

INVITED = "type y or n and your name"
UNATTENDED = """
[unattended]
over_current = "relay F1, wired to both coils (invented)"
over_temperature = "thermostats, wired to both coils (invented)"
protection_contacts = "gas relays, wired to both coils (invented)"
fire_detection = "smoke detector above the stand (invented)"
person_reachable = "the person on call (invented)"
temperatures_a = ["a.top_liquid", "a.bottom_liquid"]
temperatures_b = ["b.top_liquid", "b.bottom_liquid"]

[[instrument]]
name = "second_thermometer"
description = "temperature_scanner"
resource = "modbus-tcp:127.0.0.1:{port}/1"
period_s = 5.0
timeout_s = 1.0
phase_s = 0.8
channel = [
{channels}
]
"""


def may_be_left(folder: Path) -> None:
    """Read the bottom liquids by an instrument of their own, and declare what being left takes."""
    file = folder / "stand.toml"
    text = file.read_text(encoding="utf-8")
    bottom = re.findall(r".*\.bottom_liquid.*\n", text)
    assert len(bottom) == 2
    for line in bottom:
        text = text.replace(line, "")
    channels = "".join(bottom)
    text += UNATTENDED.format(port=free_port(), channels=channels)
    file.write_text(text, encoding="utf-8")


def begun(row: tuple[str, ...]) -> str:
    """Return how a question begins, in its first line."""
    return row[1][:40]


Serve = Callable[[Callable[[Path], object]], Served]


@pytest.fixture(name="serve")
def _serve(tmp_path: Path) -> Iterator[Serve]:
    all_served: list[Served] = []

    def serve(shape: Callable[[Path], object]) -> Served:
        all_served.append(Served(tmp_path, SPEED, shape=shape))
        return all_served[-1]

    yield serve
    for served in all_served:
        served.close()


@pytest.mark.campaign
def test_unattended_the_run_goes_on_when_its_terminal_is_lost(serve: Serve) -> None:
    """The LV contactor closes after nobody could be asked any more; a signal still ends it."""
    served = serve(may_be_left)
    program = served.run("--unattended")
    last = begun(PREPARATION[-1])
    program.until(last)
    asked_at = next(at for at, line in enumerate(program.lines) if last in line)
    program.until("yes, by Ada Example (terminal)", asked_at)
    assert states(served.stand.lines, "lv_contactor") == []
    program.hang_up()
    served.stand.until("lv_contactor closed")
    program.until("current follows voltage")
    program.signal(signal.SIGTERM)
    assert program.code() == 3
    with Archive(served.out, read_only=True) as archive:
        run = archive.runs()[-1]
        events = list(archive.events(run.run))
    (trip,) = [e.facts for e in events if e.kind == "trip"]
    assert (trip["name"], trip["seen"]) == ("operator_stop", "SIGTERM came")
    assert states(served.stand.lines, "lv_contactor")[-1] == "open"


@pytest.mark.campaign
def test_cold_resistances_of_a_stand_whose_selector_people_turn(serve: Serve) -> None:
    """They turn it when asked, its d.c. is read, and the run goes on to what it asks next."""
    served = serve(turned_by_hand)
    program = served.run("--schedule", "heat_run", answer=False)
    program.until(begun(CONNECTED_COLD))
    program.until(INVITED)
    served.stand.type("selector 1")
    served.stand.until("resistance_selector at 1")
    program.type("y Ada Example")
    program.until(begun(PREPARATION[0]))
    served.stand.type("selector open")
    served.stand.until("resistance_selector open")
    program.hang_up()
    assert program.code() == 3
    with Archive(served.out, read_only=True) as archive:
        run = archive.runs()[-1]
        marks = [e.facts["mark"] for e in archive.events(run.run) if e.kind == "shows"]
    assert marks == ["cold", "cold_read"]
