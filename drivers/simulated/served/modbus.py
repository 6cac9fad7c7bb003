"""Register units that are served, over TCP or on a serial line.

Requests, their limits and their answers are pymodbus's; its server is not used: it always answers,
keeps one request a connection and opens no pseudo-terminal.
"""

import logging
import struct
from asyncio import StreamReader, StreamWriter, wait_for
from collections.abc import Mapping
from typing import Any, NamedTuple, Protocol

from pymodbus import ModbusException
from pymodbus.constants import ExcCodes
from pymodbus.framer.rtu import FramerRTU
from pymodbus.framer.socket import FramerSocket
from pymodbus.pdu import DecodePDU, ExceptionResponse

from drivers.link import Block, Refused
from drivers.simulated.served.wire import ServedWire
from drivers.simulated.tampering import Tampering

READS = (1, 2, 3, 4)
BITS = (1, 2)
WRITES = (5, 6, 15, 16)
# Modbus messaging on TCP/IP 1.0b, 3.1.3: what follows a header's length, unit and PDU.
TCP_LENGTHS = range(2, 255)
# Whatever lies on a serial line that long without becoming a frame is none; 3.5 characters by the
# standard, which no pseudo-terminal keeps.
QUIET_S = 0.02
LONGEST_FRAME = 256


class Unit(Protocol):
    """A unit's registers at the instant that the plant was last moved on to."""

    def read(self, block: Block) -> tuple[int, ...]:
        """Return the block's registers. Raises Refused where there are none."""
        ...

    def write(self, address: int, values: tuple[int, ...]) -> None:
        """Write adjacent registers, in order. Raises Refused and writes nothing."""
        ...


class ServedUnit(NamedTuple):
    """A unit and the wire to it."""

    unit: Unit
    wire: ServedWire


class ServedUnits:
    """The units behind one address, by number, for any number of clients.

    Coils, inputs and both kinds of registers are one space: a bit is whether its register is set.
    Towards pymodbus's requests it is the store that they read and write.
    """

    def __init__(self, units: Mapping[int, ServedUnit]) -> None:
        # What a client got wrong is answered to the client; the library would print it here.
        logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)
        self._units = units
        self._decoder = DecodePDU(is_server=True)
        self._tcp = FramerSocket(self._decoder)
        self._rtu = FramerRTU(self._decoder)

    async def talk_tcp(self, reader: StreamReader, writer: StreamWriter) -> None:
        """Answer one client until it goes, or is out of step."""
        self._opened()
        while head := await reader.readexactly(6):
            transaction, protocol, length = struct.unpack(">HHH", head)
            if protocol or length not in TCP_LENGTHS:
                return
            body = await reader.readexactly(length)
            number, pdu = body[0], body[1:]
            if number in self._units:
                answer = await self._answer(number, pdu)
            else:
                answer = _exception(pdu[0], ExcCodes.GATEWAY_NO_RESPONSE)
            if answer is not None:
                writer.write(self._tcp.encode(answer, number, transaction))
                await writer.drain()

    async def talk_on_line(self, reader: StreamReader, writer: StreamWriter) -> None:
        """Answer on a serial line; a question to a unit that isn't there is nobody's."""
        waiting = b""
        while not reader.at_eof():
            try:
                came = await wait_for(reader.read(LONGEST_FRAME), QUIET_S if waiting else None)
            except TimeoutError:
                waiting = b""
                continue
            waiting += came
            try:
                used, number, _, pdu = self._rtu.decode(waiting)
            except ModbusException:
                waiting = b""
                continue
            waiting = waiting[used:][-LONGEST_FRAME:]
            if pdu and number in self._units:
                answer = await self._answer(number, pdu)
                if answer is not None:
                    writer.write(self._rtu.encode(answer, number, 0))
                    await writer.drain()

    async def async_getValues(  # noqa: N802 - the name is pymodbus's
        self, number: int, function: int, address: int, count: int
    ) -> list[int] | list[bool] | ExcCodes:
        """Return registers or bits; what a write reads back is part of its own exchange."""
        unit, wire = self._units[number]
        block = Block(address, count)

        def changed(tampering: Tampering, answer: tuple[int, ...]) -> tuple[int, ...] | None:
            return tampering.registers(block, answer)

        try:
            if function in WRITES:
                return list(unit.read(block))
            self._hear(wire)
            registers: tuple[int, ...] = await wire.carry(unit.read(block), changed)
            return [bool(r) for r in registers] if function in BITS else list(registers)
        except Refused:
            return ExcCodes.ILLEGAL_ADDRESS

    async def async_setValues(  # noqa: N802 - the name is pymodbus's
        self, number: int, _function: int, address: int, values: list[int] | list[bool]
    ) -> ExcCodes | None:
        """Write registers or bits."""
        unit, wire = self._units[number]
        try:
            self._hear(wire)
            unit.write(address, tuple(map(int, values)))
        except Refused:
            return ExcCodes.ILLEGAL_ADDRESS
        await wire.carry((), lambda _, nothing: nothing)
        return None

    async def _answer(self, number: int, pdu: bytes) -> bytes | None:
        """Return the PDU of the answer, None where the unit is silent."""
        if pdu[0] not in (*READS, *WRITES):
            return _exception(pdu[0], ExcCodes.ILLEGAL_FUNCTION)
        request: Any = self._decoder.decode(pdu)
        if request is None:
            return _exception(pdu[0], ExcCodes.ILLEGAL_VALUE)
        try:
            response = await request.datastore_update(self, number)
        except _Silent:
            return None
        return bytes([response.function_code]) + bytes(response.encode())

    def _hear(self, wire: ServedWire) -> None:
        if not wire.hears():
            raise _Silent

    def _opened(self) -> None:
        for _unit, wire in self._units.values():
            wire.opened()


class _Silent(Exception):
    """The unit doesn't answer."""


def _exception(function: int, code: ExcCodes) -> bytes:
    response = ExceptionResponse(function & 0x7F, code)
    return bytes([response.function_code]) + response.encode()
