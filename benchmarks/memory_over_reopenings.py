"""Memory, file descriptors and threads over thousands of reopenings: text, Modbus TCP, RTU.

The shipped simulated stand is served by another process, its register units on pseudo-terminals
too. Of each kind of link one is opened again and again and asked once each time, and as many are
made afresh, asked and closed for good; one is asked where nobody answers, one opened where nobody
listens. Each is a fault, and what follows a fault is another reopening.

The back-off between reopenings is set to nought here (`drivers.connection.SHORTEST_BACK_OFF_S`,
from which every link's begins and doubles), since it would hold the next back for up to half a
minute. Nothing else is changed: a serial line keeps its quiet after a fault.

Asked: flat. Judged from the second mark on, when everything has been allocated once.

Run: python -m benchmarks.memory_over_reopenings [TIMES] [SERIAL_TIMES]
"""

import os
import re
import socket
import sys
import tempfile
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import drivers.connection
from acquire.wires import register_link, text_link
from benchmarks.memory_over_polls import resident_mib
from drivers.link import Block, InstrumentFault, NoAnswer, RegisterLink, TextLink
from tests.acquire.processes import Served

MARKS = 10
# Of the stand: what its instruments take to answer is a fiftieth so long.
SPEED = 50.0
ANSWER_S = 1.0
# On a line, which is quiet for twice as long after a fault, and where nobody answers.
LINE_S = 0.1
SILENT = "hv_analyser"  # the second text instrument of the stand file
SILENT_S = 0.01
CONTACTS = Block(0, 12)


def descriptors() -> int:
    """Return how many file descriptors this process has open."""
    return len(os.listdir("/proc/self/fd"))


def ask_text(link: TextLink) -> None:
    """Ask for the identity."""
    assert link.query("*IDN?", ANSWER_S)


def ask_registers(link: RegisterLink) -> None:
    """Read the contacts."""
    assert len(link.read(CONTACTS, ANSWER_S)) == CONTACTS.count


def ask_line(link: RegisterLink) -> None:
    """Read the contacts on a serial line; an answer that a busy computer loses is no leak."""
    with suppress(NoAnswer):
        assert len(link.read(CONTACTS, LINE_S)) == CONTACTS.count


def again(make: Callable[[], object], ask: Callable[..., None]) -> Callable[[], None]:
    """Return what opens one link again and asks it."""
    link: object = make()

    def once() -> None:
        link.reopen()  # type: ignore[attr-defined]  # text and register links, alike in this
        ask(link)

    return once


def afresh(make: Callable[[], object], ask: Callable[..., None]) -> Callable[[], None]:
    """Return what makes a link, opens and asks it, and closes it for good."""

    def once() -> None:
        link: object = make()
        link.reopen()  # type: ignore[attr-defined]  # text and register links, alike in this
        ask(link)
        link.close()  # type: ignore[attr-defined]  # likewise

    return once


def in_vain(make: Callable[[], object], ask: Callable[..., None]) -> Callable[[], None]:
    """Return what opens one link again and asks it, where that always fails."""
    once = again(make, ask)

    def fails() -> None:
        try:
            once()
        except InstrumentFault:
            return
        raise AssertionError("it did not fail")

    return fails


def kinds(served: Served) -> dict[str, tuple[Callable[[], None], bool]]:
    """Return what is done over and over, by its name, and whether on a serial line."""
    told = (served.folder / "stand.toml").read_text(encoding="utf-8")
    text, silent_text = re.findall(r'"(TCPIP::[^"]+)"', told)[:2]
    unit = re.search(r'name = "contacts"[^\[]*?"(modbus-tcp:[^"]+)"', told)
    line = re.search(r"^  contacts +(/\S+) +Modbus RTU, parity N, unit (\d+)$", served.table, re.M)
    assert unit
    assert line
    rtu = f"modbus-rtu:{line[1]},115200,N/{line[2]}"
    nobody = f"modbus-rtu:{line[1]},115200,N/99"
    with socket.create_server(("127.0.0.1", 0)) as free:
        closed = free.getsockname()[1]

    def texts() -> TextLink:
        return text_link(text, "text")

    def registers() -> RegisterLink:
        return register_link(unit[1], "registers")

    def on_line() -> RegisterLink:
        return register_link(rtu, "line")

    def unheard(link: TextLink) -> None:
        link.query("*IDN?", SILENT_S)

    def silent(link: RegisterLink) -> None:
        link.read(CONTACTS, SILENT_S)

    return {
        "text, opened again": (again(texts, ask_text), False),
        "text, made afresh": (afresh(texts, ask_text), False),
        "text, never answered": (
            in_vain(lambda: text_link(silent_text, "silent"), unheard),
            False,
        ),
        "text, nobody listens": (
            in_vain(lambda: text_link(f"TCPIP::127.0.0.1::{closed}::SOCKET", "gone"), ask_text),
            False,
        ),
        "Modbus TCP, opened again": (again(registers, ask_registers), False),
        "Modbus TCP, made afresh": (afresh(registers, ask_registers), False),
        "Modbus TCP, nobody listens": (
            in_vain(
                lambda: register_link(f"modbus-tcp:127.0.0.1:{closed}/1", "gone"), ask_registers
            ),
            False,
        ),
        "RTU, opened again": (again(on_line, ask_line), True),
        "RTU, made afresh": (afresh(on_line, ask_line), False),
        "RTU, no such unit": (in_vain(lambda: register_link(nobody, "nobody"), silent), True),
    }


def main(times: int, serial_times: int) -> None:
    """Open and print."""
    drivers.connection.SHORTEST_BACK_OFF_S = 0.0
    with tempfile.TemporaryDirectory() as place:
        served = Served(Path(place), SPEED, "--rtu")
        try:
            served.stand.type(f"fault {SILENT}_silent")
            for name, (once, serial) in kinds(served).items():
                over(name, once, serial_times if serial else times)
        finally:
            served.close()


def over(name: str, once: Callable[[], None], times: int) -> None:
    """Do it so many times; print memory, descriptors and threads at ten marks."""
    marks = []
    for mark in range(MARKS + 1):
        marks.append((resident_mib(), descriptors(), threading.active_count()))
        for _ in range(times // MARKS if mark < MARKS else 0):
            once()
    mib, open_, threads = zip(*marks[1:], strict=True)
    grew = 1024 * (mib[-1] - mib[0]) * MARKS / (times * (MARKS - 1))
    print(
        f"{name:27} {times:>6,} times: {mib[0]:.1f} to {mib[-1]:.1f} MiB, {grew:+.3f} KiB each;"
        f" descriptors {min(open_)} to {max(open_)}, threads {min(threads)} to {max(threads)}",
        flush=True,
    )


if __name__ == "__main__":
    words = [int(word) for word in sys.argv[1:]]
    with suppress(KeyboardInterrupt):
        main(words[0] if words else 5000, words[1] if words[1:] else 500)
