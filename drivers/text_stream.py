"""Text on a stream: bytes come without marks between them, on a socket or a serial line.

They are sent and received here, on the descriptor that PyVISA opened, and waited for on the
monotonic clock: pyvisa-py's own waits follow the wall clock, spin on a connection that the other
end closed, and have no end where nobody reads.
"""

import os
from collections.abc import Callable
from select import POLLIN, POLLOUT, poll
from socket import IPPROTO_TCP, MSG_DONTWAIT, SO_ERROR, SOL_SOCKET, TCP_NODELAY, socket
from time import monotonic
from typing import Any

from drivers.link import END, LONGEST_ANSWER, BadAnswer, ConnectionLost, NoAnswer


class Stream:
    """A session on a socket or a serial line. Raises OSError where its connection is none."""

    def __init__(self, interface: Any, close_session: Callable[[], None], name: str) -> None:
        self._name = name
        self._close_session = close_session
        fd: int = interface.fileno()
        self._receive: Callable[[], bytes] = lambda: os.read(fd, LONGEST_ANSWER + 1)
        self._send: Callable[[bytes], int] = lambda data: os.write(fd, data)
        if isinstance(interface, socket):
            self._receive = lambda: interface.recv(LONGEST_ANSWER + 1, MSG_DONTWAIT)
            self._send = lambda data: interface.send(data, MSG_DONTWAIT)
            interface.setsockopt(IPPROTO_TCP, TCP_NODELAY, 1)
            # A refused connection counts as open until it is used.
            if error := interface.getsockopt(SOL_SOCKET, SO_ERROR):
                raise OSError(error, os.strerror(error))
        self._may_read, self._may_write = poll(), poll()
        self._may_read.register(fd, POLLIN)
        self._may_write.register(fd, POLLOUT)

    def exchange(self, asked: str, timeout_s: float, answered: bool) -> bytes:
        """Send a message; return what comes up to its line feed, or at once nothing.

        Raises InstrumentFault, and OSError where the connection fails.
        """
        deadline = monotonic() + timeout_s
        if self._may_read.poll(0):
            came = self._come(asked)
            raise BadAnswer(self._name, asked, f"unasked, before the question: {came[:40]!r}")
        self._say(asked, timeout_s)
        came = b""
        while answered and END not in came:
            left = deadline - monotonic()
            if left <= 0 or not self._may_read.poll(left * 1000):
                if came:
                    raise BadAnswer(self._name, asked, f"no end to it: {came[:40]!r}")
                raise NoAnswer(self._name, asked, f"no answer within {timeout_s:g} s")
            came += self._come(asked)
            if len(came) > LONGEST_ANSWER:
                raise BadAnswer(self._name, asked, f"over-long: {came[:40]!r}")
        return came

    def close(self) -> None:
        """Close the session."""
        self._close_session()

    def _say(self, asked: str, timeout_s: float) -> None:
        message = asked.encode("ascii") + END
        try:
            sent = self._send(message)
        except BlockingIOError:
            may = self._may_write.poll(timeout_s * 1000)
            sent = self._send(message) if may else 0
        if sent < len(message):
            raise NoAnswer(self._name, asked, f"not sent within {timeout_s:g} s")

    def _come(self, asked: str) -> bytes:
        """Return what has come, at least a byte of it. Raises ConnectionLost at its end."""
        came = self._receive()
        if not came:
            raise ConnectionLost(self._name, asked, "closed by the other end")
        return came
