"""The links of a stand that is there: each instrument's by its address in the stand file."""

from collections.abc import Mapping
from typing import Protocol

from acquire.refusal import Refusal
from drivers.description import Description, Instrument, Stand, TextDescription
from drivers.identified import IdentifiedUnit
from drivers.instrument import RegisterInstrument, TextInstrument
from drivers.link import Clock, RegisterLink, TextLink
from drivers.source import Source

IN_MEMORY = "registers:"


class NoAddress(Refusal):
    """A stand file whose addresses lead nowhere outside a rehearsal."""


class Links(Protocol):
    """Where the links of a stand come from, none of them open yet."""

    def text(self, instrument: Instrument) -> TextLink:
        """Return the link of an instrument that is asked in lines of text."""
        ...

    def registers(self, instrument: Instrument) -> RegisterLink:
        """Return the link of a unit of registers that is polled."""
        ...

    def outputs(self) -> RegisterLink:
        """Return the link of the unit that drives the outputs."""
        ...

    def source(self, output: str) -> TextLink:
        """Return the link of the source that serves as a regulator."""
        ...


class Wires:
    """Links over sockets and serial lines. Raises NoAddress for a stand that has none."""

    def __init__(self, stand: Stand) -> None:
        self._stand = stand
        for resource in (stand.outputs.resource, *(i.resource for i in stand.instrument)):
            if resource.startswith(IN_MEMORY):
                raise NoAddress(
                    f"{stand.name}: {resource} is in the memory of a rehearsal; a stand that is"
                    " there has 'modbus-tcp:HOST:PORT/UNIT' or 'modbus-rtu:DEVICE,BAUD/UNIT'"
                )

    def text(self, instrument: Instrument) -> TextLink:
        """Return the link of an instrument that is asked in lines of text."""
        return text_link(instrument.resource, instrument.name)

    def registers(self, instrument: Instrument) -> RegisterLink:
        """Return the link of a unit of registers that is polled."""
        return register_link(instrument.resource, instrument.name)

    def outputs(self) -> RegisterLink:
        """Return the link of the unit that drives the outputs."""
        wired = self._stand.outputs
        link = register_link(wired.resource, "outputs")
        if wired.identity is None:
            return link
        return IdentifiedUnit(link, "outputs", wired.identity, wired.timeout_s)

    def source(self, output: str) -> TextLink:
        """Return the link of the source that serves as a regulator."""
        source = self._stand.outputs.regulators()[output].source
        assert source is not None, output
        return text_link(source.resource, output)


def text_link(resource: str, name: str) -> TextLink:
    """Return the link to a VISA resource, not yet open."""
    # Here, since opening one takes a library that nothing else needs.
    from drivers.visa import VisaTextLink

    return VisaTextLink(resource, name)


def register_link(resource: str, name: str) -> RegisterLink:
    """Return the link to a unit on Modbus, not yet open."""
    from drivers.modbus import modbus_link

    return modbus_link(resource, name)


def polled(
    instrument: Instrument, description: Description, links: Links, clock: Clock
) -> TextInstrument | RegisterInstrument:
    """Return an instrument on its link, not yet open."""
    if isinstance(description, TextDescription):
        return TextInstrument(instrument, description, links.text(instrument), clock)
    return RegisterInstrument(instrument, description, links.registers(instrument), clock)


def sources(
    stand: Stand, descriptions: Mapping[str, Description], links: Links
) -> dict[str, Source]:
    """Return the sources that serve as regulators on their links, by output, none open yet."""
    found = {}
    for output, regulator in stand.outputs.regulators().items():
        if regulator.source is not None:
            description = descriptions[regulator.source.description]
            assert isinstance(description, TextDescription)
            found[output] = Source(
                output, regulator, regulator.source, description, links.source(output)
            )
    return found
