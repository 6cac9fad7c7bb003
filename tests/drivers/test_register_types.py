"""How registers are coded: widths, signs, word order, floats, factors, marks, sensors.

Constructed values; the coding is that of IEEE 754 and two's complement, checked with `struct`.
"""

import struct
from math import inf, isfinite, isnan, nan
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.description import (
    RegisterDescription,
    RegisterField,
    RegisterType,
)
from drivers.link import Block, Table
from drivers.registers import WIDTHS, decode, encode, placed, plan_reads
from drivers.wiring import RegisterIdentity

FORMATS = {"uint16": ">H", "int16": ">h", "uint32": ">I", "int32": ">i", "float32": ">f"}
TYPES: Any = st.sampled_from(get_args(RegisterType))
WORD = st.integers(0, 0xFFFF)


def _description(*fields: RegisterField, gaps: bool = False) -> RegisterDescription:
    return RegisterDescription("registers", RegisterIdentity(0, (0x5443,)), fields, gaps)


def _read(field: RegisterField, words: dict[int, int]) -> float:
    plan = plan_reads(_description(field))
    addresses = [b.address + i for b in plan.blocks for i in range(b.count)]
    return plan.values(tuple(words.get(address, 0) for address in addresses))[0]


@given(TYPES, st.sampled_from(["big", "little"]), WORD, WORD)
def test_every_pattern_is_what_struct_makes_of_it(
    kind: Any, word_order: Any, first: int, second: int
) -> None:
    """Or none, where it is no number; never anything else."""
    field = RegisterField("x", 10, kind, word_order=word_order)
    words = [first] if WIDTHS[kind] == 1 else [first, second]
    ordered = words if word_order == "big" else words[::-1]
    (expected,) = struct.unpack(FORMATS[kind], struct.pack(f">{len(words)}H", *ordered))
    value = _read(field, dict(enumerate(words, 10)))
    assert value == expected if isfinite(expected) else isnan(value)


@given(TYPES, st.sampled_from(["big", "little"]), st.integers(-0x8000, 0x7FFF))
def test_what_is_placed_is_read_again(kind: Any, word_order: Any, number: int) -> None:
    """Encoding is undone by decoding, in every type and word order."""
    field = RegisterField("x", 10, kind, word_order=word_order)
    number = number if kind not in ("uint16", "uint32") else abs(number)
    assert _read(field, placed(field, encode(field, number))) == number


@pytest.mark.parametrize("bits", [0x7FC00000, 0xFFC00000, 0x7F800001, 0x7F800000, 0xFF800000])
def test_a_float_that_is_no_number_has_no_value(bits: int) -> None:
    """Any NaN, and infinity: neither is a reading."""
    assert isnan(decode(RegisterField("x", 0, "float32"), bits))


def test_an_open_sensor_has_no_value() -> None:
    """Whichever of its codes it sends, and both registers of a value of two together."""
    narrow = RegisterField("x", 0, "int16", 0.1, open_sensor=(0x7FFF, 0x8000))
    assert isnan(decode(narrow, 0x7FFF))
    assert isnan(decode(narrow, 0x8000))
    assert decode(narrow, 0x7FFE) == pytest.approx(3276.6)
    wide = RegisterField("x", 10, "int32", open_sensor=(0x7FFFFFFF,), word_order="little")
    assert isnan(_read(wide, {10: 0xFFFF, 11: 0x7FFF}))
    assert _read(wide, {10: 0x7FFF, 11: 0xFFFF}) == -32769.0


def test_a_pt100_is_read_in_degrees() -> None:
    """138.51 ohm is 100 °C (IEC 60751); an open one reads far above every temperature."""
    field = RegisterField("x", 0, "uint16", 0.01, sensor="pt100")
    assert decode(field, 13851) == pytest.approx(100.0, abs=0.02)
    assert isnan(decode(field, 65535))
    assert isnan(decode(field, 0))


def test_tables_are_read_apart() -> None:
    """Coil 1 and register 1 have nothing to do with each other."""
    plan = plan_reads(
        _description(
            RegisterField("position", 1),
            RegisterField("upper", 1, table="discrete"),
            RegisterField("lower", 2, table="discrete"),
            RegisterField("raise", 1, table="coil"),
        )
    )
    assert plan.blocks == (Block(0, 2), Block(1, 2, "discrete"), Block(1, 1, "coil"))
    assert plan.values((0x5443, 9000, 1, 0, 1)) == [9000.0, 1.0, 0.0, 1.0]


@pytest.mark.parametrize(
    "field",
    [
        RegisterField("x", 65535, "float32"),
        RegisterField("x", 0, "int32", table="coil"),
        RegisterField("x", 0, "int16", table="discrete"),
    ],
)
def test_a_value_that_cannot_stand_there_is_refused(field: RegisterField) -> None:
    """When the description is read, not when the unit is."""
    with pytest.raises(ValueError, match="x: "):
        plan_reads(_description(field))


FIELDS = st.builds(
    RegisterField,
    field=st.just("x"),
    address=st.integers(0, 400),
    type=TYPES,
    scale=st.sampled_from([1.0, 0.1, 1e-3]),
    not_implemented=st.none() | st.integers(0, 0xFFFFFFFF),
    word_order=st.sampled_from(["big", "little"]),
    table=st.sampled_from(["holding", "input"]),
    factor_at=st.none() | st.integers(0, 400),
)


@given(st.lists(FIELDS, min_size=1, max_size=20), st.booleans(), st.randoms(use_true_random=False))
def test_any_description_is_read_without_a_crash(
    fields: list[RegisterField], gaps: bool, dice: Any
) -> None:
    """Whatever the registers hold: each field's own registers, in one block, a number or none."""
    plan = plan_reads(_description(*fields, gaps=gaps))
    held: dict[tuple[Table, int], int] = {}
    registers: list[int] = []
    for block in plan.blocks:
        assert 1 <= block.count <= 125
        for address in range(block.address, block.address + block.count):
            assert (block.table, address) not in held
            held[block.table, address] = dice.choice([0, 1, 0x8000, 0xFFFF, dice.randrange(65536)])
            registers.append(held[block.table, address])
    for field, value in zip(fields, plan.values(tuple(registers)), strict=True):
        assert isfinite(value) or isnan(value)
        words = [held[field.table, field.address + i] for i in range(WIDTHS[field.type])]
        one_block = [
            b
            for b in plan.blocks
            if b.table == field.table
            and b.address <= field.address
            and field.address + len(words) <= b.address + b.count
        ]
        assert len(one_block) == 1
        raw = int.from_bytes(
            struct.pack(f">{len(words)}H", *(words if field.word_order == "big" else words[::-1])),
            "big",
        )
        factor = 0 if field.factor_at is None else held[field.table, field.factor_at]
        assert value == pytest.approx(_by_hand(field, raw, factor), rel=1e-12, nan_ok=True)


def _by_hand(field: RegisterField, raw: int, factor: int) -> float:
    power = factor - 65536 if factor > 32767 else factor
    if raw == field.not_implemented or not -10 <= power <= 10:
        return nan
    width = 4 if WIDTHS[field.type] == 2 else 2
    number: float = struct.unpack(FORMATS[field.type], raw.to_bytes(width, "big"))[0]
    value = number * field.scale * 10**power
    return nan if value in (inf, -inf) else value
