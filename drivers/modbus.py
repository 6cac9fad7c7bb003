"""Registers over Modbus TCP and RTU (pymodbus).

The waiting is done here, on the monotonic clock: pymodbus waits by the wall clock, and on a serial
line by sleeping. Retries are a matter of the next poll, never of the library. An answer counts when
it has the function, the count and on writing the echo that was asked for.
"""

import logging
import re
from collections.abc import Callable, Sequence
from select import POLLIN, poll
from threading import Lock
from time import monotonic, sleep
from typing import Any, ClassVar

from pymodbus import ModbusException
from pymodbus.client import ModbusSerialClient, ModbusTcpClient
from pymodbus.constants import ExcCodes
from pymodbus.exceptions import ConnectionException
from pymodbus.pdu import ModbusPDU

from drivers.connection import OPENING_S, BackOff, Connection
from drivers.link import (
    BadAnswer,
    Block,
    ConnectionLost,
    InstrumentFault,
    NoAnswer,
    Refused,
    RegisterLink,
)

# What it says at level ERROR are ordinary time-outs, and each of them is a fault of ours already.
logging.getLogger("pymodbus").setLevel(logging.CRITICAL + 1)

CONNECT_S = 3.0
_READ_FUNCTIONS = {"coil": 1, "discrete": 2, "holding": 3, "input": 4}
_WRITE_COIL, _WRITE_REGISTER, _WRITE_COILS, _WRITE_REGISTERS = 5, 6, 15, 16
_LONGEST_FRAME_BITS = 256 * 11
_TCP = re.compile(r"modbus-tcp:(.+):(\d+)/(\d+)(/coils)?")
_RTU = re.compile(r"modbus-rtu:([^,]+?)(?:,(\d+)(?:,([NEO]))?)?/(\d+)(/coils)?")


def modbus_link(resource: str, name: str) -> RegisterLink:
    """Return the link to a unit, not yet open.

    `modbus-tcp:HOST:PORT/UNIT` or `modbus-rtu:DEVICE[,BAUD[,PARITY]]/UNIT`, 19200 baud and even
    parity where not given (Modbus over serial line 1.02, 2.5.1; from memory). With `/coils` behind
    the unit, what is written goes to coils. Links on one serial device share its line. Raises
    ValueError where the resource is none of these, or a line is to have two speeds.
    """
    if tcp := _TCP.fullmatch(resource):
        host, port, unit, coils = tcp.groups()
        if int(port) < 65536 and int(unit) < 256:
            return _TcpUnit(host.strip("[]"), int(port), _Unit(int(unit), name, bool(coils)))
    elif rtu := _RTU.fullmatch(resource):
        device, baud, parity, unit, coils = rtu.groups()
        if 0 < int(unit) < 248 and int(baud or 1) > 0:
            line = _Line.joined(device, int(baud or 19200), parity or "E")
            return _RtuUnit(line, _Unit(int(unit), name, bool(coils)))
    raise ValueError(
        f"{resource!r}: expected modbus-tcp:HOST:PORT/UNIT or modbus-rtu:DEVICE[,BAUD[,N|E|O]]/UNIT"
    )


class _Waiting:
    """How a client waits for what comes: until its deadline, and no more."""

    socket: Any
    deadline = 0.0
    came = 0

    def recv(self, size: int | None) -> bytes:  # noqa: ARG002 - the library's signature
        """Return what has come, or nothing when the time is up."""
        waiting = poll()
        waiting.register(self.socket.fileno(), POLLIN)
        left = self.deadline - monotonic()
        if left <= 0 or not waiting.poll(left * 1000):
            return b""
        data = self.take()
        self.came += len(data)
        if not data:
            raise ConnectionException("closed by the other end")
        return data

    def take(self) -> bytes:
        """Return what is there."""
        raise NotImplementedError

    def leave(self) -> None:
        """Close the connection."""
        close: Callable[[], None] = self.close  # type: ignore[attr-defined]  # the library's, of no type
        close()


class _TcpClient(_Waiting, ModbusTcpClient):
    def take(self) -> bytes:
        """Return what is there."""
        data: bytes = self.socket.recv(4096)
        return data


class _RtuClient(_Waiting, ModbusSerialClient):
    def take(self) -> bytes:
        """Return what is there."""
        data: bytes = self.socket.read(self.socket.in_waiting)
        return data


_Client = _TcpClient | _RtuClient


class _Unit:
    """What is asked of a unit, and what its answers mean."""

    def __init__(self, number: int, name: str, coils: bool) -> None:
        self.name = name
        self._number = number
        self._coils = coils

    def read(self, client: _Client, block: Block, timeout_s: float) -> tuple[int, ...]:
        """Return a block's registers."""
        address, count, table = block
        read: Callable[..., ModbusPDU] = {
            "coil": client.read_coils,
            "discrete": client.read_discrete_inputs,
            "holding": client.read_holding_registers,
            "input": client.read_input_registers,
        }[table]
        response = self._call(
            client,
            lambda: read(address, count=count, device_id=self._number),
            _READ_FUNCTIONS[table],
            block,
            timeout_s,
        )
        values: Sequence[int] = response.registers
        if table in ("coil", "discrete"):
            # Bits come in whole bytes; what fills the last one up is no answer.
            came = len(response.bits)
            values = response.bits[:count] if count <= came < count + 8 else ()
        if len(values) != count:
            raise BadAnswer(self.name, str(block), f"{len(values)} values came back")
        return tuple(map(int, values))

    def write(
        self, client: _Client, address: int, values: tuple[int, ...], timeout_s: float
    ) -> None:
        """Write registers or coils, one with the function for one."""
        several, unit = len(values) != 1, self._number
        write: Callable[[], ModbusPDU]
        if self._coils:
            if not set(values) <= {0, 1}:
                raise Refused(self.name, f"write {values} at {address}", "a coil is 0 or 1")
            bits = [bool(v) for v in values]
            if several:
                function, write = (
                    _WRITE_COILS,
                    lambda: client.write_coils(address, bits, device_id=unit),
                )
            else:
                function, write = (
                    _WRITE_COIL,
                    lambda: client.write_coil(address, bits[0], device_id=unit),
                )
        elif several:
            function, write = (
                _WRITE_REGISTERS,
                lambda: client.write_registers(address, list(values), device_id=unit),
            )
        else:
            function, write = (
                _WRITE_REGISTER,
                lambda: client.write_register(address, values[0], device_id=unit),
            )
        asked = f"write {values} at {address}"
        response = self._call(client, write, function, asked, timeout_s)
        echo = response.bits if self._coils else response.registers
        right = response.count == len(values) if several else list(echo)[:1] == list(values)
        if response.address != address or not right:
            raise BadAnswer(self.name, asked, f"it confirmed another: {response}")

    def _call(
        self,
        client: _Client,
        call: Callable[[], ModbusPDU],
        function: int,
        asked: Block | str,
        timeout_s: float,
    ) -> ModbusPDU:
        """Make a call; return its answer if it is one to this question."""
        client.deadline, client.came = monotonic() + timeout_s, 0
        try:
            response = call()
        except ConnectionException as error:
            raise ConnectionLost(self.name, str(asked), str(error)) from error
        except ModbusException as error:
            if client.came:
                raise BadAnswer(self.name, str(asked), str(error)) from error
            came_back = f"no answer within {timeout_s:g} s"
            raise NoAnswer(self.name, str(asked), came_back) from error
        except (ValueError, IndexError) as error:
            raise BadAnswer(self.name, str(asked), f"unreadable: {error}") from error
        except Exception as error:
            came_back = f"{type(error).__name__}: {error}"
            raise ConnectionLost(self.name, str(asked), came_back) from error
        if response.isError():
            raise self._exception(str(asked), response.exception_code)
        if response.function_code != function:
            raise BadAnswer(self.name, str(asked), f"function {response.function_code}")
        return response

    def _exception(self, asked: str, code: int) -> InstrumentFault:
        named = {c.value: c.name.lower().replace("_", " ") for c in ExcCodes}
        came_back = f"Modbus exception {code}, {named.get(code, 'unknown')}"
        # A gateway says so of a unit that is silent.
        kind = NoAnswer if code == ExcCodes.GATEWAY_NO_RESPONSE else Refused
        return kind(self.name, asked, came_back)


class _TcpUnit:
    """A unit on a connection of its own.

    A write opens a closed link first: an opening of a contactor is worth the try.
    """

    def __init__(self, host: str, port: int, unit: _Unit) -> None:
        self._unit = unit
        self._connection: Connection[_TcpClient] = Connection(
            unit.name, lambda: _connected(host, port), _Waiting.leave, BackOff()
        )

    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        """Return the block's registers. Raises InstrumentFault."""
        connection = self._connection
        client = connection.begin("read")
        try:
            return self._unit.read(client, block, timeout_s)
        except InstrumentFault:
            connection.fault()
            raise
        finally:
            connection.end()

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        """Write adjacent registers, or coils, from `address` on. Raises InstrumentFault."""
        connection = self._connection
        if not connection.is_open:
            connection.reopen()
        client = connection.begin(f"write {values} at {address}")
        try:
            self._unit.write(client, address, values, timeout_s)
        except InstrumentFault:
            connection.fault()
            raise
        finally:
            connection.end()

    def reopen(self) -> None:
        """Close and open the link. Raises ConnectionLost, at once while it has to back off."""
        self._connection.reopen()

    def close(self) -> None:
        """Close the link for good."""
        self._connection.close()


def _connected(host: str, port: int) -> _TcpClient:
    client = _TcpClient(host, port=port, timeout=CONNECT_S, retries=0)
    if not client.connect():  # type: ignore[no-untyped-call]
        raise ConnectionError(f"no connection to {host}:{port}")
    return client


class _Line:
    """A serial line of several units, of which one is talked to at a time.

    An RTU answer doesn't say which question it answers. So after a time-out or anything unreadable
    the line is closed and kept quiet for longer than any answer may take, and then opened afresh.
    """

    _all: ClassVar[dict[str, "_Line"]] = {}
    _all_lock: ClassVar[Lock] = Lock()

    @classmethod
    def joined(cls, device: str, baud: int, parity: str) -> "_Line":
        """Return the one line on a device, with a unit more. Raises ValueError for two speeds."""
        with cls._all_lock:
            line = cls._all.setdefault(device, cls(device, baud, parity))
            if line.settings != (baud, parity):
                speed = f"{line.settings[0]} baud and parity {line.settings[1]}"
                raise ValueError(f"{device} has {speed}")
            line._units += 1
            return line

    def leave(self) -> None:
        """Close the line when the last of its units leaves it."""
        with self._all_lock:
            self._units -= 1
            if self._units == 0:
                del self._all[self._device]
                self._connection.close()

    def __init__(self, device: str, baud: int, parity: str) -> None:
        self.settings = (baud, parity)
        self.opened = 0
        self._device = device
        self._units = 0
        self._turn = Lock()
        self._quiet_until = 0.0
        self._slowest_s = 0.0
        self._frame_s = _LONGEST_FRAME_BITS / baud
        self._client: _RtuClient | None = None
        self._connection: Connection[_RtuClient] = Connection(
            device, lambda: _on_line(device, baud, parity), _Waiting.leave
        )

    def exchange(
        self, name: str, asked: str, timeout_s: float, talk: Callable[[_RtuClient, float], Any]
    ) -> Any:
        """Return what comes of talking on the line, in at most the time-out with all waiting."""
        began = monotonic()
        self._slowest_s = max(self._slowest_s, timeout_s)
        if not self._turn.acquire(timeout=timeout_s):
            raise _NotAsked(name, asked, "the line was busy all the time")
        try:
            client = self._ready(name, asked, began + timeout_s)
            return talk(client, self._left_s(name, asked, began + timeout_s, timeout_s))
        except (Refused, _NotAsked):
            raise
        except InstrumentFault:
            self._break_off()
            raise
        finally:
            self._turn.release()

    def _left_s(self, name: str, asked: str, deadline: float, timeout_s: float) -> float:
        """Return the time for an answer. Too little of it would end in silence for everybody."""
        left = deadline - monotonic()
        if left < min(self._frame_s, timeout_s / 2):
            raise _NotAsked(name, asked, "the line was busy too long")
        return left

    def renew(self, name: str, unless_after: int) -> None:
        """Open the line where it is closed, or has not been opened since it was `unless_after`."""
        if not self._turn.acquire(timeout=OPENING_S):
            raise _NotAsked(name, "reopen", "the line was busy all the time")
        try:
            if self._client is not None and self.opened == unless_after:
                self._break_off()
            self._ready(name, "reopen", self._quiet_until + 1.0)
        finally:
            self._turn.release()

    def _ready(self, name: str, asked: str, deadline: float) -> _RtuClient:
        if self._client is None:
            left = self._quiet_until - monotonic()
            if left > 0 and self._quiet_until >= deadline:
                raise _NotAsked(name, asked, f"the line is kept quiet for {left:.1f} s")
            sleep(max(left, 0.0))
            try:
                self._connection.reopen()
            except ConnectionLost as lost:
                raise ConnectionLost(name, asked, lost.came_back) from lost
            self._client = self._connection.begin(asked)
            self._connection.end()
            self.opened += 1
        return self._client

    def _break_off(self) -> None:
        self._client = None
        self._connection.fault()
        self._quiet_until = monotonic() + 2 * self._slowest_s + self._frame_s


class _NotAsked(NoAnswer):
    """Nothing was asked, since the line was busy or kept quiet: no fault of the unit's."""


class _RtuUnit:
    """A unit on a line that it shares."""

    def __init__(self, line: _Line, unit: _Unit) -> None:
        self._line = line
        self._unit = unit
        self._back_off = BackOff()
        self._heard_in = 0
        self._left = False

    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        """Return the block's registers. Raises InstrumentFault."""
        registers: tuple[int, ...] = self._exchange(
            f"read {block}",
            timeout_s,
            lambda client, left_s: self._unit.read(client, block, left_s),
        )
        return registers

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        """Write adjacent registers, or coils, from `address` on. Raises InstrumentFault."""
        self._exchange(
            f"write {values} at {address}",
            timeout_s,
            lambda client, left_s: self._unit.write(client, address, values, left_s),
        )

    def reopen(self) -> None:
        """Open the line afresh where an answer on it can't be trusted, else join it.

        Raises ConnectionLost, at once while the unit has to back off.
        """
        self._back_off.begin(self._unit.name)
        self._line.renew(self._unit.name, self._heard_in)
        self._heard_in = 0

    def close(self) -> None:
        """Leave the line for good; others may be on it."""
        if not self._left:
            self._left = True
            self._line.leave()

    def _exchange(
        self, asked: str, timeout_s: float, talk: Callable[[_RtuClient, float], Any]
    ) -> Any:
        self._heard_in = 0
        try:
            answer = self._line.exchange(self._unit.name, asked, timeout_s, talk)
        except (Refused, _NotAsked):
            raise
        except InstrumentFault:
            self._back_off.fault()
            raise
        self._heard_in = self._line.opened
        return answer


def _on_line(device: str, baud: int, parity: str) -> _RtuClient:
    client = _RtuClient(
        device,
        baudrate=baud,
        parity=parity,
        stopbits=2 if parity == "N" else 1,
        timeout=CONNECT_S,
        retries=0,
    )
    if not client.connect():
        raise ConnectionError(f"{device} can't be opened")
    return client
