"""Text over VISA resources: TCP sockets, VXI-11, HiSLIP, serial lines and USB (pyvisa-py).

PyVISA opens and closes them all. On sockets and serial lines (`text_stream.py`) and on VXI-11
(`vxi11.py`) what it opened is talked to without it; HiSLIP and USB are its own. Calls that may wait
longer than they are told, and every opening, run in the link's worker.
"""

import re
from errno import EBADF
from functools import cache
from traceback import clear_frames
from typing import Any

import pyvisa
import pyvisa_py  # noqa: F401 - pyvisa finds it by name, and would say later that it is missing
from pyvisa.constants import InterfaceType, Parity, ResourceAttribute, StatusCode, StopBits
from pyvisa.resources import MessageBasedResource
from pyvisa_py.sessions import OpenError

from drivers import usbtmc
from drivers.connection import BackOff, Connection
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
from drivers.resource import visa_name
from drivers.text_stream import Stream
from drivers.vxi11 import Vxi11Session, fault_of

# A socket that may be written takes this much without waiting; no question is as long.
LONGEST_MESSAGE = 1000
CONNECT_MS = 3000
# Remote procedure calls of pyvisa-py add a second to the time-out that they are given.
RPC_GRACE_S = 1.2
_SERIAL = re.compile(r"ASRL.+::INSTR(?:,(\d+)(?:,([NEO]))?)?", re.IGNORECASE)
_PARITIES = {"N": Parity.none, "E": Parity.even, "O": Parity.odd}
# Of these it is the cause that says what is wrong.
_HIDING = (pyvisa.VisaIOError, OpenError, OSError)
_NO_LINK = re.compile(r"error creating link: (\d+)")
NO_LIBUSB = "USB needs the system's libusb 1.0 (Debian: libusb-1.0-0), which is not there"
NO_SUCH_HOST = "no such host"
NO_USB_INSTRUMENT = "no such USB instrument, or no permission to use it (udev)"
_HELD_BY_ANOTHER = (StatusCode.error_resource_locked, StatusCode.error_resource_busy)


class VisaTextLink:
    """A link to an instrument by its VISA name; of a serial line `ASRL…::INSTR[,BAUD[,PARITY]]`.

    Lines end in a line feed. Any fault closes the session; `reopen` opens it again, not before its
    back-off is over. Raises InstrumentFault, and RuntimeError where two threads talk at a time.
    """

    def __init__(self, resource: str, name: str) -> None:
        self._name = name
        self._connection: Connection[_Session] = Connection(
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
            if isinstance(session, Stream):
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


class _Messages:
    """A session of pyvisa-py's that marks where a message ends: HiSLIP, USB. Its calls may wait."""

    def __init__(self, opened: MessageBasedResource, name: str) -> None:
        self._name = name
        self._opened = opened
        library: Any = opened.visalib
        self._session = library.sessions[opened.session]
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


_Session = Stream | Vxi11Session | _Messages


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


def _opened(resource: str, name: str) -> _Session:
    serial = _SERIAL.fullmatch(resource)
    try:
        opened = _manager().open_resource(
            visa_name(resource),
            resource_pyclass=MessageBasedResource,
            open_timeout=CONNECT_MS,
        )
    except Exception as error:
        _let_go(error)
        raise _not_opened(name, error) from error
    assert isinstance(opened, MessageBasedResource)
    try:
        if serial:
            _set_line(opened, int(serial[1] or 9600), _PARITIES[(serial[2] or "N").upper()])
        return _session(opened, name)
    except BaseException:
        _close(opened)
        raise


def _session(opened: MessageBasedResource, name: str) -> _Session:
    library: Any = opened.visalib
    session = library.sessions[opened.session]
    if opened.resource_class == "SOCKET":
        opened.set_visa_attribute(ResourceAttribute.tcpip_keepalive, True)
    if opened.resource_class == "SOCKET" or opened.interface_type == InterfaceType.asrl:
        return Stream(session.interface, lambda: _close(opened), name)
    if opened.interface_type == InterfaceType.tcpip:
        if not opened.get_visa_attribute(ResourceAttribute.tcpip_is_hislip):
            return Vxi11Session(session, lambda: _close(opened), name)
        session.interface._sync = PeerSocket.instead_of(session.interface._sync)
    if opened.interface_type == InterfaceType.usb:
        usbtmc.clear(session.interface)
    return _Messages(opened, name)


def _not_opened(name: str, error: BaseException) -> InstrumentFault:
    """Return why nothing was opened: some exceptions hide the one that they came from."""
    words = str(error)
    if no_link := _NO_LINK.fullmatch(words):
        return fault_of(int(no_link[1]), name, "open")
    if "PyUSB" in words:
        return ConnectionLost(name, "open", NO_LIBUSB)
    if isinstance(error, OSError) and error.errno == EBADF:
        # pyvisa-py closes a connection that has no address, and goes on with it.
        return ConnectionLost(name, "open", NO_SUCH_HOST)
    if words == "No device found.":
        return ConnectionLost(name, "open", NO_USB_INSTRUMENT)
    while isinstance(error, _HIDING) and (hidden := error.__cause__ or error.__context__):
        error = hidden
    return ConnectionLost(name, "open", f"{type(error).__name__}: {error}")


def _let_go(error: BaseException | None) -> None:
    """Let go of what was half opened: a claimed USB interface can't be claimed again."""
    while error is not None:
        clear_frames(error.__traceback__)
        error = error.__cause__ or error.__context__


def _set_line(opened: MessageBasedResource, baud: int, parity: Parity) -> None:
    opened.set_visa_attribute(ResourceAttribute.asrl_baud_rate, baud)
    opened.set_visa_attribute(ResourceAttribute.asrl_parity, parity)
    opened.set_visa_attribute(ResourceAttribute.asrl_stop_bits, StopBits.one)


def _close(opened: MessageBasedResource) -> None:
    library: Any = opened.visalib
    handle = opened.session
    opened.close()
    # The library would keep every session that it ever had, and what it last said in each.
    library.sessions.pop(handle, None)
    library._last_status_in_session.pop(handle, None)
