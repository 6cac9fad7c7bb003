"""An instrument on HiSLIP over loopback, its messages from their text (IVI-6.1, from memory).

It shares no line with the client: synchronous and asynchronous channel, synchronized mode.
"""

import socket
import struct
from collections.abc import Callable

from tests.drivers.listening import Listening, exactly

INITIALIZE, INITIALIZE_RESPONSE, FATAL_ERROR, ERROR = 0, 1, 2, 3
DATA, DATA_END = 6, 7
ASYNC_MAX_SIZE, ASYNC_MAX_SIZE_RESPONSE = 15, 16
ASYNC_INITIALIZE, ASYNC_INITIALIZE_RESPONSE = 17, 18

# What is sent for a message: on the synchronous channel, with the message's number.
Answering = Callable[[socket.socket, int, bytes], None]


def frame(kind: int, parameter: int, payload: bytes = b"", control: int = 0) -> bytes:
    """Return a message: 'HS', its type, control code, parameter, length and payload."""
    return struct.pack(">2sBBIQ", b"HS", kind, control, parameter, len(payload)) + payload


class HislipInstrument(Listening):
    """`answering(connection, number, message)` is called for every whole message.

    `initializing` does something else where a session is asked for.
    """

    def __init__(self, answering: Answering) -> None:
        self.answering = answering
        self.initializing: Callable[[socket.socket], None] | None = None
        self.sessions: set[int] = set()
        self._begun = 0
        super().__init__()

    @property
    def resource(self) -> str:
        return f"TCPIP::127.0.0.1::hislip0,{self.port}::INSTR"

    def serve(self, connection: socket.socket) -> None:
        kind, _, sub_address = _received(connection)
        if kind == ASYNC_INITIALIZE:
            connection.sendall(frame(ASYNC_INITIALIZE_RESPONSE, 0))
            self._serve_async(connection)
        elif self.initializing is not None:
            self.initializing(connection)
        else:
            assert (kind, sub_address) == (INITIALIZE, b"hislip0")
            self._begun += 1
            self._serve_sync(connection, self._begun)

    def _serve_sync(self, connection: socket.socket, session: int) -> None:
        self.sessions.add(session)
        # Version 1.0 above the session's number.
        connection.sendall(frame(INITIALIZE_RESPONSE, 0x0100_0000 | session))
        message = b""
        try:
            while True:
                kind, number, payload = _received(connection)
                assert kind in (DATA, DATA_END)
                message += payload
                if kind == DATA_END:
                    self.asked.append(message)
                    self.answering(connection, number, message)
                    message = b""
        finally:
            self.sessions.remove(session)

    def _serve_async(self, connection: socket.socket) -> None:
        while True:
            kind, _, _ = _received(connection)
            assert kind == ASYNC_MAX_SIZE
            connection.sendall(frame(ASYNC_MAX_SIZE_RESPONSE, 0, struct.pack(">Q", 4096)))


def _received(connection: socket.socket) -> tuple[int, int, bytes]:
    mark, kind, _control, parameter, length = struct.unpack(">2sBBIQ", exactly(connection, 16))
    assert mark == b"HS"
    return kind, parameter, exactly(connection, length)
