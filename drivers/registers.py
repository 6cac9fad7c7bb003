"""Registers of a unit: which are read together, and what values they hold."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, nan
from struct import pack, unpack
from typing import NamedTuple

from drivers.description import RegisterDescription, RegisterField
from drivers.link import Block, Table
from drivers.pt100 import temperature

# The most that one exchange may read (Modbus application protocol 1.1b3, 6.1 to 6.4): 125
# registers, and the same serves for bits.
MOST_AT_ONCE = 125
WIDTHS = {"uint16": 1, "int16": 1, "uint32": 2, "int32": 2, "float32": 2}
_SIGNED = ("int16", "int32")
_LARGEST_FACTOR = 10


class Place(NamedTuple):
    """Where a field's registers, and its factor's, begin in those of all blocks end to end."""

    field: RegisterField
    at: int
    factor_at: int | None


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
        return [
            decode(
                field,
                _raw(field, registers, at),
                0 if factor_at is None else registers[factor_at],
            )
            for field, at, factor_at in self.places
        ]


def plan_reads(description: RegisterDescription) -> ReadingPlan:
    """Merge the description's registers into blocks. Raises ValueError where a value can't stand.

    A value of two registers is never read in two exchanges: its halves would be of two instants.
    """
    identity = description.identity
    spans: dict[Table, list[tuple[int, int]]] = {
        identity.table: [(identity.address, len(identity.registers))]
    }
    for field in description.value:
        if field.address + WIDTHS[field.type] > 1 << 16:
            raise ValueError(f"{field.field}: its second register would be beyond the last one")
        if field.table in ("coil", "discrete") and field.type != "uint16":
            raise ValueError(f"{field.field}: a {field.table} is one bit, not {field.type}")
        spans.setdefault(field.table, []).append((field.address, WIDTHS[field.type]))
        if field.factor_at is not None:
            spans[field.table].append((field.factor_at, 1))
    blocks = tuple(
        Block(first, count, table)
        for table, own in spans.items()
        for first, count in merge(own, description.gaps)
    )
    index: dict[tuple[Table, int], int] = {}
    for block in blocks:
        for address in range(block.address, block.address + block.count):
            index[block.table, address] = len(index)
    return ReadingPlan(
        blocks=blocks,
        places=tuple(
            Place(
                f,
                index[f.table, f.address],
                None if f.factor_at is None else index[f.table, f.factor_at],
            )
            for f in description.value
        ),
        identity=tuple(
            (index[identity.table, identity.address + i], register)
            for i, register in enumerate(identity.registers)
        ),
    )


def merge(spans: list[tuple[int, int]], gaps: bool = False) -> list[tuple[int, int]]:
    """Return (first, count) of the reads that cover these spans of (first, count), ascending.

    None is above 125 registers and none divides a span; overlapping spans are one. Registers that
    nobody described are read only where `gaps` allows it.
    """
    whole: list[tuple[int, int]] = []
    for first, count in sorted(spans):
        if whole and first < sum(whole[-1]):
            begun = whole[-1][0]
            whole[-1] = (begun, max(sum(whole[-1]), first + count) - begun)
        else:
            whole.append((first, count))
    reads: list[tuple[int, int]] = []
    for first, count in whole:
        begun, end = (reads[-1][0], sum(reads[-1])) if reads else (first, -1)
        if (first == end or (gaps and reads)) and first + count - begun <= MOST_AT_ONCE:
            reads[-1] = (begun, first + count - begun)
        else:
            reads.append((first, count))
    if any(count > MOST_AT_ONCE for _, count in reads):
        raise ValueError(f"values that overlap over more than {MOST_AT_ONCE} registers")
    return reads


def decode(field: RegisterField, raw: int, factor: int = 0) -> float:
    """Return the field's value from its bits, `nan` when the unit says that it has none.

    `factor` is the register with its power of ten; one beyond ±10 is no factor and its value none.
    """
    if raw == field.not_implemented or raw in field.open_sensor:
        return nan
    power = factor - 0x10000 if factor >= 0x8000 else factor
    if abs(power) > _LARGEST_FACTOR:
        return nan
    value: float = raw
    if field.type == "float32":
        value = unpack(">f", pack(">I", raw))[0]
    elif field.type in _SIGNED:
        half = _half(field)
        value = raw - 2 * half if raw >= half else raw
    # A division by a power of ten is right to the last digit, a product with its inverse isn't.
    value = value * field.scale
    value = value * 10.0**power if power >= 0 else value / 10.0**-power
    if field.sensor == "pt100":
        return temperature(value)
    return value if isfinite(value) else nan


def encode(field: RegisterField, value: float | None) -> int:
    """Return the bits of a value to the nearest step, or the unit's mark for none.

    Raises ValueError when the value does not fit, or is none where no mark is described.
    """
    if value is None:
        if field.not_implemented is not None:
            return field.not_implemented
        if field.open_sensor:
            return field.open_sensor[0]
        raise ValueError(f"{field.field}: no mark for a missing value")
    if field.type == "float32":
        bits: int = unpack(">I", pack(">f", value / field.scale))[0]
        return bits
    raw, half = round(value / field.scale), _half(field)
    lowest, highest = (-half, half - 1) if field.type in _SIGNED else (0, 2 * half - 1)
    if not lowest <= raw <= highest:
        raise ValueError(f"{field.field}: {value} does not fit {field.type}")
    return raw % (2 * half)


def placed(field: RegisterField, raw: int) -> dict[int, int]:
    """Return a field's registers by address, from its bits."""
    if WIDTHS[field.type] == 1:
        return {field.address: raw}
    words = (raw >> 16, raw & 0xFFFF)
    return dict(enumerate(words if field.word_order == "big" else words[::-1], field.address))


def _raw(field: RegisterField, registers: Sequence[int], at: int) -> int:
    if WIDTHS[field.type] == 1:
        return registers[at]
    if field.word_order == "big":
        return registers[at] << 16 | registers[at + 1]
    return registers[at + 1] << 16 | registers[at]


def _half(field: RegisterField) -> int:
    return 1 << (16 * WIDTHS[field.type] - 1)
