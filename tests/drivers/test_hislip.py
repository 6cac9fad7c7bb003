"""Text over HiSLIP: pyvisa-py's own client against an instrument on loopback connections."""

import socket
import time
from collections.abc import Callable

import pytest

from drivers import connection, visa
from drivers.link import LONGEST_ANSWER, BadAnswer, ConnectionLost, InstrumentFault, NoAnswer
from tests.drivers.hislip_instrument import (
    DATA,
    DATA_END,
    ERROR,
    FATAL_ERROR,
    HislipInstrument,
    frame,
)
from tests.drivers.linked import (
    ENOUGH_S,
    SOON_S,
    eventually,
    leaves_a_socket,
    linked,
    not_opened,
    sessions_of_the_library,
)
from tests.drivers.listening import listening

pytestmark = pytest.mark.usefixtures("no_back_off")
TOO_MANY_CLIENTS = 4
ANSWERS = {b"*IDN?\n": b"INVENTED,ANALYSER,1,0\n", b"CURR?\n": b"5\n"}


def _answer(connection: socket.socket, number: int, message: bytes) -> None:
    if message in ANSWERS:
        connection.sendall(frame(DATA_END, number, ANSWERS[message]))


def _once(
    first: Callable[[socket.socket, int], None],
) -> Callable[[socket.socket, int, bytes], None]:
    """Do something else for the first message."""
    rest = [first]

    def answering(connection: socket.socket, number: int, message: bytes) -> None:
        if rest:
            rest.pop()(connection, number)
        else:
            _answer(connection, number, message)

    return answering


def test_a_question_has_its_answer() -> None:
    """One message there, one back without its terminator; a command has none."""
    with listening(HislipInstrument(_answer)) as server, linked(server.resource) as link:
        assert link.query("*IDN?", ENOUGH_S) == "INVENTED,ANALYSER,1,0"
        link.write("INIT", ENOUGH_S)
        assert link.query("CURR?", ENOUGH_S) == "5"
        assert server.asked == [b"*IDN?\n", b"INIT\n", b"CURR?\n"]


@pytest.mark.parametrize("part", [1, 8, 16, 20_000])
@pytest.mark.parametrize("length", [16, LONGEST_ANSWER])
def test_an_answer_is_whole_however_it_is_cut(length: int, part: int) -> None:
    """Messages of one byte, of parts that it is a multiple of, of all of it; an empty last one."""
    answer = b"1" * length

    def in_parts(connection: socket.socket, number: int, _message: bytes) -> None:
        cut = (answer[i : i + part] for i in range(0, length, part))
        connection.sendall(b"".join(frame(DATA, number, c) for c in cut))
        connection.sendall(frame(DATA_END, number, b""))

    with listening(HislipInstrument(in_parts)) as server, linked(server.resource) as link:
        assert link.query("FETC?", ENOUGH_S) == answer.decode()


def _frames(*frames: tuple[int, bytes]) -> Callable[[socket.socket, int], None]:
    def send(connection: socket.socket, number: int) -> None:
        for kind, payload in frames:
            connection.sendall(frame(kind, number, payload))

    return send


def _cut_short(connection: socket.socket, number: int) -> None:
    connection.sendall(frame(DATA_END, number, b"400,0\n")[:-2])


def _close_in(*sent: bytes) -> Callable[[socket.socket, int], None]:
    def close(connection: socket.socket, _number: int) -> None:
        connection.sendall(b"".join(sent))
        connection.shutdown(socket.SHUT_RDWR)

    return close


@pytest.mark.parametrize(
    ("first", "timeout_s", "fault"),
    [
        (_frames(), SOON_S, NoAnswer),
        (_frames((DATA, b"400,0\n")), SOON_S, NoAnswer),
        (_cut_short, SOON_S, NoAnswer),
        (_frames((DATA_END, b"")), ENOUGH_S, BadAnswer),
        (_frames((DATA_END, b"1," * LONGEST_ANSWER)), ENOUGH_S, BadAnswer),
        (_frames((ERROR, b"no such thing")), SOON_S, NoAnswer),
        (lambda c, _: c.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n"), ENOUGH_S, ConnectionLost),
        (_close_in(), ENOUGH_S, ConnectionLost),
        (_close_in(frame(DATA_END, 0xFFFFFFFF, b"400,0\n")[:-2]), ENOUGH_S, ConnectionLost),
        # Another message's answer, on which pyvisa-py would spin for ever.
        (_close_in(frame(DATA_END, 1, b"400,0\n")[:-2]), ENOUGH_S, ConnectionLost),
        (_close_in(frame(FATAL_ERROR, 0, b"broken", 0)), ENOUGH_S, ConnectionLost),
    ],
    ids=[
        "silent", "no end", "cut short", "empty", "over-long", "error", "other protocol", "closed",
        "closed in an answer", "closed in a stale answer", "fatal error",
    ],
)  # fmt: skip
def test_after_a_fault_the_link_is_closed_and_comes_back(
    first: Callable[[socket.socket, int], None], timeout_s: float, fault: type[InstrumentFault]
) -> None:
    """Each by its name; the session that is opened afterwards knows nothing of it."""
    with listening(HislipInstrument(_once(first))) as server, linked(server.resource) as link:
        with pytest.raises(fault):
            link.query("FETC?", timeout_s)
        with pytest.raises(ConnectionLost, match="not open"):
            link.query("CURR?", ENOUGH_S)
        link.reopen()
        assert link.query("CURR?", ENOUGH_S) == "5"
        assert link.abandoned == 0


def test_another_messages_answer_is_not_taken() -> None:
    """Answers carry the number of their message."""

    def stale_before(connection: socket.socket, number: int, message: bytes) -> None:
        connection.sendall(frame(DATA_END, number - 2, b"230\n"))
        _answer(connection, number, message)

    with listening(HislipInstrument(stale_before)) as server, linked(server.resource) as link:
        assert link.query("CURR?", ENOUGH_S) == "5"


@leaves_a_socket
def test_an_instrument_that_has_clients_enough_says_so() -> None:
    """Its words stand in the line, and not that nothing was found."""
    with listening(HislipInstrument(_answer)) as server:
        server.initializing = lambda c: c.sendall(
            frame(FATAL_ERROR, 0, b"too many clients", TOO_MANY_CLIENTS)
        )
        not_opened(server.resource, ConnectionLost, "too many clients")


@leaves_a_socket
def test_nobody_at_the_port_is_lost() -> None:
    """Refused at once."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    not_opened(f"TCPIP::127.0.0.1::hislip0,{port}::INSTR", ConnectionLost, "refused")


def test_a_call_that_outlives_its_time_out_is_left_behind_and_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A message that trickles in has no time-out in pyvisa-py; the link goes on without it."""
    monkeypatch.setattr(visa, "RPC_GRACE_S", 0.1)
    monkeypatch.setattr(connection, "CLOSING_S", 0.1)

    def trickle(connection: socket.socket, number: int) -> None:
        connection.sendall(frame(DATA_END, number, bytes(15_000))[:20])
        while not server.over.is_set():
            connection.sendall(b"\0")
            time.sleep(0.01)

    with (
        listening(HislipInstrument(_once(trickle))) as server,
        linked(server.resource) as link,
    ):
        with pytest.raises(NoAnswer):
            link.query("FETC?", SOON_S)
        link.reopen()
        assert link.abandoned == 1
        assert link.query("CURR?", ENOUGH_S) == "5"


def test_no_session_is_left_over() -> None:
    """Neither with the instrument nor in the library."""
    with listening(HislipInstrument(_answer)) as server:
        with linked(server.resource) as link:
            before = sessions_of_the_library()
            for _ in range(5):
                with pytest.raises(NoAnswer):
                    link.query("VOLT?", 0.01)
                link.reopen()
            assert eventually(lambda: len(server.sessions) == 1)
            assert sessions_of_the_library() == before
        assert eventually(lambda: not server.sessions)
