"""The outputs of a stand as its file gives them: what drives each, and where.

Plain types: the files are read and validated elsewhere.
"""

from dataclasses import dataclass
from typing import Annotated, ClassVar

from annotated_types import Ge, Gt, Le, MinLen

from calculation.nameplate import STRICT, NotNegative, Positive
from drivers.link import Register, Table


@dataclass(frozen=True, slots=True)
class RegisterIdentity:
    """Registers that never change and tell the unit from another."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    address: Register
    registers: Annotated[tuple[Register, ...], MinLen(1)]
    table: Table = "holding"


@dataclass(frozen=True, slots=True)
class ContactorWiring:
    """A contactor or other two-state output: where its command is written.

    1 energises (closes), 0 opens.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    address: Register


@dataclass(frozen=True, slots=True)
class SelectorWiring:
    """The selector that connects the resistance meter: where its position is written, 0 is open.

    Position n puts the meter's d.c. on the windings of `positions[n - 1]`, each alone, named by
    their channels of resistance. Where none are given there is one position with all of them.
    `by_hand`: people turn it when asked, to its first position, and no program does.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    address: Register
    positions: tuple[Annotated[tuple[str, ...], MinLen(1)], ...] = ()
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class MotorRelays:
    """Where a regulator's motor is switched: its raise and its lower relay, 1 energises.

    Its limit contacts cut the motor by themselves, and are channels of the stand. The position
    still goes on for the watchdog's time where the program stands still.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    raise_at: Register
    lower_at: Register


@dataclass(frozen=True, slots=True)
class SourceWiring:
    """A programmable a.c. source that serves as a regulator, on a link of its own.

    `description` names a file of an instrument that says how it is driven; `frequency_hz` is what
    it is set to.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    description: str
    resource: str
    timeout_s: Positive
    frequency_hz: Positive


@dataclass(frozen=True, slots=True)
class Regulator:
    """A regulator with its supply: a positioner, a motor switched by two relays, or a source.

    Position runs from 0 to 1 of travel, of a source from 0 to 1 of its full voltage. One of three
    drives it: `address`, where a positioner takes register = position / scale, `motor` or `source`.
    `full_voltage_v` is the open-circuit voltage that position 1 promises, `source_ohm` the
    impedance behind it, `rate_per_s` the travel per second (full travel takes 10 s at the least),
    `resolution` the smallest step that it can hold, `zero_band` what counts as zero;
    `angle_degree` by how much the loop supply's voltage leads the LV bus, where the stand fixes it.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    full_voltage_v: Positive
    source_ohm: NotNegative
    rate_per_s: Annotated[float, Gt(0), Le(0.1)]
    resolution: Positive
    zero_band: Positive
    address: Register | None = None
    motor: MotorRelays | None = None
    source: SourceWiring | None = None
    angle_degree: Annotated[float, Ge(-180), Le(180)] | None = None
    scale: Positive = 0.0001


@dataclass(frozen=True, slots=True)
class OutputWiring:
    """The unit that drives the outputs, on a link of its own, and where each output is written.

    `identity` is proven before anything is written to it, and after every reopening; a unit that
    has none is taken for what answers at its address.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    resource: str
    timeout_s: Positive
    heartbeat: Register
    lv_contactor: ContactorWiring
    loop_contactor: ContactorWiring
    resistance_selector: SelectorWiring
    lv_regulator: Regulator
    loop_regulator: Regulator
    identity: RegisterIdentity | None = None

    def regulators(self) -> dict[str, Regulator]:
        """Return the two regulators by their outputs' names."""
        return {"lv_regulator": self.lv_regulator, "loop_regulator": self.loop_regulator}
