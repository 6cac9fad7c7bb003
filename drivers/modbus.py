"""Registers over Modbus TCP and RTU (pymodbus).

The waiting is done here, on the monotonic clock: pymodbus waits by the wall clock, and on a serial
line by sleeping. Retries are a matter of the next poll, never of the library. An answer counts when
it has the function, the count and on writing the echo that was asked for.
"""

import logging
from collections.abc import Callable, Sequence
from select import POLLIN, poll
from time import monotonic
from typing import Any

from pymodbus import ModbusException
from pymodbus.client import ModbusSerialClient, ModbusTcpClient
from pymodbus.constants import ExcCodes
from pymodbus.exceptions import ConnectionException
from pymodbus.pdu import ModbusPDU

from drivers.connection import BackOff, Connection
from drivers.link import (
    BadAnswer,
    Block,
    ConnectionLost,
    InstrumentFault,
    NoAnswer,
    Refused,
    RegisterLink,
)
from drivers.resource import MODBUS_FORMS, RtuUnit, TcpUnit, register_unit
from drivers.shared_line import NotAsked, SharedLine

# What it says at level ERROR are ordinary time-outs, and each of them is a fault of ours already.
logging.getLogger("pymodbus").setLevel(logging.CRITICAL + 1)

CONNECT_S = 3.0
_READ_FUNCTIONS = {"coil": 1, "discrete": 2, "holding": 3, "input": 4}
_WRITE_COIL, _WRITE_REGISTER, _WRITE_COILS, _WRITE_REGISTERS = 5, 6, 15, 16


def modbus_link(resource: str, name: str) -> RegisterLink:
    """Return the link to a unit, not yet open.

    `modbus-tcp:HOST:PORT/UNIT` or `modbus-rtu:DEVICE[,BAUD[,PARITY]]/UNIT`, 19200 baud and even
    parity where not given (Modbus over serial line 1.02, 2.5.1; from memory). With `/coils` behind
    the unit, what is written goes to coils. Links on one serial device share its line. Raises
    ValueError where the resource is none of these, or a line is to have two speeds.
    """
    coils = resource.endswith("/coils")
    match register_unit(resource):
        case TcpUnit(host, port, unit):
            return _TcpUnit(host, port, _Unit(unit, name, coils))
        case RtuUnit(device, baud, parity, unit):
            line = SharedLine.joined(device, baud, parity, _on_line, _Waiting.leave)
            return _RtuUnit(line, _Unit(unit, name, coils))
        case None:
            raise ValueError(f"{resource!r}: expected {MODBUS_FORMS}")


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
        except Refused:
            # An answer; its transaction says which question it is to, so the next is no older one.
            raise
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
        except Refused:
            # An answer; its transaction says which question it is to, so the next is no older one.
            raise
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
    if not client.connect():  # type: ignore[no-untyped-call]  # the library types none
        raise ConnectionError(f"no connection to {host}:{port}")
    return client


class _RtuUnit:
    """A unit on a line that it shares."""

    def __init__(self, line: SharedLine[_RtuClient], unit: _Unit) -> None:
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
        except (Refused, NotAsked):
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
        raise ConnectionError(
            f"{device} can't be opened at {baud} baud, parity {parity}: expected a serial port "
            "that takes both, held by no other program"
        )
    return client
