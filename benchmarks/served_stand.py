"""Answers a second of the served stand, against servers that answer the same from memory.

One client asks one instrument as fast as it is answered, over loopback, server and client in a
process each. Lines against a bare server with its answer ready, registers against that and against
pymodbus's own server. The instruments' own latencies are set to nought.

Run: python -m benchmarks.served_stand
"""

import asyncio
import multiprocessing
import socket
import struct
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from statistics import median
from time import perf_counter
from typing import Any

from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from acquire.configuration import load_scenario
from acquire.serving import ServedStand, Wanted
from acquire.site import Site
from drivers.resource import register_unit, text_place

QUESTIONS = 2000
ROUNDS = 5
ASK = b"FETC?\n"
READ = bytes.fromhex("0001 0000 0006 01 03 0000 000C")


def bare(port: Connection, text: bytes, block: bytes) -> None:
    """Answer each question with bytes that are ready, and registers by pymodbus; a port each."""

    async def lines(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while await reader.readline():
            writer.write(text)
            await writer.drain()

    async def frames(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(EOFError):
            while head := await reader.readexactly(6):
                await reader.readexactly(struct.unpack(">HHH", head)[2])
                writer.write(block)
                await writer.drain()

    async def serve() -> None:
        servers = [await asyncio.start_server(s, "127.0.0.1", 0) for s in (lines, frames)]
        ports = [s.sockets[0].getsockname()[1] for s in servers]
        registers = SimData(0, values=list(range(12)), datatype=DataType.REGISTERS)
        theirs = ModbusTcpServer(SimDevice(1, [registers]), address=("127.0.0.1", 0))
        await theirs.serve_forever(background=True)
        listening: Any = theirs.transport
        port.send([*ports, listening.sockets[0].getsockname()[1]])
        await asyncio.Event().wait()

    asyncio.run(serve())


def stand(port: Connection) -> None:
    """Serve the shipped stand, its instruments without latency."""
    scenario = load_scenario("distribution_pair", "loss_test")
    site = Site(scenario, seed=1)
    site.stand.latencies_s.clear()

    async def serve() -> None:
        served = ServedStand(scenario, site, Wanted())
        await served.open()
        served.start()
        resources = {i.name: i.resource for i in scenario.stand.instrument}
        text, unit = text_place(resources["lv_analyser"]), register_unit(resources["contacts"])
        port.send([text.port, unit.port])  # type: ignore[union-attr]  # both are sockets
        await asyncio.Event().wait()

    asyncio.run(serve())


def asked(port: int, question: bytes, answered: Callable[[bytes], bool]) -> tuple[float, bytes]:
    """Return answers a second of one client, and the last answer."""
    with socket.create_connection(("127.0.0.1", port)) as s:
        s.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        begun = perf_counter()
        for _ in range(QUESTIONS):
            s.sendall(question)
            answer = s.recv(4096)
            while not answered(answer):
                answer += s.recv(4096)
        return QUESTIONS / (perf_counter() - begun), answer


def main() -> None:
    """Print answers a second and their ratio to the bare server's, the median of rounds."""
    spawn = multiprocessing.get_context("spawn")
    ours, theirs = spawn.Pipe()
    process = spawn.Process(target=stand, args=(theirs,), daemon=True)
    process.start()
    text, registers = ours.recv()
    kinds = {
        "lines of text": (text, ASK, lambda a: a.endswith(b"\n")),
        "Modbus TCP": (registers, READ, lambda a: len(a) >= 6 + int.from_bytes(a[4:6], "big")),
    }
    answers = [asked(*kind)[1] for kind in kinds.values()]
    bare_end, far_end = spawn.Pipe()
    beneath = spawn.Process(target=bare, args=(far_end, *answers), daemon=True)
    beneath.start()
    lines, frames, pymodbus = bare_end.recv()
    against = [
        ("lines of text", "bare", lines),
        ("Modbus TCP", "bare", frames),
        ("Modbus TCP", "pymodbus", pymodbus),
    ]
    for kind, beside, other in against:
        port, question, answered = kinds[kind]
        pairs = [
            (asked(port, question, answered)[0], asked(other, question, answered)[0])
            for _ in range(ROUNDS)
        ]
        served, plain = (median(column) for column in zip(*pairs, strict=True))
        ratio = median(ours / bare for ours, bare in pairs)
        print(f"{kind:13} {served:7.0f} a second; {beside} {plain:.0f}; ratio {ratio:.2f}")
    process.kill()
    beneath.kill()


if __name__ == "__main__":
    main()
