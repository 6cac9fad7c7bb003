"""The simulated stand of a scenario on real wires: what is served where, on the wall's clock."""

import asyncio
from asyncio import StreamReader, StreamWriter
from collections import defaultdict
from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from acquire.clock import WallClock
from acquire.configuration import Scenario
from acquire.refusal import Refusal
from acquire.site import Site
from drivers.description import Instrument, TextDescription
from drivers.link import ConnectionLost
from drivers.resource import RtuUnit, Serial, Socket, TcpUnit, register_unit, text_place
from drivers.simulated.links import SimulatedLinks
from drivers.simulated.served.line import SerialLine
from drivers.simulated.served.modbus import ServedUnit, ServedUnits, Unit
from drivers.simulated.served.text import ServedText
from drivers.simulated.served.wire import ServedWire
from drivers.wiring import SourceWiring

OUTPUTS = "outputs"
# The plant is moved on at least so often, also while nobody asks.
STEP_S = 0.02

Talk = Callable[[StreamReader, StreamWriter], Awaitable[None]]


class ServingRefused(Refusal):
    """The stand can't be served as it was asked for; as text one line."""


class Place(NamedTuple):
    """What is served, where a client finds it, and what it speaks there."""

    what: str
    where: str
    speaks: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """How to serve: on which address, how many times as fast, and on pseudo-terminals too.

    `pty`: every text instrument also on one of its own; `rtu`: all polled register units on one
    that they share, and the outputs on another.
    """

    listen: str = "127.0.0.1"
    speed: float = 1.0
    pty: bool = False
    rtu: bool = False


class ServedStand:
    """The stand of a site, served. Raises ServingRefused for a resource that can't be served."""

    def __init__(self, scenario: Scenario, site: Site, wanted: Wanted) -> None:
        self.site = site
        self.places: list[Place] = []
        self._wanted = wanted
        self._stand = scenario.stand
        self._links = SimulatedLinks(
            site.stand, scenario.descriptions, scenario.folder / "meters.yaml", site.clock
        )
        self._texts = [
            i
            for i in scenario.stand.instrument
            if isinstance(scenario.descriptions[i.description], TextDescription)
        ]
        self._sources = {
            name: regulator.source
            for name, regulator in scenario.stand.outputs.regulators().items()
            if regulator.source is not None
        }
        self._servers: list[asyncio.Server] = []
        self._lines: list[SerialLine] = []
        self._talks: set[asyncio.Task[None]] = set()
        self._time: WallClock | None = None

    async def open(self) -> None:
        """Serve everything, on a plant whose time stands still until `start`.

        Raises ServingRefused where a port or a name is taken.
        """
        try:
            for instrument in self._texts:
                await self._text(instrument)
            for output, source in self._sources.items():
                await self._source(output, source)
            await self._registers()
        except OSError as error:
            self.close()
            raise ServingRefused(str(error.strerror or error)) from error
        except ServingRefused:
            self.close()
            raise

    def start(self) -> None:
        """Let time pass, with the faults that are there from the start."""
        self.site.faults.start(self.site)
        self._time = WallClock(speed=self._wanted.speed)

    def close(self) -> None:
        """Take everything away."""
        for server in self._servers:
            server.close()
        for talk in self._talks:
            talk.cancel()
        for line in self._lines:
            line.close()

    def move_on(self) -> None:
        """Move people's hands and the plant on to now."""
        if self._time is None:
            return
        now = self._time.now()
        self.site.clock.without_program(now)
        self.site.stand.advance(now)

    async def _text(self, instrument: Instrument) -> None:
        try:
            device = self._links.device(instrument)
        except ValueError as error:
            raise ServingRefused(str(error)) from error
        served = ServedText(device, self._wire(instrument.name, instrument.timeout_s))
        await self._text_place(instrument.name, instrument.resource, served)
        on_socket = isinstance(text_place(instrument.resource), Socket)
        if on_socket and (self._wanted.pty or instrument.served_pty):
            await self._text_line(instrument.name, served, None)

    async def _source(self, output: str, source: SourceWiring) -> None:
        try:
            device = self._links.source_device(output)
        except ValueError as error:
            raise ServingRefused(str(error)) from error
        served = ServedText(device, self._wire(output, source.timeout_s))
        await self._text_place(output, source.resource, served)

    async def _text_place(self, name: str, resource: str, served: ServedText) -> None:
        match text_place(resource):
            case Socket(port=port):
                where = await self._listen(name, port, served.talk)
                self.places.append(Place(name, where, "lines of text"))
            case Serial(device=device):
                await self._text_line(name, served, Path(device))
            case None:
                raise ServingRefused(
                    f"{name}: {resource!r} is neither a socket nor a serial line, which is all"
                    " that is served"
                )

    async def _text_line(self, what: str, served: ServedText, name: Path | None) -> None:
        where = await self._line(what, name, served.talk_on_line)
        self.places.append(Place(what, where, "lines of text, serial"))

    async def _registers(self) -> None:
        sockets: dict[int, dict[int, str]] = defaultdict(dict)
        lines: dict[str, dict[int, str]] = defaultdict(dict)
        units: dict[str, ServedUnit] = {}
        for name, resource, timeout_s, unit in self._units():
            units[name] = ServedUnit(unit, self._wire(name, timeout_s))
            match place := register_unit(resource):
                case TcpUnit():
                    sockets[place.port][place.unit] = name
                case RtuUnit():
                    lines[place.device][place.unit] = name
                case None:
                    raise ServingRefused(f"{name}: {resource!r} is in memory alone")
        for port, numbered in sockets.items():
            served = ServedUnits({n: units[name] for n, name in numbered.items()})
            where = await self._listen(", ".join(numbered.values()), port, served.talk_tcp)
            self._list(numbered, where, "Modbus TCP")
        for device, numbered in lines.items():
            await self._register_line(units, numbered, Path(device))
        if self._wanted.rtu:
            polled = [name for name in units if name != OUTPUTS]
            await self._register_line(units, dict(enumerate(polled, 1)), None)
            await self._register_line(units, {1: OUTPUTS}, None)

    def _units(self) -> list[tuple[str, str, float, Unit]]:
        """Return name, resource, time-out and registers of every unit."""
        wired = self._stand.outputs
        outputs = self._links.outputs().unit
        outputs.after_write = self.site.faults.written
        polled = [
            (i.name, i.resource, i.timeout_s, self._links.registers(i).unit)
            for i in self._stand.instrument
            if i not in self._texts
        ]
        return [(OUTPUTS, wired.resource, wired.timeout_s, outputs), *polled]

    async def _register_line(
        self, units: Mapping[str, ServedUnit], numbered: Mapping[int, str], name: Path | None
    ) -> None:
        served = ServedUnits({n: units[unit] for n, unit in numbered.items()})
        what = ", ".join(numbered.values())
        where = await self._line(what, name, served.talk_on_line)
        # A pseudo-terminal has no parity; Linux refuses whoever insists on one.
        self._list(numbered, where, "Modbus RTU, parity N")

    def _list(self, numbered: Mapping[int, str], where: str, speaks: str) -> None:
        self.places += [Place(name, where, f"{speaks}, unit {n}") for n, name in numbered.items()]

    def _wire(self, name: str, timeout_s: float) -> ServedWire:
        return ServedWire(self.site.stand, name, timeout_s, self.move_on, self._wanted.speed)

    async def _listen(self, name: str, port: int, talk: Talk) -> str:
        async def served(reader: StreamReader, writer: StreamWriter) -> None:
            await self._talk(talk, reader, writer)

        try:
            server = await asyncio.start_server(served, self._wanted.listen, port)
        except OSError as error:
            where = f"{self._wanted.listen}:{port}"
            raise ServingRefused(f"{name}: can't be served on {where}: {_why(error)}") from error
        self._servers.append(server)
        return f"{self._wanted.listen}:{server.sockets[0].getsockname()[1]}"

    async def _line(self, what: str, name: Path | None, talk: Talk) -> str:
        try:
            line = SerialLine(name)
        except OSError as error:
            raise ServingRefused(f"{what}: can't be served on {name}: {_why(error)}") from error
        self._lines.append(line)
        reader, writer = await line.streams()
        task = asyncio.create_task(self._talk(talk, reader, writer))
        self._talks.add(task)
        return line.shown

    async def _talk(self, talk: Talk, reader: StreamReader, writer: StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._talks.add(task)
        try:
            # That a client goes is no fault of the stand's; nor is the stand's own end.
            with suppress(OSError, EOFError, ConnectionLost, asyncio.CancelledError):
                await talk(reader, writer)
        finally:
            self._talks.discard(task)
            writer.close()


def _why(error: OSError) -> str:
    import os

    return os.strerror(error.errno).lower() if error.errno else str(error)
