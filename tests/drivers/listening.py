"""A listener on a loopback port of its own, every connection served in a thread of its own."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from threading import Event, Thread
from typing import TypeVar


class Listening:
    """What the servers of these tests have in common; `serve` says what they speak."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self.connections: list[socket.socket] = []
        self.asked: list[bytes] = []
        self.over = Event()
        Thread(target=self._accept, daemon=True).start()

    def serve(self, connection: socket.socket) -> None:
        raise NotImplementedError

    def close(self) -> None:
        self.over.set()
        # Closed alone, it would take one more in before its thread notices.
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
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
        # Its own to close: who is taken in while the listener closes is closed by nobody else.
        with connection, suppress(OSError, EOFError):
            self.serve(connection)


Server = TypeVar("Server", bound=Listening)


@contextmanager
def listening(server: Server) -> Iterator[Server]:
    try:
        yield server
    finally:
        server.close()


def exactly(connection: socket.socket, count: int) -> bytes:
    """Return `count` bytes. Raises EOFError where the other end closed before."""
    came = b""
    while len(came) < count:
        part = connection.recv(count - len(came))
        if not part:
            raise EOFError
        came += part
    return came
