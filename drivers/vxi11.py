"""Text over VXI-11, by remote procedure calls on the connection and the link that PyVISA opened.

VXI-11 revision 1.0, B.6 (from memory). pyvisa-py's own reading and writing call every error of an
instrument an error of its line, and wait five seconds for an instrument that is gone to close its
link.
"""

from collections.abc import Callable
from time import monotonic
from typing import Any

from drivers.link import (
    END,
    LONGEST_ANSWER,
    BadAnswer,
    ConnectionLost,
    InstrumentFault,
    NoAnswer,
    Refused,
)
from drivers.peer_socket import PeerSocket

DEVICE_WRITE, DEVICE_READ, DEVICE_CLEAR, DESTROY_LINK = 11, 12, 15, 23
# Flag of a write, and reasons of a read: the message is at its end, or at its last character.
END_OF_WRITE = 8
END_OF_READ = 2 | 4
# A device takes at least this much in one write (B.6.3); no question is as long.
LEAST_RECEIVED = 1024
CLEARING_S = 1.0
# Less than closing may take before its thread counts as stuck.
DESTROYING_S = 0.4

NOT_SUPPORTED, IO_TIMEOUT = 8, 15
_ERRORS: dict[int, tuple[type[InstrumentFault], str]] = {
    1: (Refused, "syntax error"),
    3: (ConnectionLost, "device not accessible"),
    4: (ConnectionLost, "invalid link"),
    5: (Refused, "parameter error"),
    6: (ConnectionLost, "channel not established"),
    NOT_SUPPORTED: (Refused, "operation not supported"),
    9: (Refused, "out of resources"),
    11: (Refused, "locked by another link"),
    12: (Refused, "no lock held by this link"),
    IO_TIMEOUT: (NoAnswer, "its time-out is over"),
    17: (ConnectionLost, "I/O error"),
    23: (ConnectionLost, "aborted"),
}


class Vxi11Session:
    """A session on VXI-11; its calls may wait a second longer than the time-out.

    What was not read on an earlier link is cleared at construction.
    """

    def __init__(self, session: Any, close_session: Callable[[], None], name: str) -> None:
        self._name = name
        self._link: int = session.link
        self._most: int = max(session.max_recv_size, LEAST_RECEIVED)
        self._core = session.interface
        self._close_session = close_session
        self._core.sock = PeerSocket.instead_of(self._core.sock)
        self._core.destroy_link = self._destroy
        self._clear()

    def exchange(self, asked: str, timeout_s: float, answered: bool) -> bytes:
        """Send a message; return what comes up to the end of the answer, or at once nothing.

        Raises InstrumentFault, and what the wire raises.
        """
        deadline = monotonic() + timeout_s
        self._write(asked, timeout_s)
        came, reason = b"", 0
        while answered and not reason & END_OF_READ:
            error, reason, part = self._read(LONGEST_ANSWER + 1 - len(came), deadline)
            came += part
            if len(came) > LONGEST_ANSWER:
                raise BadAnswer(self._name, asked, f"over-long: {came[:40]!r}")
            if error and came:
                raise BadAnswer(self._name, asked, f"no end to it: {came[:40]!r}")
            self._judge(asked, error)
        return came

    def close(self) -> None:
        """Close link and connection."""
        self._close_session()

    def _write(self, asked: str, timeout_s: float) -> None:
        message = asked.encode("ascii") + END
        error, taken = self._core.make_call(
            DEVICE_WRITE,
            (self._link, _ms(timeout_s), 0, END_OF_WRITE, message),
            self._core.packer.pack_device_write_parms,
            self._core.unpacker.unpack_device_write_resp,
        )
        self._judge(asked, error)
        if taken != len(message):
            came = f"it took {taken} of {len(message)} characters"
            raise Refused(self._name, asked, came)

    def _read(self, count: int, deadline: float) -> tuple[int, int, bytes]:
        """Return error, reasons and data of one read; past the deadline, of none."""
        left = deadline - monotonic()
        if left <= 0:
            return IO_TIMEOUT, 0, b""
        read: tuple[int, int, bytes] = self._core.make_call(
            DEVICE_READ,
            (self._link, min(count, self._most), _ms(left), 0, 0, 0),
            self._core.packer.pack_device_read_parms,
            self._core.unpacker.unpack_device_read_resp,
        )
        return read

    def _clear(self) -> None:
        error = self._core.make_call(
            DEVICE_CLEAR,
            (self._link, 0, 0, _ms(CLEARING_S)),
            self._core.packer.pack_device_generic_parms,
            self._core.unpacker.unpack_device_error,
        )
        if error != NOT_SUPPORTED:
            self._judge("clear", error)

    def _destroy(self, link: int) -> None:
        """Have the device forget the link: as the client's own call, with less patience."""
        self._core.start_call(DESTROY_LINK)
        self._core.packer.pack_device_link(link)
        self._core.timeout = DESTROYING_S
        self._core.do_call()

    def _judge(self, asked: str, error: int) -> None:
        if error:
            raise fault_of(error, self._name, asked)


def fault_of(error: int, name: str, asked: str) -> InstrumentFault:
    """Return the fault that an error code of VXI-11 is; codes that it has not are a lost link."""
    kind, words = _ERRORS.get(error, (ConnectionLost, "unknown"))
    return kind(name, asked, f"VXI-11 error {error}: {words}")


def _ms(seconds: float) -> int:
    return max(round(seconds * 1000), 1)
