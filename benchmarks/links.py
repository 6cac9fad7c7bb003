"""Polls over real sockets against the bare library calls beneath them, in the same run.

    python -m benchmarks.links [ROUNDS]

Text: a poll of six values through the driver, reading objects included, against a loop of pyvisa's
`query`. Registers: a poll of eight registers against a loop of `read_holding_registers`. The units
are in a process of their own. Rounds alternate and their medians are compared, since a computer
that does other things besides slows both. At least 0.7 and 0.8 are asked for.
"""

import json
import subprocess
import sys
from collections.abc import Callable
from statistics import median
from time import perf_counter

import pyvisa
from pymodbus.client import ModbusTcpClient

from drivers.description import (
    Channel,
    Instrument,
    Query,
    RegisterDescription,
    RegisterField,
    TextDescription,
)
from drivers.instrument import RegisterInstrument, TextInstrument
from drivers.modbus import modbus_link
from drivers.visa import VisaTextLink
from drivers.wiring import RegisterIdentity

POLLS = 400
FIELDS = ("voltage", "voltage_mean", "current", "power", "frequency", "phase")
SERVER = """
import asyncio, json, socket, threading
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

text = socket.create_server(("127.0.0.1", 0))

def serve():
    while True:
        connection, _ = text.accept()
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        threading.Thread(target=answer, args=(connection,), daemon=True).start()

def answer(connection):
    n = 0
    while came := connection.recv(4096):
        n += 1
        line = f"4.00{n % 1000:03d}E+02,3.98E+02,1.234E+00,2.801E+02,5.001E+01,1.2E+00"
        said = "INVENTED,ANALYSER,1,0" if b"IDN" in came else line
        connection.sendall(said.encode() + b"\\n")

async def main():
    block = SimData(0, values=[0x5443, *range(1, 100)], datatype=DataType.REGISTERS)
    server = ModbusTcpServer(SimDevice(1, simdata=[block]), address=("127.0.0.1", 0))
    await server.serve_forever(background=True)
    registers = server.transport.sockets[0].getsockname()[1]
    print(json.dumps([text.getsockname()[1], registers]), flush=True)
    await asyncio.Event().wait()

threading.Thread(target=serve, daemon=True).start()
asyncio.run(main())
"""


class WallClock:
    """Stand time for a benchmark."""

    def now(self) -> int:
        """Return ns."""
        return int(perf_counter() * 1e9)

    def wait_until(self, t: int) -> None:
        """Nobody waits here."""
        raise AssertionError(t)


def _us(call: Callable[[], object]) -> float:
    began = perf_counter()
    for _ in range(POLLS):
        call()
    return (perf_counter() - began) / POLLS * 1e6


def _compare(
    name: str, bare: Callable[[], object], poll: Callable[[], object], least: float
) -> None:
    rounds = [(_us(bare), _us(poll)) for _ in range(ROUNDS)]
    ratio = median(b / p for b, p in rounds)
    bare_us, poll_us = (median(r[i] for r in rounds) for i in (0, 1))
    print(f"{name}: bare {bare_us:.0f} us, poll {poll_us:.0f} us, ratio {ratio:.2f} (>= {least})")


def _good(instrument: TextInstrument | RegisterInstrument) -> Callable[[], object]:
    def poll() -> None:
        instrument.poll()
        assert instrument.fault is None, instrument.fault

    return poll


def main() -> None:
    """Print both comparisons."""
    with subprocess.Popen([sys.executable, "-c", SERVER], stdout=subprocess.PIPE) as server:
        try:
            assert server.stdout is not None
            text_port, register_port = json.loads(server.stdout.readline())
            _text(f"TCPIP::127.0.0.1::{text_port}::SOCKET")
            _registers(register_port)
        finally:
            server.kill()


def _text(resource: str) -> None:
    bare = pyvisa.ResourceManager("@py").open_resource(
        resource, read_termination="\n", write_termination="\n", timeout=2000
    )
    channels = tuple(Channel(f, f"x.{f}", "1", 5.0) for f in FIELDS)
    described = Instrument("x", "analyser", resource, 1.0, 2.0, channels)
    analyser = TextDescription("text", "ANALYSER", (Query("FETC?", FIELDS),))
    link = VisaTextLink(resource, "x")
    instrument = TextInstrument(described, analyser, link, WallClock())
    instrument.open()
    query: Callable[[str], str] = bare.query  # type: ignore[attr-defined]  # of message-based resources
    _compare("text", lambda: query("FETC?"), _good(instrument), 0.7)
    link.close()
    bare.close()


def _registers(port: int) -> None:
    client = ModbusTcpClient("127.0.0.1", port=port, timeout=2, retries=0)
    names = [f"input_{i}" for i in range(7)]
    unit = RegisterDescription(
        "registers",
        RegisterIdentity(0, (0x5443,)),
        tuple(RegisterField(n, 1 + i, "int16", 0.01, 0x8000) for i, n in enumerate(names)),
    )
    channels = tuple(Channel(n, f"x.{n}", "°C", 5.0) for n in names)
    described = Instrument("x", "scanner", "", 1.0, 2.0, channels)
    link = modbus_link(f"modbus-tcp:127.0.0.1:{port}/1", "x")
    instrument = RegisterInstrument(described, unit, link, WallClock())
    instrument.open()
    bare = lambda: client.read_holding_registers(0, count=8, device_id=1)  # noqa: E731 - timed twice, as it stands
    _compare("registers", bare, _good(instrument), 0.8)
    link.close()
    client.close()  # type: ignore[no-untyped-call]  # the library types none


if __name__ == "__main__":
    ROUNDS = int(sys.argv[1]) if len(sys.argv) > 1 else 25
    main()
