"""Replies in lines of text, and what numbers they are (IEEE 488.2 clause 8.7, SCPI-99 7.2.1)."""

import re
from math import inf, nan

# What NR1, NR2 and NR3 are written in, with the comma between them. Python's float() takes much
# more ("nan", "1_000", digits of other scripts); of what is written in these it takes NR1 to NR3,
# and NR3 without its point or with a small e, which instruments send too and mean.
_WRITTEN_IN = re.compile(r"[-+.,0-9eE \t]+")

# SCPI's infinity and not-a-number; a sign before the latter has been seen on wires.
_INFINITY = 9.9e37
_NOT_A_NUMBER = 9.91e37


class UnreadableReply(ValueError):
    """A reply that is not the list of numbers that was asked for."""


def read_numbers(reply: str, count: int) -> list[float]:
    """Return the `count` numbers that a reply lists.

    SCPI's not-a-number becomes `nan` and its infinities `inf` and `-inf`; no other text does.
    Raises UnreadableReply when anything is missing, too much or not a number.
    """
    if _WRITTEN_IN.fullmatch(reply) is None:
        raise UnreadableReply(f"not a list of numbers: {reply[:80]!r}")
    items = reply.split(",")
    if len(items) != count:
        raise UnreadableReply(f"{len(items)} values where {count} belong: {reply[:80]!r}")
    try:
        values = [float(item) for item in items]
    except ValueError as error:
        raise UnreadableReply(f"{error} in {reply[:80]!r}") from None
    if min(values) > -_INFINITY and max(values) < _INFINITY:
        return values
    return [_meant(value) for value in values]


def _meant(value: float) -> float:
    """Return what a value stands for where it is one of SCPI's marks."""
    if abs(value) < _INFINITY:
        return value
    if abs(value) == _NOT_A_NUMBER:
        return nan
    if abs(value) == _INFINITY:
        return inf if value > 0 else -inf
    raise UnreadableReply(f"no instrument measures {value!r}")
