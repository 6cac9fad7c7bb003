"""Register links against pymodbus's own server, crafted answers and a serial line.

What pymodbus does by itself in these cases was reproduced: it returns exceptions as answers, takes
a late RTU answer for the next one, waits by the wall clock.
"""

import asyncio
import socket
import time
from collections.abc import Iterator
from threading import Barrier, Event, Thread

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers import connection
from drivers.link import (
    BadAnswer,
    Block,
    ConnectionLost,
    InstrumentFault,
    NoAnswer,
    Refused,
    RegisterLink,
)
from drivers.modbus import modbus_link
from tests.drivers.units import BUSY, ExcCodes, Reply, RtuLine, crafted, mbap, rtu_line, served_unit

# Long enough that a busy computer is never taken for silence, short enough to wait for silence.
ENOUGH_S, SOON_S = 30.0, 0.15


@pytest.fixture(autouse=True)
def _no_back_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "SHORTEST_BACK_OFF_S", 0.0)


def _open(resource: str) -> RegisterLink:
    link = modbus_link(resource, "unit")
    link.reopen()
    return link


@pytest.mark.parametrize(
    ("block", "values"),
    [
        (Block(3, 4), (3, 4, 5, 6)),
        (Block(3, 125), tuple(range(3, 128))),
        (Block(7, 2, "input"), (1007, 1008)),
        (Block(3, 4, "coil"), (1, 0, 1, 0)),
        (Block(0, 9, "discrete"), (0, 1, 0, 1, 0, 1, 0, 1, 0)),
    ],
)
def test_every_table_is_read(block: Block, values: tuple[int, ...]) -> None:
    """Exactly what was asked for, bits without what fills up their last byte."""
    with served_unit() as unit:
        link = _open(unit.resource)
        assert link.read(block, ENOUGH_S) == values
        link.close()


def test_what_is_written_is_there() -> None:
    """One register and several, one coil and several."""
    with served_unit() as unit:
        link = _open(unit.resource)
        link.write(5, (77,), ENOUGH_S)
        link.write(6, (78, 79), ENOUGH_S)
        assert link.read(Block(5, 3), ENOUGH_S) == (77, 78, 79)
        coils = _open(f"{unit.resource}/coils")
        coils.write(0, (1,), ENOUGH_S)
        coils.write(1, (0, 1, 0), ENOUGH_S)
        assert coils.read(Block(0, 5, "coil"), ENOUGH_S) == (1, 0, 1, 0, 0)
        with pytest.raises(Refused, match="0 or 1"):
            coils.write(0, (2,), ENOUGH_S)
        coils.close()
        link.close()


def test_a_write_opens_a_closed_link() -> None:
    """An opening of a contactor is worth the try."""
    with served_unit() as unit:
        link = modbus_link(unit.resource, "outputs")
        link.write(5, (1,), ENOUGH_S)
        assert link.read(Block(5, 1), ENOUGH_S) == (1,)
        link.close()


def test_an_exception_answer_is_refused() -> None:
    """pymodbus returns it as if it were an answer, with no registers in it."""
    with served_unit() as unit:
        link = _open(unit.resource)
        with pytest.raises(Refused, match="illegal address"):
            link.read(Block(500, 2), ENOUGH_S)
        link.close()


def test_a_busy_unit_refuses() -> None:
    """So does one that says it can't just now."""

    async def busy(*_: object) -> ExcCodes:
        return BUSY

    with served_unit(busy) as unit:
        link = _open(unit.resource)
        with pytest.raises(Refused, match="device busy"):
            link.read(Block(0, 2), ENOUGH_S)
        link.close()


def test_a_late_answer_is_never_the_next_answer() -> None:
    """After a time-out the link is closed until it is opened afresh."""
    slow = [True]

    async def once_slow(*_: object) -> None:
        if slow.pop() if slow else False:
            await asyncio.sleep(3 * SOON_S)

    with served_unit(once_slow) as unit:
        link = _open(unit.resource)
        with pytest.raises(NoAnswer):
            link.read(Block(60, 1), SOON_S)
        with pytest.raises(ConnectionLost, match="not open"):
            link.read(Block(7, 1), ENOUGH_S)
        link.reopen()
        assert link.read(Block(7, 1), ENOUGH_S) == (7,)
        link.close()


def test_a_refused_port_is_found_when_it_is_opened() -> None:
    """Opening says so, and no exception of the library's."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    link = modbus_link(f"modbus-tcp:127.0.0.1:{port}/1", "unit")
    with pytest.raises(ConnectionLost):
        link.reopen()
    with pytest.raises(ConnectionLost):
        link.read(Block(0, 1), ENOUGH_S)
    link.close()


def test_a_closed_peer_is_lost_and_found_again() -> None:
    """A served unit that goes away is lost; a link is opened again without a restart."""
    with served_unit() as unit:
        link = _open(unit.resource)
        assert link.read(Block(1, 1), ENOUGH_S) == (1,)
        unit.close()
        with pytest.raises(ConnectionLost):
            link.read(Block(1, 1), ENOUGH_S)
        link.close()


def _crafted(reply: Reply) -> tuple[int, ...]:
    with crafted(reply) as resource:
        link = _open(resource)
        try:
            return link.read(Block(0, 2), SOON_S)
        finally:
            link.close()


def test_a_crafted_answer_is_one_where_it_is_right() -> None:
    """So that those below fail for what is wrong with them."""
    assert _crafted(lambda r: mbap(r, bytes([3, 4, 0, 1, 0, 2]))) == (1, 2)


@pytest.mark.parametrize(
    "reply",
    [
        lambda r: mbap(r, bytes([3, 2, 0, 1])),  # one register where two were asked for
        lambda r: mbap(r, bytes([3, 6, 0, 1, 0, 2, 0, 3])),  # three
        lambda r: mbap(r, bytes([4, 4, 0, 1, 0, 2])),  # another function
        lambda r: mbap(r, bytes([3, 4, 0, 1, 0, 2]), unit=9),  # another unit
        lambda r: mbap(b"\0\0" + r[2:], bytes([3, 4, 0, 1, 0, 2])),  # no transaction of ours
        lambda r: mbap(r, bytes([3, 4, 0, 1])),  # cut off within
        lambda r: mbap(r, bytes([3, 4, 0, 1, 0, 2]))[:-1],  # cut off at its end
        lambda _: b"\xff" * 40,
        lambda _: b"HTTP/1.1 400 Bad Request\r\n\r\n",
    ],
)
def test_what_is_no_answer_to_the_question_is_a_fault(reply: Reply) -> None:
    """Never a value."""
    with pytest.raises((BadAnswer, NoAnswer)):
        _crafted(reply)


def test_a_gateway_that_hears_nothing_is_no_answer() -> None:
    """Exception 11: it is the unit that is silent."""
    with pytest.raises(NoAnswer, match="gateway no response"):
        _crafted(lambda r: mbap(r, bytes([0x83, 11])))


def test_a_write_is_confirmed_as_it_was_asked() -> None:
    """The echo of another write confirms nothing."""
    with crafted(lambda r: mbap(r, bytes([6, 0, 5, 0, 1]))) as resource:
        link = _open(resource)
        link.write(5, (1,), ENOUGH_S)
        for address, values in ((5, (0,)), (6, (1,))):
            with pytest.raises(BadAnswer):
                link.write(address, values, ENOUGH_S)
            link.reopen()
        link.close()


@settings(max_examples=25)
@given(st.binary(min_size=1, max_size=24), st.booleans())
def test_no_bytes_get_past_the_seam(pdu: bytes, framed: bool) -> None:
    """Whatever comes: two registers, exactly those on the wire, or a fault of ours."""
    try:
        values = _crafted(lambda r: mbap(r, pdu) if framed else pdu)
    except InstrumentFault:
        return
    assert framed
    assert pdu[:2] == b"\x03\x04"
    assert values == tuple(int.from_bytes(pdu[i : i + 2], "big") for i in (2, 4))


def test_a_step_of_the_wall_clock_lengthens_no_time_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The wall clock runs backwards here, so that a wait by it would never end."""
    now = [1e9]

    def backwards() -> float:
        now[0] -= 10.0
        return now[0]

    with rtu_line() as line, crafted(lambda _: b"") as resource:
        line.silent = {1}
        for link in (_open(resource), _open(f"modbus-rtu:{line.path},19200,N/1")):
            monkeypatch.setattr(time, "time", backwards)
            with pytest.raises(NoAnswer):
                link.read(Block(0, 1), SOON_S)
            monkeypatch.undo()
            link.close()


def test_two_threads_on_one_unit_are_refused() -> None:
    """On TCP a link has one owner."""
    asked, let_go = Event(), Event()

    def slow(request: bytes) -> bytes:
        asked.set()
        let_go.wait()
        return mbap(request, bytes([3, 2, 0, 9]))

    got: list[tuple[int, ...]] = []
    with crafted(slow) as resource:
        link = _open(resource)
        owner = Thread(target=lambda: got.append(link.read(Block(0, 1), ENOUGH_S)))
        owner.start()
        assert asked.wait(ENOUGH_S)
        with pytest.raises(RuntimeError, match="two threads"):
            link.read(Block(0, 1), ENOUGH_S)
        let_go.set()
        owner.join()
        link.close()
    assert got == [(9,)]


class Line:
    """A serial line with units, and links to them that are closed with it."""

    def __init__(self, far: RtuLine) -> None:
        self.far = far
        self.links: list[RegisterLink] = []

    def unit(self, number: int, parity: str = "N") -> RegisterLink:
        name = f"unit {number}"
        link = modbus_link(f"modbus-rtu:{self.far.path},19200,{parity}/{number}", name)
        self.links.append(link)
        return link


@pytest.fixture(name="line")
def _line() -> Iterator[Line]:
    with rtu_line() as far:
        line = Line(far)
        yield line
        for link in line.links:
            link.close()


def test_units_share_a_line(line: Line) -> None:
    """Two threads, two units, one line: every answer right and never two questions at a time."""
    together = Barrier(2)
    wrong: list[object] = []

    def poll(number: int) -> None:
        link = line.unit(number)
        together.wait()
        link.reopen()
        for n in range(40):
            got = link.read(Block(n, 3), ENOUGH_S)
            if got != tuple(100 * number + n + i for i in range(3)):
                wrong.append(got)

    threads = [Thread(target=poll, args=(number,)) for number in (1, 2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert line.far.collisions == 0
    assert len(line.far.asked) == 80


def test_a_stale_answer_on_a_line_is_never_the_next_answer(line: Line) -> None:
    """An RTU answer doesn't say what it answers: one that comes late falls into the quiet time."""
    link = line.unit(1)
    link.reopen()
    line.far.hold = 60
    with pytest.raises(NoAnswer):
        link.read(Block(60, 1), SOON_S)
    line.far.let_go.set()
    assert line.far.sent_late.wait(ENOUGH_S)
    link.reopen()
    assert link.read(Block(7, 1), ENOUGH_S) == (107,)


def test_after_a_time_out_nobody_talks_on_the_line(line: Line) -> None:
    """A neighbour waits or gives up for this poll; it is answered rightly afterwards."""
    silent, neighbour = line.unit(1), line.unit(2)
    silent.reopen()
    neighbour.reopen()
    line.far.silent = {1}
    with pytest.raises(NoAnswer):
        silent.read(Block(0, 1), SOON_S)
    asked = len(line.far.asked)
    with pytest.raises(NoAnswer, match="quiet"):
        neighbour.read(Block(3, 1), SOON_S / 10)
    assert len(line.far.asked) == asked
    assert neighbour.read(Block(3, 1), ENOUGH_S) == (203,)


def test_joining_a_good_line_disturbs_nobody(line: Line) -> None:
    """A unit that opens for the first time, or was refused, leaves the line as it is."""
    # The line is kept quiet for twice as long as anybody ever waited.
    patience_s = 1.0
    first, second = line.unit(1), line.unit(2)
    first.reopen()
    first.read(Block(0, 1), patience_s)
    opened = first._line.opened  # type: ignore[attr-defined]  # the line is no part of a link
    second.reopen()
    assert second.read(Block(0, 1), patience_s) == (200,)
    assert first._line.opened == opened  # type: ignore[attr-defined]  # the line is no part of a link
    # An answer that was not believed above the link: the line is opened afresh.
    second.reopen()
    assert first._line.opened == opened + 1  # type: ignore[attr-defined]  # the line is no part of a link


def test_a_line_that_is_busy_all_the_time_is_no_answer(line: Line) -> None:
    """One waits for a turn no longer than for an answer."""
    first, second = line.unit(1), line.unit(2)
    first.reopen()
    second.reopen()
    line.far.hold = 60
    holding = Thread(target=lambda: first.read(Block(60, 1), ENOUGH_S))
    holding.start()
    while not line.far.asked:
        time.sleep(0.001)
    with pytest.raises(NoAnswer, match="busy"):
        second.read(Block(1, 1), SOON_S)
    line.far.let_go.set()
    holding.join()
    assert second.read(Block(1, 1), ENOUGH_S) == (201,)


def test_a_line_is_written(line: Line) -> None:
    """And its echo proven."""
    link = line.unit(1)
    link.reopen()
    link.write(5, (1,), ENOUGH_S)
    assert line.far.asked == [(1, 5)]


def test_a_line_has_one_speed(line: Line) -> None:
    """Two descriptions of one device that contradict each other are refused."""
    link = line.unit(1)
    with pytest.raises(ValueError, match="19200"):
        line.unit(2, parity="E")
    link.close()


def test_a_line_that_is_not_there_is_lost() -> None:
    """The library only logs it."""
    link = modbus_link("modbus-rtu:/dev/there-is-none/1", "unit")
    with pytest.raises(ConnectionLost):
        link.reopen()


@pytest.mark.parametrize(
    "resource",
    [
        "registers:contacts",
        "modbus-tcp:host/1",
        "modbus-tcp:host:502",
        "modbus-tcp:host:502/256",
        "modbus-tcp:host:70000/1",
        "modbus-rtu:/dev/ttyUSB0/0",
        "modbus-rtu:/dev/ttyUSB0/248",
        "modbus-rtu:/dev/ttyUSB0,fast/1",
        "modbus-rtu:/dev/ttyUSB0,19200,X/1",
        "modbus-rtu:/dev/ttyUSB0,0/1",
        "",
    ],
)
def test_what_names_no_unit_is_refused(resource: str) -> None:
    """At once, with what was expected."""
    with pytest.raises(ValueError, match="expected 'modbus-tcp"):
        modbus_link(resource, "unit")
