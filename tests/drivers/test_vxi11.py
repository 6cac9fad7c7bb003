"""Text over VXI-11: pyvisa-py's own client against an instrument on a loopback connection.

Port mapping is the real exchange, at another port than 111, which needs no privilege.
"""

import socket
import struct
import time
from contextlib import ExitStack

import pytest
from pyvisa_py.protocols import rpc

from drivers import connection, visa
from drivers.link import (
    LONGEST_ANSWER,
    BadAnswer,
    ConnectionLost,
    InstrumentFault,
    NoAnswer,
    Refused,
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
from tests.drivers.vxi11_instrument import (
    CREATE_LINK,
    DESTROY_LINK,
    DEVICE_CLEAR,
    DEVICE_READ,
    DEVICE_WRITE,
    GET_PORT,
    IO_ERROR,
    IO_TIMEOUT,
    LOCKED,
    NO_SUPPORT,
    Vxi11Instrument,
    read_reply,
)

pytestmark = pytest.mark.usefixtures("no_back_off")
OUT_OF_RESOURCES = 9


def _answer(message: bytes) -> bytes:
    return {b"*IDN?\n": b"INVENTED,ANALYSER,1,0\n", b"CURR?\n": b"5\n"}.get(message, b"")


def test_a_question_has_its_answer() -> None:
    """One message there, one back without its terminator; a command has none."""
    with listening(Vxi11Instrument(_answer)) as server, linked(server.resource) as link:
        assert link.query("*IDN?", ENOUGH_S) == "INVENTED,ANALYSER,1,0"
        link.write("INIT", ENOUGH_S)
        assert link.query("CURR?", ENOUGH_S) == "5"
        assert server.asked == [b"*IDN?\n", b"INIT\n", b"CURR?\n"]


def test_the_port_mapper_says_where_the_core_channel_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a real instrument, whose name has no port in it."""
    with listening(Vxi11Instrument(_answer)) as server:
        monkeypatch.setattr(rpc, "PMAP_PORT", server.port)
        with linked("TCPIP::127.0.0.1::INSTR") as link:
            assert link.query("CURR?", ENOUGH_S) == "5"
        assert server.called[:2] == [GET_PORT, CREATE_LINK]


@pytest.mark.parametrize("length", [1, 1023, 1024, 1025, 2048, LONGEST_ANSWER])
def test_an_answer_is_whole_however_it_is_cut(length: int) -> None:
    """Reads are of at most 1024 bytes here: less, just as many, a multiple, and the longest."""
    answer = b"1" * length
    with listening(Vxi11Instrument(lambda _: answer)) as server:
        with linked(server.resource) as link:
            assert link.query("FETC?", ENOUGH_S) == answer.decode()
        server.most = 7
        with linked(server.resource) as link:
            assert link.query("FETC?", ENOUGH_S) == answer.decode()


def test_what_is_longer_than_any_answer_is_none() -> None:
    """Nor is its rest the next answer."""
    answers = [b"1," * LONGEST_ANSWER, b"5\n"]
    with (
        listening(Vxi11Instrument(lambda _: answers.pop(0))) as server,
        linked(server.resource) as link,
    ):
        with pytest.raises(BadAnswer, match="over-long"):
            link.query("FETC?", ENOUGH_S)
        link.reopen()
        assert link.query("CURR?", ENOUGH_S) == "5"


def test_an_answer_without_an_end_is_none() -> None:
    """All of it has come, a line feed too, but no END; the rest may be on its way."""
    with listening(Vxi11Instrument(_answer)) as server, linked(server.resource) as link:
        server.marks_end = False
        with pytest.raises(BadAnswer, match="no end to it"):
            link.query("CURR?", SOON_S)


def test_an_endless_answer_of_nothing_ends_with_the_time_out() -> None:
    """Reads that come back empty, without error and without END."""
    with listening(Vxi11Instrument(_answer)) as server, linked(server.resource) as link:
        server.instead[DEVICE_READ] = lambda _c, _a: read_reply(0, 0, b"")
        with pytest.raises(NoAnswer):
            link.query("CURR?", SOON_S)
        link.reopen()
        assert link.abandoned == 0


def test_silence_is_no_answer_and_the_link_comes_back() -> None:
    """The instrument reports its time-out."""
    with listening(Vxi11Instrument(_answer)) as server, linked(server.resource) as link:
        with pytest.raises(NoAnswer):
            link.query("VOLT?", SOON_S)
        with pytest.raises(ConnectionLost, match="not open"):
            link.query("CURR?", ENOUGH_S)
        link.reopen()
        assert link.query("CURR?", ENOUGH_S) == "5"


def test_an_instrument_that_is_cut_off_is_no_answer_and_keeps_nobody() -> None:
    """Calls have no reply any more, closing included: the fifth time is as good as the first."""
    with listening(Vxi11Instrument(_answer)) as server, linked(server.resource) as link:
        server.instead[DEVICE_READ] = server.instead[DESTROY_LINK] = lambda _c, _a: None
        with pytest.raises(NoAnswer):
            link.query("CURR?", SOON_S)
        link.reopen()
        assert link.abandoned == 0


def test_a_late_answer_is_never_the_next_answer() -> None:
    """It waits in the instrument, whatever link it was asked on, and is cleared at opening."""
    with listening(Vxi11Instrument(_answer)) as server, linked(server.resource) as link:
        with pytest.raises(NoAnswer):
            link.query("VOLT?", SOON_S)
        server.put(b"230\n")
        link.reopen()
        assert link.query("CURR?", ENOUGH_S) == "5"


def test_a_peer_that_closes_in_a_query_is_lost_at_once_and_as_often_as_it_likes() -> None:
    """No spinning until the time-out, half a minute here, and nobody left behind."""

    def cut(connection: socket.socket, _args: bytes) -> None:
        connection.shutdown(socket.SHUT_RDWR)

    with listening(Vxi11Instrument(_answer)) as server, linked(server.resource) as link:
        server.instead[DEVICE_READ] = cut
        for _ in range(connection.MOST_ABANDONED + 1):
            with pytest.raises(ConnectionLost, match="closed by the other end"):
                link.query("CURR?", ENOUGH_S)
            link.reopen()
        del server.instead[DEVICE_READ]
        assert link.query("CURR?", ENOUGH_S) == "5"
        assert link.abandoned == 0


@pytest.mark.parametrize(
    ("error", "fault", "words"),
    [
        (LOCKED, Refused, "locked by another link"),
        (NO_SUPPORT, Refused, "not supported"),
        (IO_TIMEOUT, NoAnswer, "time-out"),
        (IO_ERROR, ConnectionLost, "I/O error"),
        (99, ConnectionLost, "error 99"),
    ],
)
def test_an_error_of_the_instrument_is_told_by_its_name(
    error: int, fault: type[InstrumentFault], words: str
) -> None:
    """Whether it says so when it is written to or when it is read."""
    with listening(Vxi11Instrument(_answer)) as server, linked(server.resource) as link:
        server.instead[DEVICE_READ] = lambda _c, _a: read_reply(error, 0, b"")
        with pytest.raises(fault, match=words):
            link.query("CURR?", ENOUGH_S)
        server.instead[DEVICE_WRITE] = lambda _c, _a: struct.pack(">II", error, 0)
        link.reopen()
        with pytest.raises(fault, match=words):
            link.write("INIT", ENOUGH_S)


def test_a_message_that_is_taken_in_part_is_refused() -> None:
    """Half a command is none."""
    with listening(Vxi11Instrument(_answer)) as server, linked(server.resource) as link:
        server.instead[DEVICE_WRITE] = lambda _c, _a: struct.pack(">II", 0, 3)
        with pytest.raises(Refused, match="3 of 6"):
            link.query("CURR?", ENOUGH_S)


def test_an_instrument_that_knows_no_clear_is_opened_nevertheless() -> None:
    """Its identity is proven by who opens it; one that another holds says so."""
    with listening(Vxi11Instrument(_answer)) as server:
        server.instead[DEVICE_CLEAR] = lambda _c, _a: struct.pack(">I", NO_SUPPORT)
        with linked(server.resource) as link:
            assert link.query("CURR?", ENOUGH_S) == "5"
        server.instead[DEVICE_CLEAR] = lambda _c, _a: struct.pack(">I", LOCKED)
        not_opened(server.resource, Refused, "locked")
        assert eventually(lambda: not server.links)


@leaves_a_socket
def test_a_link_that_is_not_given_is_told_by_its_name() -> None:
    """Too many links is the usual reason."""
    with listening(Vxi11Instrument(_answer)) as server:
        server.instead[CREATE_LINK] = lambda _c, _a: struct.pack(">4I", OUT_OF_RESOURCES, 0, 0, 0)
        not_opened(server.resource, Refused, "out of resources")


@leaves_a_socket
def test_nobody_at_the_port_is_lost() -> None:
    """Refused at once."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    not_opened(f"TCPIP::127.0.0.1,{port}::INSTR", ConnectionLost, "refused")


@leaves_a_socket
def test_a_host_of_no_name_is_told_as_that(monkeypatch: pytest.MonkeyPatch) -> None:
    """pyvisa-py says "bad file descriptor". No name server is asked here."""

    def unknown(_connection: socket.socket, _address: tuple[str, int]) -> int:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    # The class that pyvisa-py makes its connection of, since a socket's own can't be replaced.
    unresolving = type("Unresolving", (socket.socket,), {"connect_ex": unknown})
    monkeypatch.setattr(rpc.socket, "socket", unresolving)
    not_opened("TCPIP::nowhere.invalid::INSTR", ConnectionLost, "no such host")


@leaves_a_socket
def test_a_host_that_does_not_answer_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its queue is full, so that it drops whoever wants to connect, as an absent host does."""
    monkeypatch.setattr(visa, "CONNECT_MS", 200)
    with socket.create_server(("127.0.0.1", 0), backlog=0) as listener, ExitStack() as waiting:
        for _ in range(3):
            one = waiting.enter_context(socket.socket())
            one.setblocking(False)
            one.connect_ex(listener.getsockname())
        not_opened(
            f"TCPIP::127.0.0.1,{listener.getsockname()[1]}::INSTR", ConnectionLost, "can't connect"
        )


def test_a_call_that_outlives_its_time_out_is_left_behind_and_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A reply that trickles in has no time-out in pyvisa-py; the link goes on without it."""
    monkeypatch.setattr(visa, "RPC_GRACE_S", 0.1)
    monkeypatch.setattr(connection, "CLOSING_S", 0.1)

    def trickle(connection: socket.socket, _args: bytes) -> None:
        connection.sendall(struct.pack(">I", 0x80000000 | 1_000_000))
        while not server.over.is_set():
            connection.sendall(b"\0")
            time.sleep(0.01)

    with listening(Vxi11Instrument(_answer)) as server, linked(server.resource) as link:
        server.instead[DEVICE_READ] = trickle
        with pytest.raises(NoAnswer):
            link.query("CURR?", SOON_S)
        del server.instead[DEVICE_READ]
        link.reopen()
        assert link.abandoned == 1
        assert link.query("CURR?", ENOUGH_S) == "5"


def test_no_link_of_an_instrument_and_no_session_is_left_over() -> None:
    """Some instruments have but a few links, and keep them until they are switched off."""
    with listening(Vxi11Instrument(_answer)) as server:
        with linked(server.resource) as link:
            before = sessions_of_the_library()
            for _ in range(5):
                with pytest.raises(NoAnswer):
                    link.query("VOLT?", 0.01)
                link.reopen()
            assert len(server.links) == 1
            assert sessions_of_the_library() == before
        assert eventually(lambda: not server.links)
