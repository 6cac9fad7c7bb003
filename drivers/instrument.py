"""Instruments as their descriptions have them: asked once a poll, answering in readings.

A poll returns a reading for every channel of the instrument, whatever happens on the wire; the
fault, if there was one, stands in `fault` and the link is opened and identified afresh before
anything it says is believed again.
"""

from collections.abc import Sequence
from contextlib import suppress
from math import isnan
from typing import NamedTuple, Protocol

from drivers.description import (
    Channel,
    Instrument,
    RegisterDescription,
    SunSpecDescription,
    TextDescription,
)
from drivers.frozen import Frozen
from drivers.link import (
    BadAnswer,
    Block,
    Clock,
    InstrumentFault,
    Refused,
    RegisterLink,
    TextLink,
)
from drivers.reading import GOOD, OVER_RANGE, Quality, Reading
from drivers.registers import ReadingPlan, plan_reads
from drivers.replies import UnreadableReply, read_numbers
from drivers.sunspec import located, maker_and_model
from drivers.text_opening import identify, send

NO_VALUE = "the instrument says that it has no value"
_LARGEST = 1e300
_NEW = tuple.__new__


class PolledInstrument(Protocol):
    """What a poller needs of an instrument."""

    name: str
    fault: InstrumentFault | None

    def open(self) -> None:
        """Open the link afresh and make sure who answers. Raises InstrumentFault."""
        ...

    def poll(self) -> tuple[Reading, ...]:
        """Ask once and return a reading of every channel; never raises for what a wire does."""
        ...


class _Slot(NamedTuple):
    """One channel of an instrument: where its number stands and what makes a reading of it."""

    at: int
    name: str
    ratio: float
    limit: float


def _slots(channels: tuple[Channel, ...], fields: tuple[str, ...], who: str) -> list[_Slot]:
    """Return the channels' slots among `fields`. Raises ValueError where a field isn't there."""
    places = {field: i for i, field in enumerate(fields)}
    unknown = [c.field for c in channels if c.field not in places]
    if unknown:
        raise ValueError(f"{who}: its description has no field {unknown[0]!r}")
    # Without ranges only the instrument itself can say that it is over range.
    return [
        _Slot(places[c.field], c.name, c.ratio, c.ranges[-1] if c.ranges else _LARGEST)
        for c in channels
    ]


def _readings(slots: list[_Slot], numbers: Sequence[float], t: int, began: int) -> list[Reading]:
    return [
        # Half the cost of the constructor, and most of what a poll costs beyond its wire.
        _NEW(Reading, (name, t, began, value, GOOD, ""))
        if -limit <= (value := numbers[at] * ratio) <= limit
        else _without_value(name, value, t, began)
        for at, name, ratio, limit in slots
    ]


def _without_value(name: str, value: float, t: int, began: int) -> Reading:
    reason = NO_VALUE if isnan(value) else OVER_RANGE
    return Reading(name, t, began, None, Quality.BAD, reason)


class TextInstrument:
    """An instrument that is asked in lines of text.

    Raises ValueError at construction when a channel names a field that no query answers.
    """

    def __init__(
        self, instrument: Instrument, description: TextDescription, link: TextLink, clock: Clock
    ) -> None:
        self.name = instrument.name
        self.fault: InstrumentFault | None = None
        self._instrument = instrument
        self._named = description.identity
        self._says = ""
        self._set_up = description.set_up
        self._link = link
        self._clock = clock
        self._trusted = False
        self._frozen = Frozen(instrument)
        fields = tuple(f for q in description.query for f in q.fields)
        slots = _slots(instrument.channel, fields, instrument.name)
        self._queries: list[tuple[str, int, list[_Slot]]] = []
        first = 0
        for query in description.query:
            end = first + len(query.fields)
            own = [s._replace(at=s.at - first) for s in slots if first <= s.at < end]
            # What no channel wants isn't asked.
            if own:
                self._queries.append((query.ask, len(query.fields), own))
            first = end

    def open(self) -> None:
        """Open the link afresh and make sure who answers. Raises InstrumentFault."""
        self._trusted = False
        self._link.reopen()
        self._says = identify(self._link, self.name, self._named, self._instrument.timeout_s)
        send(self._link, self.name, self._set_up, self._instrument.timeout_s)
        self._trusted = True

    def poll(self) -> tuple[Reading, ...]:
        """Ask what any channel needs; return a reading of every channel, in the queries' order."""
        now = self._clock.now
        began = now()
        try:
            if not self._trusted:
                self.open()
            readings: list[Reading] = []
            said: list[str] = []
            for ask, count, slots in self._queries:
                began = now()
                reply = self._link.query(ask, self._instrument.timeout_s)
                numbers = self._numbers(ask, reply, count)
                said.append(reply)
                t = (began + now()) // 2
                readings += _readings(slots, numbers, t, began)
            self._frozen.judge(ask, said, readings)
        except InstrumentFault as fault:
            return self._failed(fault, began)
        self.fault = None
        return tuple(readings)

    def identity(self) -> str:
        """Return its answer to `*IDN?`."""
        return self._says

    def _numbers(self, ask: str, reply: str, count: int) -> list[float]:
        try:
            return read_numbers(reply, count)
        except UnreadableReply as error:
            raise BadAnswer(self.name, ask, str(error)) from error

    def _failed(self, fault: InstrumentFault, began: int) -> tuple[Reading, ...]:
        self.fault = fault
        self._trusted = False
        return _bad(self._instrument, fault, began, self._clock.now())


class RegisterInstrument:
    """A unit of registers.

    Raises ValueError at construction when a channel names a field that the description lacks.
    """

    def __init__(
        self,
        instrument: Instrument,
        description: RegisterDescription | SunSpecDescription,
        link: RegisterLink,
        clock: Clock,
    ) -> None:
        self.name = instrument.name
        self.fault: InstrumentFault | None = None
        self._instrument = instrument
        self._link = link
        self._clock = clock
        self._trusted = False
        # A SunSpec unit says where its values stand: the plan is made when it is opened.
        self._sunspec = description if isinstance(description, SunSpecDescription) else None
        self._plan = (
            ReadingPlan((), (), ())
            if isinstance(description, SunSpecDescription)
            else plan_reads(description)
        )
        fields = tuple(f.field for f in description.value)
        self._slots = _slots(instrument.channel, fields, instrument.name)
        self._frozen = Frozen(instrument)
        self._decoded: tuple[tuple[int, ...], list[float]] = ((), [])

    def open(self) -> None:
        """Open the link afresh and make sure who answers. Raises InstrumentFault."""
        self._trusted = False
        self._link.reopen()
        if self._sunspec is not None:
            self._plan = plan_reads(located(self._sunspec, self._read, self.name))
            self._decoded = ((), [])
        self._registers()
        self._trusted = True

    def poll(self) -> tuple[Reading, ...]:
        """Read every block once and return a reading of every channel."""
        now = self._clock.now
        began = now()
        try:
            if not self._trusted:
                self.open()
            began = now()
            registers = self._registers()
        except InstrumentFault as fault:
            return self._failed(fault, began)
        t = (began + now()) // 2
        if registers != self._decoded[0]:
            self._decoded = (registers, self._plan.values(registers))
        readings = _readings(self._slots, self._decoded[1], t, began)
        try:
            self._frozen.judge("registers", registers, readings)
        except BadAnswer as fault:
            return self._failed(fault, began)
        self.fault = None
        return tuple(readings)

    def identity(self) -> str:
        """Return maker and model of a SunSpec unit, else its identity registers in hex."""
        if self._sunspec is not None:
            with suppress(Refused):
                if said := maker_and_model(self._read, self.name):
                    return said
        return " ".join(f"{register:04x}" for _, register in self._plan.identity)

    def _failed(self, fault: InstrumentFault, began: int) -> tuple[Reading, ...]:
        self.fault = fault
        self._trusted = False
        return _bad(self._instrument, fault, began, self._clock.now())

    def _registers(self) -> tuple[int, ...]:
        """Read all blocks and put them end to end, with the identity among them proven."""
        registers: tuple[int, ...] = ()
        for block in self._plan.blocks:
            registers += self._read(block)
        for at, register in self._plan.identity:
            if registers[at] != register:
                raise BadAnswer(self.name, "identity", f"register {registers[at]:#06x}")
        return registers

    def _read(self, block: Block) -> tuple[int, ...]:
        got = self._link.read(block, self._instrument.timeout_s)
        if len(got) != block.count:
            raise BadAnswer(self.name, str(block), f"{len(got)} registers came back")
        return got


def _bad(
    instrument: Instrument, fault: InstrumentFault, began: int, ended: int
) -> tuple[Reading, ...]:
    t = (began + ended) // 2
    reason = str(fault)
    return tuple([Reading(c.name, t, began, None, Quality.BAD, reason) for c in instrument.channel])
