"""Instruments on loopback sockets that answer as a test tells them to, line by line."""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tests.drivers.listening import Listening, listening

Answering = Callable[[socket.socket, bytes], None]


class ServedText(Listening):
    """`answering(connection, line)` is called for every line."""

    def __init__(self, answering: Answering) -> None:
        self._answering = answering
        super().__init__()

    @property
    def resource(self) -> str:
        return f"TCPIP::127.0.0.1::{self.port}::SOCKET"

    def serve(self, connection: socket.socket) -> None:
        waiting = b""
        while came := connection.recv(4096):
            waiting += came
            while b"\n" in waiting:
                line, waiting = waiting.split(b"\n", 1)
                self.asked.append(line)
                self._answering(connection, line)


@contextmanager
def served(answering: Answering) -> Iterator[ServedText]:
    with listening(ServedText(answering)) as server:
        yield server
