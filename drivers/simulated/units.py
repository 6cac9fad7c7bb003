"""The stand's register units, served from memory at the seam where real ones are read."""

from collections.abc import Callable, Mapping
from typing import Generic, TypeVar

from drivers.description import Instrument, RegisterDescription, RegisterField, Stand
from drivers.link import Block, Refused
from drivers.registers import encode, placed
from drivers.simulated.stand import STATUS, SimulatedStand
from drivers.simulated.wire import Wire
from drivers.wiring import Regulator

Registers = dict[int, int]


class ContactsUnit:
    """Contacts and positions; encoded afresh only when one of them has changed."""

    def __init__(self, plant: SimulatedStand, places: list[tuple[RegisterField, int]]) -> None:
        self._plant = plant
        self._places = places
        self._status: tuple[float, ...] = ()

    def refresh(self, registers: Registers) -> bool:
        """Bring the registers up to date; return whether any of them may have changed."""
        status = self._plant.status()
        if status == self._status:
            return False
        self._status = status
        for field, i in self._places:
            registers |= placed(field, encode(field, float(status[i])))
        return True


class TemperaturesUnit:
    """Temperatures through their meters; an input that no channel names is an open sensor."""

    def __init__(
        self, plant: SimulatedStand, places: list[tuple[RegisterField, str | None]]
    ) -> None:
        self._plant = plant
        self._places = places

    def refresh(self, registers: Registers) -> bool:
        """Measure every input afresh."""
        plant = self._plant
        for field, channel in self._places:
            shown = None
            if channel is not None:
                shown = plant.meters[channel].value(plant.temperature(channel))
            registers |= placed(field, encode(field, shown))
        return True


def unit_behind(
    plant: SimulatedStand, instrument: Instrument, description: RegisterDescription
) -> ContactsUnit | TemperaturesUnit:
    """Return what stands behind a register unit of the stand: contacts, or else temperatures.

    Raises ValueError where the stand has nothing to show for one of its channels.
    """
    channels = {c.field: c.name for c in instrument.channel}
    if any(name in STATUS for name in channels.values()):
        known = {field: name for field, name in channels.items() if name in STATUS}
        if known != channels:
            unknown = next(name for field, name in channels.items() if field not in known)
            raise ValueError(f"{instrument.name}: the simulated stand has no {unknown}")
        wanted = [f for f in description.value if f.field in known]
        return ContactsUnit(plant, [(f, STATUS.index(known[f.field])) for f in wanted])
    return TemperaturesUnit(plant, [(f, channels.get(f.field)) for f in description.value])


class PolledUnit:
    """A register unit that is polled, at the instant that the plant was last moved on to.

    Raises ValueError where the stand has nothing to show for one of its channels.
    """

    def __init__(
        self, plant: SimulatedStand, instrument: Instrument, description: RegisterDescription
    ) -> None:
        self._name = instrument.name
        self._unit = unit_behind(plant, instrument, description)
        identity = description.identity
        self._registers: Registers = {}
        for field in description.value:
            self._registers |= placed(field, 0)
        self._registers |= {identity.address + i: r for i, r in enumerate(identity.registers)}
        self._read: dict[Block, tuple[int, ...]] = {}

    def read(self, block: Block) -> tuple[int, ...]:
        """Return the block's registers. Raises Refused where there are none."""
        if self._unit.refresh(self._registers):
            self._read.clear()
        values = self._read.get(block)
        if values is None:
            values = self._slice(block)
            self._read[block] = values
        return values

    def write(self, address: int, values: tuple[int, ...]) -> None:
        """Refuse: nothing in this unit is for writing."""
        raise Refused(self._name, f"write {values} at {address}", "it can only be read")

    def _slice(self, block: Block) -> tuple[int, ...]:
        addresses = range(block.address, block.address + block.count)
        if not all(a in self._registers for a in addresses):
            raise Refused(self._name, str(block), "illegal address")
        return tuple(self._registers[a] for a in addresses)


class OutputsUnit:
    """The unit that drives the outputs, whose registers are as last written.

    `after_write` is called when a register has been written, before the next one is.
    """

    def __init__(self, plant: SimulatedStand) -> None:
        self._plant = plant
        self._writers = output_writers(plant.stand)
        self._registers: Registers = dict.fromkeys(self._writers, 0)
        if (identity := plant.stand.outputs.identity) is not None:
            self._registers |= dict(enumerate(identity.registers, identity.address))
        self.after_write: Callable[[], None] = _nothing

    def read(self, block: Block) -> tuple[int, ...]:
        """Return what was last written. Raises Refused where there is nothing."""
        addresses = range(block.address, block.address + block.count)
        self._refuse_unknown(addresses, self._registers, str(block))
        return tuple(self._registers[a] for a in addresses)

    def write(self, address: int, values: tuple[int, ...]) -> None:
        """Write adjacent registers, in order. Raises Refused and writes nothing."""
        asked = f"write {values} at {address}"
        self._refuse_unknown(range(address, address + len(values)), self._writers, asked)
        for i, value in enumerate(values, address):
            self._registers[i] = value
            output, scale = self._writers[i]
            self._plant.write(output, value * scale)
            self.after_write()

    def _refuse_unknown(self, addresses: range, there: Mapping[int, object], asked: str) -> None:
        if not there.keys() >= set(addresses):
            raise Refused("outputs", asked, "illegal address")


Unit = TypeVar("Unit", bound=PolledUnit | OutputsUnit)


class SimulatedRegisterLink(Generic[Unit]):
    """The link to a unit in memory, and the time that it takes."""

    def __init__(self, unit: Unit, wire: Wire) -> None:
        self.unit = unit
        self._wire = wire

    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        """Return the block's registers. Raises NoAnswer, and Refused where there are none."""
        ends = self._wire.begin("read", timeout_s)
        values = self._wire.registers(block, self.unit.read(block), timeout_s)
        self._wire.end(ends)
        return values

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        """Write adjacent registers, in order. Raises NoAnswer, or Refused and writes nothing."""
        ends = self._wire.begin("write", timeout_s)
        self.unit.write(address, values)
        self._wire.end(ends)

    def reopen(self) -> None:
        """Open the link; memory is always there."""
        self._wire.reopened()

    def close(self) -> None:
        """Close the link."""


def _nothing() -> None:
    """Nobody looks on."""


def output_writers(stand: Stand) -> dict[int, tuple[str, float]]:
    """Return what stands behind each register of the outputs unit, and its scale."""
    outputs = stand.outputs
    return {
        outputs.heartbeat: ("heartbeat", 1.0),
        outputs.lv_contactor.address: ("lv_contactor", 1.0),
        outputs.loop_contactor.address: ("loop_contactor", 1.0),
        outputs.resistance_selector.address: ("resistance_selector", 1.0),
    } | {
        address: behind
        for name, regulator in outputs.regulators().items()
        for address, behind in _regulator_writers(name, regulator).items()
    }


def _regulator_writers(name: str, regulator: Regulator) -> dict[int, tuple[str, float]]:
    if regulator.motor is not None:
        motor = regulator.motor
        return {
            motor.raise_at: (f"{name}.raise", 1.0),
            motor.lower_at: (f"{name}.lower", 1.0),
        }
    return {} if regulator.address is None else {regulator.address: (name, regulator.scale)}
