"""Instruments and channels as the stand file and the shipped descriptions give them.

Plain types: the files are read and validated elsewhere.
"""

from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

from annotated_types import Ge, Le, MinLen

from calculation.nameplate import STRICT, NotNegative, Positive
from drivers.link import Register, Table
from drivers.wiring import OutputWiring, RegisterIdentity

Raw = Annotated[int, Ge(0), Le(0xFFFFFFFF)]
# Points of the meter models; phase to phase they go by PPV… in all of them.
SunSpecPoint = Literal[
    "A", "AphA", "AphB", "AphC",
    "PhV", "PhVphA", "PhVphB", "PhVphC",
    "PPV", "PPVphAB", "PPVphBC", "PPVphCA",
    "Hz",
    "W", "WphA", "WphB", "WphC",
    "VA", "VAphA", "VAphB", "VAphC",
    "VAR", "VARphA", "VARphB", "VARphC",
    "PF", "PFphA", "PFphB", "PFphC",
    "TotWhExp", "TotWhImp",
]  # fmt: skip
RegisterType = Literal["uint16", "int16", "uint32", "int32", "float32"]
Unit = Literal["V", "A", "W", "Hz", "°C", "Ω", "", "1"]


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Limits of error of a channel: percent of reading plus percent of the range in use."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    reading_percent: NotNegative
    range_percent: NotNegative


@dataclass(frozen=True, slots=True)
class Channel:
    """One quantity that an instrument reports.

    `field` names the value in the instrument's description, `name` the channel of the stand
    ("hv.current.1"). `ranges` ascend, in the channel's unit; a value above the last is over range.
    `ratio` multiplies what the instrument reports (the VT or CT ratio of the channel).
    A channel older than `stale_after_s` is stale; a `critical` stale channel is a trip.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    field: str
    name: str
    unit: Unit
    stale_after_s: Positive
    critical: bool = False
    accuracy: Accuracy | None = None
    ranges: tuple[Positive, ...] = ()
    ratio: Positive = 1.0


@dataclass(frozen=True, slots=True)
class Instrument:
    """One instrument of the stand: which description it follows, where it is, how it is polled.

    `frozen_after_s`: an answer that is the same to the last digit for so long, of something that is
    there, is an old one and bad. None: it may say the same for ever, as contacts do, or a scanner
    of tenths of a degree. `served_pty`: the simulated stand serves it on a pseudo-terminal as well.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    name: str
    description: str
    resource: str
    period_s: Positive
    timeout_s: Positive
    channel: Annotated[tuple[Channel, ...], MinLen(1)]
    phase_s: NotNegative = 0.0
    frozen_after_s: Positive | None = None
    served_pty: bool = False


@dataclass(frozen=True, slots=True)
class Query:
    """A message and the fields that its answer lists, in order."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    ask: str
    fields: Annotated[tuple[str, ...], MinLen(1)]


@dataclass(frozen=True, slots=True)
class SourceMessages:
    """How a programmable source is driven, in messages.

    Those of `set_up` are sent once its link is open, with `{hertz}` and `{slew}`, volts a second,
    filled in; the source has to travel at that rate by itself. `level` has `{volts}` for the r.m.s.
    voltage, and `read_back` asks what it was set to. `let_go` ends it.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    set_up: Annotated[tuple[str, ...], MinLen(1)]
    level: str
    read_back: str
    let_go: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TextDescription:
    """An instrument asked in lines of text: what identifies it and which queries it answers.

    The messages of `set_up` are sent after every opening; then `SYST:ERR?` has to be 0 (SCPI-99
    volume 1, 21.8). `drive` is for a source that serves as a regulator.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    kind: Literal["text"]
    identity: str
    query: Annotated[tuple[Query, ...], MinLen(1)]
    set_up: tuple[str, ...] = ()
    drive: SourceMessages | None = None


@dataclass(frozen=True, slots=True)
class RegisterField:
    """Where a value stands in a unit's registers and how it is coded: value = raw * scale.

    `address` counts from 0 as on the wire. Values of 32 bits take two registers, the more
    significant first (`word_order` "big") or last; of coils and discrete inputs each is one bit.
    A raw value of `not_implemented` or `open_sensor` is none (bits of both registers together).
    `factor_at` is a register that holds the power of ten the value is to be multiplied by (SunSpec
    `sunssf`). `sensor` "pt100": the registers give ohms, the value is degrees Celsius (IEC 60751).
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    field: str
    address: Register
    type: RegisterType = "uint16"
    scale: Positive = 1.0
    not_implemented: Raw | None = None
    open_sensor: tuple[Raw, ...] = ()
    word_order: Literal["big", "little"] = "big"
    table: Table = "holding"
    factor_at: Register | None = None
    sensor: Literal["pt100"] | None = None


@dataclass(frozen=True, slots=True)
class RegisterDescription:
    """A unit of registers: what identifies it and where its values stand.

    `gaps`: registers between described ones may be read, so that one read does for all.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    kind: Literal["registers"]
    identity: RegisterIdentity
    value: Annotated[tuple[RegisterField, ...], MinLen(1)]
    gaps: bool = False


@dataclass(frozen=True, slots=True)
class SunSpecValue:
    """A point of a SunSpec meter model, by its name there, and the field that it fills."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    field: str
    point: SunSpecPoint


@dataclass(frozen=True, slots=True)
class SunSpecDescription:
    """A meter whose map says where it is: the first of `models` found in it is read."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    kind: Literal["sunspec"]
    models: Annotated[tuple[Literal[201, 202, 203, 204, 211, 212, 213, 214], ...], MinLen(1)]
    value: Annotated[tuple[SunSpecValue, ...], MinLen(1)]


Description = TextDescription | RegisterDescription | SunSpecDescription


@dataclass(frozen=True, slots=True)
class Watchdog:
    """The hardware watchdog relay: it drops when the heartbeat has not toggled for `drop_s`."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    drop_s: Positive


@dataclass(frozen=True, slots=True)
class Unattended:
    """What a stand has that may be left alone, each in words: which device, where, how.

    `over_current` and `over_temperature` are hardware, wired to the contactors' coils;
    `temperatures_a` and `temperatures_b` name two channels a unit that no one fault takes both of.
    The watchdog relay's time is in the table of the watchdog.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    over_current: str = ""
    over_temperature: str = ""
    protection_contacts: str = ""
    fire_detection: str = ""
    person_reachable: str = ""
    temperatures_a: tuple[str, ...] = ()
    temperatures_b: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stand:
    """A test stand: its instruments, outputs, watchdog, wiring and pace.

    `lv_branch_ohm` is the resistance of the leads from the LV bus to each unit and back, ohm; they
    carry full current and their loss is subtracted from the load loss.
    `commit_interval_s` is how often readings are committed to the archive. A stand without
    `unattended` is never left alone.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    name: str
    scan_period_s: Positive
    commit_interval_s: Positive
    averaging_s: NotNegative
    lv_branch_ohm: NotNegative
    watchdog: Watchdog
    outputs: OutputWiring
    instrument: Annotated[tuple[Instrument, ...], MinLen(1)]
    note: str = ""
    unattended: Unattended | None = None

    def channels(self) -> dict[str, Channel]:
        """Return every channel of the stand by name."""
        return {c.name: c for i in self.instrument for c in i.channel}

    def selector_positions(self) -> tuple[tuple[str, ...], ...]:
        """Return the channels of resistance that each position of the selector connects."""
        positions = self.outputs.resistance_selector.positions
        if positions:
            return positions
        all_of_them = tuple(name for name, c in self.channels().items() if c.unit == "Ω")
        return (all_of_them,) if all_of_them else ()
