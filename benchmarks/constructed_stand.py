"""A constructed stand on sockets: every instrument of a scenario at rest, in a process of its own.

Text instruments answer lines over TCP, register units Modbus TCP (functions 3, 6 and 16). A value
goes over its limit when it is told to, and the first write that opens the LV contactor after that
is timed: both instants on the system's monotonic clock, in the served process.
"""

import asyncio
import multiprocessing
import struct
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection
from typing import Any

from acquire.configuration import Scenario, load_scenario
from drivers.description import Instrument, TextDescription, Watchdog

# What reads 1 on a dead stand that nothing is wrong with.
HEALTHY = {"guard", "emergency_stop", "protection_contact", "watchdog", "upstream_breaker"}
HOST = "127.0.0.1"
OUTPUTS = "outputs"
FREQUENCY_HZ = 50.0
OVER = 1.2  # of rated voltage, at so much more frequency: the flux stays what it was


@dataclass
class Served:
    """What one instrument answers: lines, or registers; and what it answers once it is over."""

    identity: str = ""
    line: str = ""
    over_line: str = ""
    registers: dict[int, int] = field(default_factory=dict)
    over_registers: dict[int, int] = field(default_factory=dict)


class ConstructedStand:
    """The shipped loss test's stand, served; `scenario` leads to it, polled at `period_s`."""

    def __init__(self, period_s: float, scan_period_s: float) -> None:
        shipped = load_scenario("distribution_pair", "loss_test")
        spawn = multiprocessing.get_context("spawn")
        self._pipe, far = spawn.Pipe()
        served = {i.name: _served(i, shipped) for i in shipped.stand.instrument}
        lv = shipped.stand.outputs.lv_contactor.address
        arguments = (far, served | {OUTPUTS: Served()}, lv)
        self._process = spawn.Process(target=_serve, args=arguments, daemon=True)
        self._process.start()
        ports: dict[str, int] = self._pipe.recv()
        instruments = tuple(
            replace(i, period_s=period_s, timeout_s=0.5, resource=_resource(ports[i.name], i))
            for i in shipped.stand.instrument
        )
        outputs = f"modbus-tcp:{HOST}:{ports[OUTPUTS]}/1"
        stand = replace(
            shipped.stand,
            scan_period_s=scan_period_s,
            commit_interval_s=1.0,
            instrument=instruments,
            outputs=replace(shipped.stand.outputs, resource=outputs, identity=None),
            # So long it is looked at whether another program beats.
            watchdog=Watchdog(drop_s=0.5),
        )
        self.scenario = replace(shipped, stand=stand)

    def exceed(self, instrument: str, after_s: float) -> None:
        """Have a value of an instrument go over its limit."""
        self._pipe.send((instrument, after_s))

    def trip_s(self) -> float:
        """Return how long it was from there to the opening, s; the stand is at rest again."""
        exceeded, opened = self._pipe.recv()
        took: float = (opened - exceeded) / 1e9
        return took

    def close(self) -> None:
        """End the served process."""
        self._process.kill()


def _resource(port: int, instrument: Instrument) -> str:
    if "SOCKET" in instrument.resource:
        return f"TCPIP::{HOST}::{port}::SOCKET"
    return f"modbus-tcp:{HOST}:{port}/1"


def _served(instrument: Instrument, scenario: Scenario) -> Served:
    description: Any = scenario.descriptions[instrument.description]
    if isinstance(description, TextDescription):
        fields = [f for q in description.query for f in q.fields]
        rest = dict.fromkeys(fields, 0.0) | {"frequency": FREQUENCY_HZ}
        rated = scenario.pair.nameplate.lv_voltage_v
        over = rest | {"voltage": OVER * rated, "frequency": OVER * FREQUENCY_HZ}
        line, over_line = (",".join(f"{v[f]:.5E}" for f in fields) for v in (rest, over))
        return Served(f"CONSTRUCTED,{description.identity},0,1", line, over_line)
    identity = description.identity
    registers = {identity.address + i: r for i, r in enumerate(identity.registers)}
    named = {c.field: c.name for c in instrument.channel}
    for value in description.value:
        registers[value.address] = int(named.get(value.field) in HEALTHY)
    stop = {v.address: 0 for v in description.value if v.field == "emergency_stop"}
    return Served(registers=registers, over_registers=registers | stop)


class _Serving:
    def __init__(self, pipe: Connection, served: dict[str, Served], lv_contactor: int) -> None:
        self._pipe, self._served, self._lv = pipe, served, lv_contactor
        self._over = ""
        self._exceeded = 0

    async def serve(self) -> None:
        """Listen on a free port for each instrument, tell the ports, and go on until killed."""
        ports = {}
        for name, served in self._served.items():
            talk = self._lines(name) if served.line else self._frames(name)
            server = await asyncio.start_server(talk, HOST, 0)
            ports[name] = server.sockets[0].getsockname()[1]
        asyncio.get_running_loop().add_reader(self._pipe.fileno(), self._told)
        self._pipe.send(ports)
        await asyncio.Event().wait()

    def _told(self) -> None:
        instrument, after_s = self._pipe.recv()
        asyncio.get_running_loop().call_later(after_s, self._exceed, instrument)

    def _exceed(self, instrument: str) -> None:
        self._over, self._exceeded = instrument, time.monotonic_ns()

    def _written(self, address: int, value: int) -> None:
        if self._over and address == self._lv and value == 0:
            self._over = ""
            self._pipe.send((self._exceeded, time.monotonic_ns()))

    def _lines(self, name: str) -> Callable[..., Any]:
        served = self._served[name]

        async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            with suppress(OSError):
                while line := await reader.readline():
                    said = served.over_line if self._over == name else served.line
                    answer = served.identity if b"IDN" in line else said
                    writer.write(f"{answer}\n".encode())

        return talk

    def _frames(self, name: str) -> Callable[..., Any]:
        served = self._served[name]

        async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            with suppress(EOFError, OSError):
                while True:
                    transaction, _zero, length = struct.unpack(">HHH", await reader.readexactly(6))
                    request = await reader.readexactly(length)
                    registers = served.over_registers if self._over == name else served.registers
                    answer = self._answer(request, registers)
                    writer.write(struct.pack(">HHH", transaction, 0, len(answer)) + answer)

        return talk

    def _answer(self, request: bytes, registers: dict[int, int]) -> bytes:
        """Answer a request of the Modbus application protocol 1.1b3: 6.3, 6.6 and 6.12."""
        _unit, function, address, count = struct.unpack(">BBHH", request[:6])
        if function == 3:
            values = [registers.get(address + i, 0) for i in range(count)]
            return request[:2] + struct.pack(f">B{count}H", 2 * count, *values)
        if function == 6:
            self._written(address, count)
        else:
            for i, value in enumerate(struct.unpack(f">{count}H", request[7:])):
                self._written(address + i, value)
        return request[:6]


def _serve(pipe: Connection, served: dict[str, Served], lv_contactor: int) -> None:
    asyncio.run(_Serving(pipe, served, lv_contactor).serve())
