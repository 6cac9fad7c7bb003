"""Modbus units for tests: pymodbus's own server in a thread, and hand-made ones that misbehave.

The only file of the tests of drivers that imports pymodbus.
"""

import asyncio
import os
import select
import socket
import tty
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager
from threading import Event, Thread
from typing import Any

from pymodbus.constants import ExcCodes
from pymodbus.framer import FramerRTU
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

__all__ = ["BUSY", "ExcCodes", "RtuLine", "crafted", "mbap", "rtu", "rtu_line", "served_unit"]

BUSY = ExcCodes.DEVICE_BUSY
Action = Callable[..., Coroutine[None, None, ExcCodes | None]]


class ServedUnit:
    """pymodbus's simulator of one unit, number 1.

    Coils and discrete inputs 0 to 15 are 1 where their number is odd; holding register n holds n,
    input register n holds 1000 + n, up to 199.
    """

    def __init__(self, action: Action | None = None) -> None:
        self._action = action
        self._loop = asyncio.new_event_loop()
        self._ready, self._stop = Event(), asyncio.Event()
        self.port = 0
        self._thread = Thread(target=lambda: self._loop.run_until_complete(self._serve()))
        self._thread.start()
        assert self._ready.wait(30)

    @property
    def resource(self) -> str:
        return f"modbus-tcp:127.0.0.1:{self.port}/1"

    def close(self) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._stop.set)
            self._thread.join()
            self._loop.close()

    async def _serve(self) -> None:
        odd = [bool(i % 2) for i in range(16)]
        unit = SimDevice(
            1,
            simdata=(
                [SimData(0, values=odd, datatype=DataType.BITS)],
                [SimData(0, values=odd, datatype=DataType.BITS)],
                [SimData(0, values=list(range(200)), datatype=DataType.REGISTERS)],
                [SimData(0, values=list(range(1000, 1200)), datatype=DataType.REGISTERS)],
            ),
            action=self._action,
        )
        server = ModbusTcpServer(unit, address=("127.0.0.1", 0))
        await server.serve_forever(background=True)
        transport: Any = server.transport
        self.port = transport.sockets[0].getsockname()[1]
        self._ready.set()
        await self._stop.wait()
        await server.shutdown()  # type: ignore[no-untyped-call]  # the library types none


@contextmanager
def served_unit(action: Action | None = None) -> Iterator[ServedUnit]:
    unit = ServedUnit(action)
    try:
        yield unit
    finally:
        unit.close()


Reply = Callable[[bytes], bytes]


@contextmanager
def crafted(reply: Reply) -> Iterator[str]:
    """A unit on TCP whose every answer is what `reply` makes of the request, header and all."""
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            while True:
                try:
                    connection, _ = listener.accept()
                except OSError:
                    return
                with connection:
                    try:
                        while request := connection.recv(1000):
                            connection.sendall(reply(request))
                    except OSError:
                        continue

        thread = Thread(target=serve, daemon=True)
        thread.start()
        yield f"modbus-tcp:127.0.0.1:{listener.getsockname()[1]}/1"
        listener.shutdown(socket.SHUT_RDWR)
    thread.join(10)


def mbap(request: bytes, pdu: bytes, unit: int = 1) -> bytes:
    """Return an answer to a request over TCP."""
    return request[:4] + (len(pdu) + 1).to_bytes(2, "big") + bytes([unit]) + pdu


def rtu(unit: int, pdu: bytes) -> bytes:
    """Return a frame on a serial line."""
    frame = bytes([unit]) + pdu
    return frame + FramerRTU.compute_CRC(frame).to_bytes(2, "big")


class RtuLine:
    """Units on a pseudo-terminal: register n of unit u holds 100 u + n.

    `hold` makes the answers to reads of that register wait until `let_go` is set; a request that
    comes while another is being answered is counted in `collisions`.
    """

    def __init__(self) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.path = os.ttyname(self.slave)
        self.hold: int | None = None
        self.silent: set[int] = set()
        self.asked: list[tuple[int, int]] = []
        self.collisions = 0
        self.let_go = Event()
        self.sent_late = Event()
        self._over = Event()
        self._thread = Thread(target=self._serve)
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        self.let_go.set()
        self._thread.join()
        os.close(self.slave)
        os.close(self.master)

    def _serve(self) -> None:
        while not self._over.is_set():
            if not select.select([self.master], [], [], 0.05)[0]:
                continue
            request = os.read(self.master, 1000)
            while len(request) < 8 and select.select([self.master], [], [], 1.0)[0]:
                request += os.read(self.master, 1000)
            if len(request) != 8:
                self.collisions += 1
                continue
            unit, function = request[:2]
            address, count = (int.from_bytes(request[i : i + 2], "big") for i in (2, 4))
            self.asked.append((unit, address))
            if unit in self.silent:
                continue
            values = b"".join((100 * unit + address + i).to_bytes(2, "big") for i in range(count))
            answer = rtu(unit, bytes([function, 2 * count]) + values)
            if function == 6:
                answer = request
            if self.hold == address:
                self.hold = None
                self.let_go.wait()
                os.write(self.master, answer)
                self.sent_late.set()
                continue
            if select.select([self.master], [], [], 0)[0]:
                self.collisions += 1
            os.write(self.master, answer)


@contextmanager
def rtu_line() -> Iterator[RtuLine]:
    line = RtuLine()
    try:
        yield line
    finally:
        line.close()
