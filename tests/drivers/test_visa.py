"""Text links against real sockets and pseudo-terminals: every trap of the wire is a fault of ours.

What pyvisa-py does by itself in these cases was reproduced: it spins on a closed connection, waits
by the wall clock, takes a late answer for the next one, lets raw exceptions through.
"""

import gc
import os
import socket
import struct
import time
import tty
from collections.abc import Iterator
from contextlib import suppress
from threading import Event, Thread
from typing import Any

import pytest
import pyvisa
from hypothesis import given, settings
from hypothesis import strategies as st
from pyvisa.constants import StatusCode
from serial import SerialException

from drivers.description import Channel, Instrument, Query, TextDescription
from drivers.instrument import TextInstrument
from drivers.link import (
    LONGEST_ANSWER,
    BadAnswer,
    ConnectionLost,
    InstrumentFault,
    NoAnswer,
    Refused,
)
from drivers.reading import Quality
from drivers.visa import VisaTextLink, _opened, _translated
from tests.drivers.canned import CannedClock
from tests.drivers.linked import ENOUGH_S, SOON_S, leaves_a_socket
from tests.drivers.served import served

pytestmark = pytest.mark.usefixtures("no_back_off")
IDN = b"INVENTED,ANALYSER,1,0\n"


def _answer(connection: socket.socket, line: bytes) -> None:
    connection.sendall(IDN if line == b"*IDN?" else b"400,0,0.5\n")


def test_a_question_has_its_answer() -> None:
    """One message there, one line back, without its terminator."""
    with served(_answer) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        assert link.query("*IDN?", ENOUGH_S) == "INVENTED,ANALYSER,1,0"
        assert link.query("FETC?", ENOUGH_S) == "400,0,0.5"
        link.write("INIT", ENOUGH_S)
        link.close()
        assert server.asked[:2] == [b"*IDN?", b"FETC?"]


def test_a_carriage_return_before_the_line_feed_is_no_part_of_the_answer() -> None:
    """Both endings are seen on wires."""
    with served(lambda c, _: c.sendall(b"1,2\r\n")) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        assert link.query("FETC?", ENOUGH_S) == "1,2"
        link.close()


def test_an_answer_in_pieces_is_one_answer() -> None:
    """A line may come in as many packets as it likes."""

    def bit_by_bit(connection: socket.socket, _: bytes) -> None:
        for byte in b"400,0,0.5\n":
            connection.sendall(bytes([byte]))
            time.sleep(0.001)

    with served(bit_by_bit) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        assert link.query("FETC?", ENOUGH_S) == "400,0,0.5"
        link.close()


def test_a_late_answer_is_never_the_next_answer() -> None:
    """After a time-out the link is closed; opened again it knows nothing of what came late."""
    let_go, sent = Event(), Event()

    def late(connection: socket.socket, line: bytes) -> None:
        if line == b"VOLT?":
            let_go.wait()
            connection.sendall(b"230\n")
            sent.set()
        else:
            connection.sendall(b"5\n")

    with served(late) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        with pytest.raises(NoAnswer):
            link.query("VOLT?", SOON_S)
        with pytest.raises(ConnectionLost, match="not open"):
            link.query("CURR?", ENOUGH_S)
        let_go.set()
        link.reopen()
        assert link.query("CURR?", ENOUGH_S) == "5"
        link.close()


def test_a_line_that_nobody_asked_for_is_noticed() -> None:
    """Two lines to one question: the second is refused before it is taken for another answer."""
    both_sent = Event()

    def twice(connection: socket.socket, _: bytes) -> None:
        connection.sendall(b"1\n")
        time.sleep(0.01)
        connection.sendall(b"2\n")
        both_sent.set()

    with served(twice) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        try:
            link.query("VOLT?", ENOUGH_S)
        except BadAnswer:  # both at once
            return
        assert both_sent.wait(ENOUGH_S)
        time.sleep(0.01)
        with pytest.raises(BadAnswer, match="unasked"):
            link.query("CURR?", ENOUGH_S)
        link.close()


def test_a_peer_that_closes_in_a_query_is_lost_at_once() -> None:
    """No spinning until the time-out, half a minute here: closed is closed."""
    with served(lambda c, _: c.close()) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        with pytest.raises(ConnectionLost):
            link.query("FETC?", ENOUGH_S)
        link.close()


def test_a_peer_that_closes_in_an_answer_is_lost() -> None:
    """Half an answer is none."""

    def half(connection: socket.socket, _: bytes) -> None:
        connection.sendall(b"400,0")
        connection.shutdown(socket.SHUT_RDWR)

    with served(half) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        with pytest.raises(ConnectionLost):
            link.query("FETC?", ENOUGH_S)
        link.close()


def test_a_peer_that_resets_is_lost() -> None:
    """A reset is a lost connection and no raw exception."""

    def reset(connection: socket.socket, _: bytes) -> None:
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        connection.close()

    with served(reset) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        with pytest.raises(ConnectionLost):
            link.query("FETC?", ENOUGH_S)
        link.close()


def test_a_refused_port_is_found_when_it_is_opened() -> None:
    """pyvisa-py opens it without a word."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    link = VisaTextLink(f"TCPIP::127.0.0.1::{port}::SOCKET", "lv")
    with pytest.raises(ConnectionLost, match="refused"):
        link.reopen()
    link.close()


@pytest.mark.parametrize(
    "resource",
    [
        "TCPIP::127.0.0.1::INSTR",
        "TCPIP::127.0.0.1::hislip0::INSTR",
        "USB::0x1234::0x5678::X::INSTR",
        "ASRL/dev/there-is-none::INSTR",
        "GPIB::1::INSTR",
        "nonsense",
    ],
)
@leaves_a_socket
def test_what_is_not_there_is_lost(resource: str) -> None:
    """VXI-11, HiSLIP, USB and serial lines with nobody at their other end, and no resource."""
    link = VisaTextLink(resource, "lv")
    with pytest.raises(ConnectionLost):
        link.reopen()
    link.close()
    # pyvisa-py leaves the socket of a failed opening to the garbage collector.
    gc.collect()


def _one_answer(answer: bytes) -> None:
    with served(lambda c, _: c.sendall(answer)) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        try:
            link.query("FETC?", SOON_S)
        finally:
            link.close()


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (b"400,0,0.5", "no end"),
        (b"1," * LONGEST_ANSWER, "over-long"),
        (b"4\xb50,0\n", "not ASCII"),
        (b"\n", "empty"),
        (b"\r\n", "empty"),
        (b"1\n2\n", "more than one line"),
    ],
)
def test_what_is_no_line_is_a_bad_answer(answer: bytes, why: str) -> None:
    """Unterminated, over-long, garbled, empty, doubled: refused, each by its name."""
    with pytest.raises(BadAnswer, match=why):
        _one_answer(answer)


def test_a_flood_ends() -> None:
    """A peer that never stops sending is a bad answer as soon as it is over-long."""

    def flood(connection: socket.socket, _: bytes) -> None:
        while True:
            connection.sendall(b"\x00" * 65536)

    with served(flood) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        with pytest.raises(BadAnswer, match="over-long"):
            link.query("FETC?", ENOUGH_S)
        link.close()


def test_a_peer_that_never_reads_is_no_answer() -> None:
    """Once its buffers are full a message can't be sent; the library would wait for ever."""
    go_on = Event()

    def read_no_more(_connection: socket.socket, _line: bytes) -> None:
        go_on.wait()

    with served(read_no_more) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()

        def until_full() -> None:
            for _ in range(100_000):
                link.write("X" * 1000, SOON_S)

        with pytest.raises(NoAnswer, match="not sent"):
            until_full()
        go_on.set()
        link.close()


def test_a_step_of_the_wall_clock_lengthens_no_time_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The wall clock runs backwards here, so that a wait by it would never end."""
    now = [1e9]

    def backwards() -> float:
        now[0] -= 10.0
        return now[0]

    with served(lambda _c, _l: None) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        monkeypatch.setattr(time, "time", backwards)
        with pytest.raises(NoAnswer):
            link.query("FETC?", SOON_S)
        monkeypatch.undo()
        link.close()


def test_two_threads_on_one_link_are_refused() -> None:
    """The guard is ours: pyvisa would mix their answers up without a word."""
    asked, let_go = Event(), Event()

    def slow(connection: socket.socket, _: bytes) -> None:
        asked.set()
        let_go.wait()
        connection.sendall(b"1\n")

    answers: list[str] = []
    with served(slow) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        owner = Thread(target=lambda: answers.append(link.query("VOLT?", ENOUGH_S)))
        owner.start()
        assert asked.wait(ENOUGH_S)
        with pytest.raises(RuntimeError, match="two threads"):
            link.query("CURR?", ENOUGH_S)
        let_go.set()
        owner.join()
        link.close()
    assert answers == ["1"]


def test_what_is_too_long_to_be_a_question_is_not_sent() -> None:
    """Nor is what isn't ASCII: a socket's buffer takes a question without waiting."""
    link = VisaTextLink("TCPIP::127.0.0.1::1::SOCKET", "lv")
    for message in ("X" * 1001, "TEMP? °C"):
        with pytest.raises(Refused):
            link.write(message, SOON_S)


@pytest.mark.parametrize(
    ("error", "fault"),
    [
        (pyvisa.VisaIOError(StatusCode.error_timeout), NoAnswer),
        (pyvisa.VisaIOError(StatusCode.error_connection_lost), ConnectionLost),
        (pyvisa.VisaIOError(StatusCode.error_resource_locked), Refused),
        (pyvisa.VisaIOError(StatusCode.error_resource_busy), Refused),
        (pyvisa.errors.InvalidSession(), ConnectionLost),
        (TimeoutError("timed out"), NoAnswer),
        (TimeoutError(110, "Connection timed out"), ConnectionLost),
        (BrokenPipeError(32, "Broken pipe"), ConnectionLost),
        (ConnectionResetError(104, "reset"), ConnectionLost),
        (SerialException("unplugged"), ConnectionLost),
        (Exception("could not connect: -1073807339"), ConnectionLost),
        (TypeError("'NoneType' object is not callable"), ConnectionLost),
    ],
    ids=repr,
)
def test_every_foreign_exception_is_one_of_ours(
    error: Exception, fault: type[InstrumentFault]
) -> None:
    """Time-outs are no answer, what another holds is refused, all else a lost connection."""
    ours = _translated("lv", "FETC?", error)
    assert type(ours) is fault
    assert (ours.instrument, ours.asked) == ("lv", "FETC?")


class Terminal:
    """A pseudo-terminal with somebody at its other end who answers lines."""

    def __init__(self, answer: bytes) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.path = os.ttyname(self.slave)
        self._answer = answer
        Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        waiting = b""
        try:
            while came := os.read(self.master, 1000):
                waiting += came
                while b"\n" in waiting:
                    _, waiting = waiting.split(b"\n", 1)
                    if self._answer:
                        os.write(self.master, self._answer)
        except OSError:
            return

    def unplug(self) -> None:
        os.close(self.slave)
        os.close(self.master)


@pytest.fixture(name="terminal")
def _terminal() -> Iterator[Terminal]:
    terminal = Terminal(b"12.5\r\n")
    yield terminal
    try:
        terminal.unplug()
    except OSError:
        return


def test_a_serial_line_answers(terminal: Terminal) -> None:
    """By its VISA name, with its speed and parity behind it."""
    link = VisaTextLink(f"ASRL{terminal.path}::INSTR,19200,N", "ohm")
    link.reopen()
    assert [link.query("READ?", ENOUGH_S) for _ in range(3)] == ["12.5"] * 3
    link.close()


def test_a_silent_serial_line_is_no_answer() -> None:
    """Its time-out is ours too."""
    terminal = Terminal(b"")
    link = VisaTextLink(f"ASRL{terminal.path}::INSTR", "ohm")
    link.reopen()
    with pytest.raises(NoAnswer):
        link.query("READ?", SOON_S)
    link.close()
    terminal.unplug()


def test_an_unplugged_serial_line_is_lost(terminal: Terminal) -> None:
    """Whatever pyserial raises then."""
    link = VisaTextLink(f"ASRL{terminal.path}::INSTR", "ohm")
    link.reopen()
    link.query("READ?", ENOUGH_S)
    os.close(terminal.slave)
    os.close(terminal.master)
    with pytest.raises(ConnectionLost):
        link.query("READ?", ENOUGH_S)
    link.close()


ANALYSER = TextDescription("text", "ANALYSER", (Query("FETC?", ("voltage", "spare", "current")),))
CHANNEL = Channel("voltage", "lv.voltage.1", "V", 5.0)


def test_an_instrument_comes_back_without_a_restart() -> None:
    """Cut off in a poll it is BAD; the next poll opens, identifies and reads again."""
    cut = Event()

    def cuttable(connection: socket.socket, line: bytes) -> None:
        if cut.is_set():
            cut.clear()
            connection.shutdown(socket.SHUT_RDWR)
        else:
            _answer(connection, line)

    with served(cuttable) as server:
        link = VisaTextLink(server.resource, "lv")
        described = Instrument("lv", "analyser", server.resource, 1.0, ENOUGH_S, (CHANNEL,))
        instrument = TextInstrument(described, ANALYSER, link, CannedClock())
        assert instrument.poll()[0].value == 400.0
        cut.set()
        (bad,) = instrument.poll()
        assert (bad.value, bad.quality) == (None, Quality.BAD)
        fault = instrument.fault
        assert isinstance(fault, ConnectionLost)
        assert instrument.poll()[0].value == 400.0
        assert instrument.fault is None
        assert server.asked.count(b"*IDN?") == 2
        link.close()


def test_what_sets_an_instrument_up_has_to_be_understood() -> None:
    """After every opening its messages are sent and the error queue must be empty."""
    errors = [b'0,"No error"\n', b'-113,"Undefined header"\n']

    def answer(connection: socket.socket, line: bytes) -> None:
        if line == b"SYST:ERR?":
            connection.sendall(errors.pop(0))
        elif line.endswith(b"?"):
            _answer(connection, line)

    described = TextDescription("text", "ANALYSER", ANALYSER.query, set_up=("CONF:VOLT:AC",))
    with served(answer) as server:
        link = VisaTextLink(server.resource, "lv")
        at = Instrument("lv", "analyser", server.resource, 1.0, ENOUGH_S, (CHANNEL,))
        instrument = TextInstrument(at, described, link, CannedClock())
        instrument.open()
        assert server.asked == [b"*IDN?", b"CONF:VOLT:AC", b"SYST:ERR?"]
        with pytest.raises(Refused, match="-113"):
            instrument.open()
        link.close()


@settings(max_examples=60)
@given(st.binary(max_size=60))
def test_no_bytes_get_past_the_seam(answer: bytes) -> None:
    """Whatever comes before the other end closes: one line of ASCII, or a fault of ours."""

    def send(connection: socket.socket, _: bytes) -> None:
        connection.sendall(answer)
        connection.shutdown(socket.SHUT_RDWR)

    with served(send) as server:
        link = VisaTextLink(server.resource, "lv")
        link.reopen()
        line = ""
        with suppress(InstrumentFault):
            line = link.query("FETC?", ENOUGH_S)
        link.close()
    if line:
        assert answer.count(b"\n") == 1
        assert line == answer.decode("ascii").rstrip("\r\n")


def test_of_a_session_that_was_closed_the_library_keeps_nothing() -> None:
    library: Any = pyvisa.ResourceManager("@py").visalib
    with served(_answer) as server:
        before = set(library.sessions)
        session = _opened(server.resource, "lv")
        (handle,) = set(library.sessions) - before
        assert handle in library._last_status_in_session
        session.close()
    assert handle not in library.sessions
    assert handle not in library._last_status_in_session


def test_the_session_is_what_this_relies_on() -> None:
    """The library's sessions by handle, and the socket in one of them."""
    with served(_answer) as server:
        opened = pyvisa.ResourceManager("@py").open_resource(server.resource)
        library: Any = opened.visalib
        assert isinstance(library.sessions[opened.session].interface, socket.socket)
        opened.close()
