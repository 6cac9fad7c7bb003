"""A wire to one served instrument that can be cut, flooded with garbage, or left hanging."""

import socket
from contextlib import suppress
from threading import Lock, Thread

GARBAGE = b"\xff\x00;garbage,9.9" * 300
HOST = "127.0.0.1"


class Relay:
    """Carries what a client and a port say to each other, until something happens to it."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._passes = True
        self._floods = False
        self._lock = Lock()
        self._open: list[socket.socket] = []
        self._listening = socket.create_server((HOST, 0))
        self.port: int = self._listening.getsockname()[1]
        Thread(target=self._accept, daemon=True).start()

    def hang(self) -> None:
        """Accept and take everything, and say nothing any more."""
        self._passes = False

    def flood(self) -> None:
        """Say garbage without end, as fast as it is taken."""
        self._passes, self._floods = False, True
        with self._lock:
            clients = self._open[::2]
        for client in clients:
            self._pour(client)

    def cut(self) -> None:
        """Break what is connected and refuse whoever comes."""
        self._passes = False
        with suppress(OSError):
            # To shut it wakes the thread that waits in it, which to close alone doesn't.
            self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        with self._lock:
            for each in self._open:
                with suppress(OSError):
                    each.shutdown(socket.SHUT_RDWR)
                each.close()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                client, _ = self._listening.accept()
                far = socket.create_connection((HOST, self._to))
                with self._lock:
                    self._open += [client, far]
                Thread(target=self._carry, args=(client, far), daemon=True).start()
                Thread(target=self._carry, args=(far, client), daemon=True).start()
                if self._floods:
                    self._pour(client)

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while came := one.recv(65536):
                if self._passes:
                    other.sendall(came)
            if self._passes:
                other.shutdown(socket.SHUT_WR)

    def _pour(self, client: socket.socket) -> None:
        def pour() -> None:
            with suppress(OSError):
                while True:
                    client.sendall(GARBAGE)

        Thread(target=pour, daemon=True).start()
