"""Registers of a unit: which are read together, and what values they hold."""

from dataclasses import dataclass
from math import nan
from typing import NamedTuple

from drivers.description import RegisterDescription, RegisterField
from drivers.link import Block

# The most registers that one exchange may read (Modbus application protocol 1.1b3, 6.3).
MOST_AT_ONCE = 125
_SIGN = 0x8000
_SPAN = 0x10000


class Place(NamedTuple):
    """Where a field's register stands in the registers of all blocks put end to end."""

    field: RegisterField
    at: int


@dataclass(frozen=True, slots=True)
class ReadingPlan:
    """The fewest reads for a description: blocks in order, places of fields and identity.

    `identity` lists (index, register) of identity registers; they are read with the values where
    they adjoin them or each other, so that every poll proves who answers.
    """

    blocks: tuple[Block, ...]
    places: tuple[Place, ...]
    identity: tuple[tuple[int, int], ...]

    def values(self, registers: tuple[int, ...]) -> list[float]:
        """Return the fields' values, in the description's order, from all blocks' registers."""
        return [decode(field, registers[at]) for field, at in self.places]


def plan_reads(description: RegisterDescription) -> ReadingPlan:
    """Merge the description's registers into blocks of adjacent ones."""
    identity = {
        description.identity.address + i: register
        for i, register in enumerate(description.identity.registers)
    }
    addresses = sorted(identity.keys() | {f.address for f in description.value})
    blocks = merge(addresses)
    index = {address: i for i, address in enumerate(addresses)}
    return ReadingPlan(
        blocks=blocks,
        places=tuple(Place(f, index[f.address]) for f in description.value),
        identity=tuple((index[address], register) for address, register in identity.items()),
    )


def merge(addresses: list[int]) -> tuple[Block, ...]:
    """Return blocks that cover exactly these ascending addresses, none above 125 registers."""
    blocks: list[Block] = []
    for address in addresses:
        last = blocks[-1] if blocks else None
        if last and address == last.address + last.count and last.count < MOST_AT_ONCE:
            blocks[-1] = Block(last.address, last.count + 1)
        else:
            blocks.append(Block(address, 1))
    return tuple(blocks)


def decode(field: RegisterField, register: int) -> float:
    """Return the field's value, `nan` when the unit says that it has none."""
    if register == field.not_implemented:
        return nan
    if field.type == "int16" and register >= _SIGN:
        register -= _SPAN
    return register * field.scale


def encode(field: RegisterField, value: float | None) -> int:
    """Return the register that holds a value to the nearest step, or the unit's mark for none.

    Raises ValueError when the value does not fit, or is none where no mark is described.
    """
    if value is None:
        if field.not_implemented is None:
            raise ValueError(f"{field.field}: no mark for a missing value")
        return field.not_implemented
    raw = round(value / field.scale)
    lowest, highest = (-_SIGN, _SIGN - 1) if field.type == "int16" else (0, _SPAN - 1)
    if not lowest <= raw <= highest:
        raise ValueError(f"{field.field}: {value} does not fit {field.type}")
    return raw % _SPAN
