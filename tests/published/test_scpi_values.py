"""SCPI's marks for no value: check h1.

Values as several public drivers have them; the clause, SCPI-99 volume 1, 7.2.1, is from memory.
"""

from math import inf, isnan

import pytest

from drivers.replies import read_numbers


@pytest.mark.parametrize("reply", ["9.9E37", "9.9E+37", "9.90000E+37", "+9.9E37"])
def test_infinity_is_over_range(reply: str) -> None:
    """h1: 9.9E37, however it is spelt, is +infinity and no number."""
    assert read_numbers(reply, 1) == [inf]


def test_negative_infinity_is_over_range() -> None:
    """h1: -9.9E37 is -infinity."""
    assert read_numbers("-9.9E37", 1) == [-inf]


@pytest.mark.parametrize("reply", ["9.91E37", "9.91000E+37", "-9.91E37"])
def test_not_a_number_is_none(reply: str) -> None:
    """h1: 9.91E37, with the sign that is seen on wires or without, is not a number."""
    assert isnan(read_numbers(reply, 1)[0])
