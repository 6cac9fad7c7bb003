"""Instruments on loopback sockets that answer as a test tells them to, each in a thread."""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from threading import Event, Thread

Answering = Callable[[socket.socket, bytes], None]


class ServedText:
    """A listener on a port of its own; `answering(connection, line)` is called for every line."""

    def __init__(self, answering: Answering) -> None:
        self._answering = answering
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self.connections: list[socket.socket] = []
        self.asked: list[bytes] = []
        self.over = Event()
        Thread(target=self._accept, daemon=True).start()

    @property
    def resource(self) -> str:
        return f"TCPIP::127.0.0.1::{self.port}::SOCKET"

    def close(self) -> None:
        self.over.set()
        self._listener.close()
        for connection in self.connections:
            connection.close()

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            self.connections.append(connection)
            Thread(target=self._serve, args=(connection,), daemon=True).start()

    def _serve(self, connection: socket.socket) -> None:
        waiting = b""
        # Its own to close: who is taken in while the listener closes is closed by nobody else.
        with connection, suppress(OSError):
            while came := connection.recv(4096):
                waiting += came
                while b"\n" in waiting:
                    line, waiting = waiting.split(b"\n", 1)
                    self.asked.append(line)
                    self._answering(connection, line)


@contextmanager
def served(answering: Answering) -> Iterator[ServedText]:
    server = ServedText(answering)
    try:
        yield server
    finally:
        server.close()
