"""The simulated stand's links: pyvisa-sim devices for text, memory for registers.

The only file that knows pyvisa-sim, of which it touches three private names, `_getters`,
`_properties` and `_output_buffers`; a test fails when a release renames them.
"""

from collections import deque
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import pyvisa
from pyvisa.resources import MessageBasedResource
from pyvisa.rname import to_canonical_name
from pyvisa_sim.component import Property
from pyvisa_sim.parser import get_devices

from drivers.description import Description, Instrument, RegisterDescription, TextDescription
from drivers.link import BadAnswer, Clock, ConnectionLost
from drivers.outputs import REGULATORS
from drivers.resource import visa_name
from drivers.simulated.circuit import Solution
from drivers.simulated.meters import OVER_RANGE, QUANTITIES
from drivers.simulated.stand import SimulatedStand
from drivers.simulated.units import OutputsUnit, PolledUnit, SimulatedRegisterLink
from drivers.simulated.winding import WINDINGS
from drivers.simulated.wire import Wire

NOT_A_NUMBER = "9.91E+37"
# pyvisa-sim answers at once or not at all, and waits for the latter in real time. Long enough that
# a busy computer is never taken for a silent instrument: rehearsals would differ with its load.
REAL_TIMEOUT_MS = 2000
END = b"\n"
LONGEST_ANSWER = 20_480


class LiveProperty(Property):  # type: ignore[misc]  # pyvisa-sim ships no types
    """A property of a simulated device whose value is computed when it is asked for."""

    def __init__(self, name: str, answer: Callable[[], str]) -> None:
        super().__init__(name, "", {"type": "str"})
        self._answer = answer

    def get_value(self) -> str:
        """Return the live answer. An AttributeError would pass for silence, so none leaves."""
        try:
            return self._answer()
        except AttributeError as error:
            raise RuntimeError(f"{self.name}: {error}") from error


def _whole_answers(waiting: deque[bytearray]) -> Callable[[], tuple[bytes, bool]]:
    """Return a device's read that hands over an answer at once.

    pyvisa-sim hands it over byte by byte, which costs more than all the rest of a question.
    """

    def read() -> tuple[bytes, bool]:
        return (bytes(waiting.popleft()), True) if waiting else (b"", False)

    return read


class LiveSetting(Property):  # type: ignore[misc]  # pyvisa-sim ships no types
    """A number of a simulated device that something follows when it is set."""

    def __init__(self, name: str, take: Callable[[float], None]) -> None:
        self._take: Callable[[float], None] | None = None
        super().__init__(name, "0", {"type": "float"})
        self._take = take

    def set_value(self, string_value: str) -> None:
        """Take a number. Raises ValueError for any other text, which the device answers."""
        super().set_value(string_value)
        if self._take is not None:
            self._take(self._value)


class SimulatedDevices:
    """The text instruments that a file describes; two of these share nothing.

    pyvisa keeps one library for a path and that library its devices with all that they hold, so
    each of these brings devices of its own and puts them in place before it opens one.
    """

    def __init__(self, meters_yaml: Path) -> None:
        self._manager = pyvisa.ResourceManager(f"{meters_yaml}@sim")
        self._devices: Any = get_devices(meters_yaml, False)

    def __contains__(self, resource: str) -> bool:
        return resource in self._devices.list_resources()

    def answers(self, resource: str, message: str) -> tuple[bytes, ...]:
        """Return what a device says to one message, each with its end; nothing where it is mute."""
        device = self._devices[resource]
        device.write(message.encode() + END)
        said = tuple(bytes(answer) for answer in device._output_buffers)
        device._output_buffers.clear()
        return said

    def make_live(self, resource: str, ask: str, answer: Callable[[], str]) -> None:
        """Have a query of a device answered live. Raises ValueError where it has no such query."""
        device = self._devices[resource]
        getter = device._getters.get(ask.encode())
        if getter is None:
            raise ValueError(f"the simulated device at {resource} has no query {ask!r}")
        device._properties[getter[0]] = LiveProperty(getter[0], answer)
        device.read = _whole_answers(device._output_buffers)

    def make_settable(self, resource: str, read_back: str, take: Callable[[float], None]) -> None:
        """Have what a device is set to followed. Raises ValueError where it has no such setting."""
        device = self._devices[resource]
        getter = device._getters.get(read_back.encode())
        if getter is None:
            raise ValueError(f"the simulated device at {resource} has no query {read_back!r}")
        device._properties[getter[0]] = LiveSetting(getter[0], take)

    def open(self, resource: str, who: str) -> MessageBasedResource:
        """Open a resource. Raises ConnectionLost where nothing has that name."""
        if resource not in self:
            # pyvisa-sim would open it without a word and answer nothing.
            raise ConnectionLost(who, f"open {resource}", "there is no such resource")
        library: Any = self._manager.visalib
        library.devices = self._devices
        # What an answer left behind would else be taken for the answer to the next question.
        self._devices[resource]._output_buffers.clear()
        try:
            opened = self._manager.open_resource(
                resource,
                resource_pyclass=MessageBasedResource,
                read_termination="\n",
                write_termination="\n",
                timeout=REAL_TIMEOUT_MS,
            )
        except pyvisa.Error as error:
            raise ConnectionLost(who, f"open {resource}", str(error)) from error
        assert isinstance(opened, MessageBasedResource)
        return opened


class SimulatedTextLink:
    """The link to a text instrument: a pyvisa-sim device, and the time that it takes."""

    def __init__(self, devices: SimulatedDevices, resource: str, name: str, wire: Wire) -> None:
        self._devices = devices
        self._resource = resource
        self._name = name
        self._wire = wire
        self._open: MessageBasedResource | None = None

    def query(self, message: str, timeout_s: float) -> str:
        """Send one message and return its answer. Raises InstrumentFault."""
        opened = self._opened(message)
        ends = self._wire.begin(message, timeout_s)
        try:
            # pyvisa's own query costs twice as much as all that it asks for.
            library, session = opened.visalib, opened.session
            library.write(session, message.encode("ascii") + END)
            came, _status = library.read(session, LONGEST_ANSWER)
        except pyvisa.Error as error:
            raise ConnectionLost(self._name, message, str(error)) from error
        answer = self._line(message, bytes(came))
        answer = self._wire.text(message, answer, timeout_s)
        self._wire.end(ends)
        return answer

    def write(self, message: str, timeout_s: float) -> None:
        """Send one message that has no answer. Raises InstrumentFault."""
        opened = self._opened(message)
        ends = self._wire.begin(message, timeout_s)
        try:
            opened.write(message)
        except pyvisa.Error as error:
            raise ConnectionLost(self._name, message, str(error)) from error
        self._wire.end(ends)

    def reopen(self) -> None:
        """Close and open the link. Raises ConnectionLost where nothing is there."""
        self.close()
        self._open = self._devices.open(self._resource, self._name)
        self._wire.reopened()

    def close(self) -> None:
        """Close the link."""
        if self._open is not None:
            self._open.close()
            self._open = None

    def _line(self, asked: str, came: bytes) -> str:
        if not came.endswith(END):
            raise BadAnswer(self._name, asked, f"no end to it: {came[:40]!r}")
        try:
            return came[: -len(END)].decode("ascii")
        except UnicodeDecodeError as error:
            raise BadAnswer(self._name, asked, f"not ASCII: {error.object[:40]!r}") from error

    def _opened(self, asked: str) -> MessageBasedResource:
        if self._open is None:
            raise ConnectionLost(self._name, asked, "the link is not open")
        return self._open


class SimulatedLinks:
    """Every link of one simulated stand.

    Raises ValueError where a description asks what its simulated device doesn't know, or a stand
    has a channel for which the simulated one has nothing to show.
    """

    def __init__(
        self,
        plant: SimulatedStand,
        descriptions: Mapping[str, Description],
        meters_yaml: Path,
        clock: Clock,
    ) -> None:
        self._plant = plant
        self._descriptions = descriptions
        self._clock = clock
        self._devices = SimulatedDevices(meters_yaml)

    def text(self, instrument: Instrument) -> SimulatedTextLink:
        """Return the link of a text instrument, not yet open."""
        description = self._descriptions[instrument.description]
        if not isinstance(description, TextDescription):
            raise ValueError(f"{instrument.name} is not asked in lines of text")  # noqa: TRY004 - a file is wrong, not a type
        resource = _visa_name(instrument.resource)
        if resource in self._devices:
            for query in description.query:
                answer = self._answer(instrument, query.fields)
                self._devices.make_live(resource, query.ask, answer)
        wire = Wire(self._plant, self._clock, instrument.name)
        return SimulatedTextLink(self._devices, resource, instrument.name, wire)

    def device(self, instrument: Instrument) -> Callable[[str], tuple[bytes, ...]]:
        """Return what a text instrument says to a message, for whoever serves it.

        Raises ValueError where no device stands at its resource.
        """
        self.text(instrument)
        return self._says(instrument.name, _visa_name(instrument.resource))

    def registers(self, instrument: Instrument) -> SimulatedRegisterLink[PolledUnit]:
        """Return the link of a register unit that is polled."""
        description = self._descriptions[instrument.description]
        if not isinstance(description, RegisterDescription):
            raise ValueError(f"{instrument.name} is not a unit of registers")  # noqa: TRY004 - a file is wrong, not a type
        unit = PolledUnit(self._plant, instrument, description)
        return SimulatedRegisterLink(unit, Wire(self._plant, self._clock, instrument.name))

    def outputs(self) -> SimulatedRegisterLink[OutputsUnit]:
        """Return the link of the unit that drives the outputs."""
        unit = OutputsUnit(self._plant)
        return SimulatedRegisterLink(unit, Wire(self._plant, self._clock, "outputs"))

    def source(self, output: str) -> SimulatedTextLink:
        """Return the link of the source that serves as a regulator, not yet open."""
        wired = self._plant.stand.outputs.regulators()[output]
        if wired.source is None:
            raise ValueError(f"{output} is no source")
        description = self._descriptions[wired.source.description]
        if not isinstance(description, TextDescription) or description.drive is None:
            raise ValueError(f"{wired.source.description} doesn't say how it is driven")
        resource = _visa_name(wired.source.resource)

        def take(volts: float) -> None:
            self._plant.write(output, volts / wired.full_voltage_v)

        if resource in self._devices:
            self._devices.make_settable(resource, description.drive.read_back, take)
        return SimulatedTextLink(
            self._devices, resource, output, Wire(self._plant, self._clock, output)
        )

    def source_device(self, output: str) -> Callable[[str], tuple[bytes, ...]]:
        """Return what a source says to a message, for whoever serves it.

        Raises ValueError where no device stands at its resource.
        """
        source = self._plant.stand.outputs.regulators()[output].source
        self.source(output)
        resource = _visa_name(source.resource) if source else ""
        return self._says(output, resource)

    def _says(self, name: str, resource: str) -> Callable[[str], tuple[bytes, ...]]:
        if resource not in self._devices:
            raise ValueError(f"{name}: no device of meters.yaml is at {resource}")
        return partial(self._devices.answers, resource)

    def _answer(self, instrument: Instrument, fields: tuple[str, ...]) -> Callable[[], str]:
        """Return what computes the answer to a query: its fields in order, joined by commas."""
        plant = self._plant
        says = [self._field(instrument, field) for field in fields]

        def answer() -> str:
            solution = plant.solution()
            return ",".join([say(solution) for say in says])

        return answer

    def _field(self, instrument: Instrument, field: str) -> Callable[[Solution], str]:
        plant = self._plant
        name = next((c.name for c in instrument.channel if c.field == field), None)
        if name is None:
            return lambda _: NOT_A_NUMBER
        text = plant.meters[name].text
        if name in {"frequency", "hv.frequency"}:
            return lambda _: text(plant.frequency_hz)
        if name in REGULATORS:
            regulator = getattr(plant, name)
            return lambda _: text(regulator.reported)
        if name in WINDINGS:
            return lambda _: _shown(text, plant.resistance(name))
        if name not in QUANTITIES:
            raise ValueError(f"{instrument.name}: the simulated stand has no {name}")
        quantity = QUANTITIES[name]
        return lambda solution: text(quantity(solution))


def _shown(text: Callable[[float], str], ohm: float | None) -> str:
    return OVER_RANGE if ohm is None else text(ohm)


def _visa_name(resource: str) -> str:
    """Return the one name by which the devices of a file go."""
    return str(to_canonical_name(visa_name(resource)))
