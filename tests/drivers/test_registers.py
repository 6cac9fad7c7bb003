"""Registers: which are read together, and what they hold."""

from math import isnan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.description import RegisterDescription, RegisterField
from drivers.link import Block
from drivers.registers import MOST_AT_ONCE, decode, encode, merge, plan_reads
from drivers.wiring import RegisterIdentity

IDENTITY = RegisterIdentity(address=0, registers=(0x5443, 1))
INPUT = RegisterField("input", address=2, type="int16", scale=0.01, not_implemented=0x8000)


def test_adjacent_registers_are_read_at_once() -> None:
    """Identity and values that adjoin make one block; a gap begins another."""
    description = RegisterDescription(
        "registers",
        IDENTITY,
        (RegisterField("c", 9), RegisterField("a", 2), RegisterField("b", 3)),
    )
    plan = plan_reads(description)
    assert plan.blocks == (Block(0, 4), Block(9, 1))
    assert plan.identity == ((0, 0x5443), (1, 1))
    assert plan.values((0x5443, 1, 20, 30, 90)) == [90.0, 20.0, 30.0]


@given(st.sets(st.integers(0, 2000), min_size=1))
def test_blocks_cover_exactly_what_was_asked(addresses: set[int]) -> None:
    """Every register is read once, none that nobody described, and no read is too long."""
    reads = merge([(address, 1) for address in addresses])
    covered = [first + i for first, count in reads for i in range(count)]
    assert covered == sorted(addresses)
    assert max(count for _, count in reads) <= MOST_AT_ONCE


def test_a_long_run_is_split() -> None:
    """126 adjacent registers need two reads."""
    assert merge([(address, 1) for address in range(126)]) == [(0, 125), (125, 1)]


def test_a_value_of_two_registers_is_never_divided() -> None:
    """Its halves would be of two instants: the second read begins with it whole."""
    assert merge([(address, 1) for address in range(124)] + [(124, 2)]) == [(0, 124), (124, 2)]


def test_gaps_are_read_over_only_where_allowed() -> None:
    """Undescribed registers between described ones may be refused by a unit."""
    assert merge([(0, 2), (9, 1)]) == [(0, 2), (9, 1)]
    assert merge([(0, 2), (9, 1)], gaps=True) == [(0, 10)]
    assert merge([(0, 2), (200, 1)], gaps=True) == [(0, 2), (200, 1)]


def test_overlapping_values_are_read_once() -> None:
    """A value within another one's registers needs no read of its own."""
    assert merge([(4, 2), (5, 1), (5, 2)]) == [(4, 3)]


@pytest.mark.parametrize(
    ("register", "value"), [(2100, 21.0), (0xFFFF, -0.01), (0x8001, -327.67), (0x7FFF, 327.67)]
)
def test_signed_registers(register: int, value: float) -> None:
    """int16 is two's complement, times its scale."""
    assert decode(INPUT, register) == pytest.approx(value, rel=1e-12)


def test_not_implemented_has_no_value() -> None:
    """The mark for a missing value is never taken for one."""
    assert isnan(decode(INPUT, 0x8000))
    assert decode(RegisterField("x", 0), 0x8000) == 0x8000


@given(st.floats(-300, 300))
def test_encoding_is_undone_by_decoding(value: float) -> None:
    """A value comes back to half a step."""
    assert decode(INPUT, encode(INPUT, value)) == pytest.approx(value, abs=0.00501)


def test_a_missing_value_has_its_mark() -> None:
    """None is encoded as the unit's mark, and refused where there is none."""
    assert encode(INPUT, None) == 0x8000
    with pytest.raises(ValueError, match="no mark"):
        encode(RegisterField("guard", 2), None)


@pytest.mark.parametrize(("field", "value"), [(INPUT, 328.0), (RegisterField("x", 0), -1.0)])
def test_what_does_not_fit_is_refused(field: RegisterField, value: float) -> None:
    """A register never wraps round."""
    with pytest.raises(ValueError, match="does not fit"):
        encode(field, value)
