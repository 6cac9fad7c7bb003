"""Text over VISA resources: TCP sockets, VXI-11, HiSLIP, serial lines and USB (pyvisa-py).

PyVISA opens and closes them all. On sockets and serial lines bytes are sent and received here, on
the descriptor that it opened, and waited for on the monotonic clock: pyvisa-py's own waits follow
the wall clock, spin on a connection that the other end closed, and have no end where nobody reads.
Calls of the other kinds of session, and every opening, run in the link's worker.
"""

import os
import re
from collections.abc import Callable
from functools import cache
from select import POLLIN, POLLOUT, poll
from socket import IPPROTO_TCP, MSG_DONTWAIT, SO_ERROR, SOL_SOCKET, TCP_NODELAY, socket
from time import monotonic
from typing import Any

import pyvisa
import pyvisa_py  # noqa: F401 - pyvisa finds it by name, and would say later that it is missing
from pyvisa.constants import Parity, ResourceAttribute, StatusCode, StopBits
from pyvisa.resources import MessageBasedResource

from drivers.connection import BackOff, Connection
from drivers.link import BadAnswer, ConnectionLost, InstrumentFault, NoAnswer, Refused

END = b"\n"
LONGEST_ANSWER = 20_000
# A socket that may be written takes this much without waiting; no question is as long.
LONGEST_MESSAGE = 1000
CONNECT_MS = 3000
# Remote procedure calls of pyvisa-py add a second to the time-out that they are given.
RPC_GRACE_S = 1.2
_SERIAL = re.compile(r"(ASRL.+::INSTR)(?:,(\d+)(?:,([NEO]))?)?", re.IGNORECASE)
_PARITIES = {"N": Parity.none, "E": Parity.even, "O": Parity.odd}
_HELD_BY_ANOTHER = (StatusCode.error_resource_locked, StatusCode.error_resource_busy)


class VisaTextLink:
    """A link to an instrument by its VISA name; of a serial line `ASRL…::INSTR[,BAUD[,PARITY]]`.

    Lines end in a line feed. Any fault closes the session; `reopen` opens it again, not before its
    back-off is over. Raises InstrumentFault, and RuntimeError where two threads talk at a time.
    """

    def __init__(self, resource: str, name: str) -> None:
        self._name = name
        self._connection: Connection[_Stream | _Messages] = Connection(
            name, lambda: _opened(resource, name), lambda session: session.close(), BackOff()
        )

    @property
    def abandoned(self) -> int:
        """How many calls never came back."""
        return self._connection.abandoned

    def query(self, message: str, timeout_s: float) -> str:
        """Send one message and return its one answer, without its terminator.

        Raises NoAnswer, ConnectionLost, BadAnswer and Refused.
        """
        return self._exchange(message, timeout_s, True)

    def write(self, message: str, timeout_s: float) -> None:
        """Send one message that has no answer. Raises NoAnswer, ConnectionLost and Refused."""
        self._exchange(message, timeout_s, False)

    def reopen(self) -> None:
        """Close and open the link. Raises ConnectionLost, at once while it has to back off."""
        self._connection.reopen()

    def close(self) -> None:
        """Close the link for good."""
        self._connection.close()

    def _exchange(self, message: str, timeout_s: float, answered: bool) -> str:
        connection = self._connection
        if len(message) > LONGEST_MESSAGE or not message.isascii():
            raise Refused(self._name, message[:40], "no message of at most 1000 ASCII characters")
        session = connection.begin(message)
        try:
            if isinstance(session, _Stream):
                came = session.exchange(message, timeout_s, answered)
            else:
                came = connection.call(
                    lambda: session.exchange(message, timeout_s, answered),
                    message,
                    timeout_s + RPC_GRACE_S,
                )
            return self._line(message, came) if answered else ""
        except InstrumentFault:
            connection.fault()
            raise
        except Exception as error:
            connection.fault()
            raise _translated(self._name, message, error) from error
        finally:
            connection.end()

    def _line(self, asked: str, came: bytes) -> str:
        if not came.isascii():
            raise BadAnswer(self._name, asked, f"not ASCII: {came[:40]!r}")
        answer = came.decode("ascii").rstrip("\r\n")
        if not answer:
            raise BadAnswer(self._name, asked, "an empty answer")
        if "\n" in answer:
            raise BadAnswer(self._name, asked, f"more than one line: {came[:40]!r}")
        return answer


class _Stream:
    """A session whose bytes come without marks between them: a socket or a serial line."""

    def __init__(self, opened: MessageBasedResource, name: str) -> None:
        self._name = name
        self._opened = opened
        interface = _session_of(opened).interface
        fd: int = interface.fileno()
        self._receive: Callable[[], bytes] = lambda: os.read(fd, LONGEST_ANSWER + 1)
        self._send: Callable[[bytes], int] = lambda data: os.write(fd, data)
        if isinstance(interface, socket):
            self._receive = lambda: interface.recv(LONGEST_ANSWER + 1, MSG_DONTWAIT)
            self._send = lambda data: interface.send(data, MSG_DONTWAIT)
            interface.setsockopt(IPPROTO_TCP, TCP_NODELAY, 1)
            opened.set_visa_attribute(ResourceAttribute.tcpip_keepalive, True)
            # A refused connection counts as open until it is used.
            if error := interface.getsockopt(SOL_SOCKET, SO_ERROR):
                raise OSError(error, os.strerror(error))
        self._may_read, self._may_write = poll(), poll()
        self._may_read.register(fd, POLLIN)
        self._may_write.register(fd, POLLOUT)

    def exchange(self, asked: str, timeout_s: float, answered: bool) -> bytes:
        """Send a message; return what comes up to its line feed, or at once nothing."""
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
        _close(self._opened)

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


class _Messages:
    """A session that marks where a message ends: VXI-11, HiSLIP, USB. Its calls may wait."""

    def __init__(self, opened: MessageBasedResource, name: str) -> None:
        self._name = name
        self._opened = opened
        self._session = _session_of(opened)
        self._timeout_s = 0.0

    def exchange(self, asked: str, timeout_s: float, answered: bool) -> bytes:
        """Send a message; return what comes up to the end of the answer, or at once nothing."""
        if timeout_s != self._timeout_s:
            self._opened.timeout = timeout_s * 1000
            self._timeout_s = timeout_s
        _sent, status = self._session.write(asked.encode("ascii") + END)
        self._judge(asked, status, b"")
        came = b""
        while answered:
            part, status = self._session.read(LONGEST_ANSWER + 1 - len(came))
            came += part
            if len(came) > LONGEST_ANSWER:
                raise BadAnswer(self._name, asked, f"over-long: {came[:40]!r}")
            self._judge(asked, status, came)
            if status != StatusCode.success_max_count_read:
                break
        return came

    def close(self) -> None:
        """Close the session."""
        _close(self._opened)

    def _judge(self, asked: str, status: StatusCode, came: bytes) -> None:
        if status < 0 and came:
            raise BadAnswer(self._name, asked, f"no end to it: {came[:40]!r}")
        if status < 0:
            raise _translated(self._name, asked, pyvisa.VisaIOError(status))


def _translated(name: str, asked: str, error: Exception) -> InstrumentFault:
    """Return the fault that a foreign exception means: everything unknown is a lost connection."""
    code = error.error_code if isinstance(error, pyvisa.VisaIOError) else None
    # Without a number it is a socket's own time-out; with ETIMEDOUT the connection died.
    silent = isinstance(error, TimeoutError) and error.errno is None
    came_back = f"{type(error).__name__}: {error}"
    if silent or code == StatusCode.error_timeout:
        return NoAnswer(name, asked, came_back)
    if code in _HELD_BY_ANOTHER:
        return Refused(name, asked, came_back)
    return ConnectionLost(name, asked, came_back)


@cache
def _manager() -> pyvisa.ResourceManager:
    """Return the one manager of the process; a second one would close this one's sessions."""
    return pyvisa.ResourceManager("@py")


def _opened(resource: str, name: str) -> _Stream | _Messages:
    serial = _SERIAL.fullmatch(resource)
    opened = _manager().open_resource(
        serial[1] if serial else resource,
        resource_pyclass=MessageBasedResource,
        open_timeout=CONNECT_MS,
    )
    assert isinstance(opened, MessageBasedResource)
    try:
        if serial:
            _set_line(opened, int(serial[2] or 9600), _PARITIES[(serial[3] or "N").upper()])
        if serial or opened.resource_class == "SOCKET":
            return _Stream(opened, name)
        return _Messages(opened, name)
    except BaseException:
        _close(opened)
        raise


def _set_line(opened: MessageBasedResource, baud: int, parity: Parity) -> None:
    opened.set_visa_attribute(ResourceAttribute.asrl_baud_rate, baud)
    opened.set_visa_attribute(ResourceAttribute.asrl_parity, parity)
    opened.set_visa_attribute(ResourceAttribute.asrl_stop_bits, StopBits.one)


def _session_of(opened: MessageBasedResource) -> Any:
    library: Any = opened.visalib
    return library.sessions[opened.session]


def _close(opened: MessageBasedResource) -> None:
    library: Any = opened.visalib
    handle = opened.session
    opened.close()
    # The library would keep every session that it ever had, and what it last said in each.
    library.sessions.pop(handle, None)
    library._last_status_in_session.pop(handle, None)
