"""Replies in lines of text, and what numbers they are (IEEE 488.2 clause 8.7, SCPI-99 7.2.1)."""

import re
from math import inf, nan

# NR1, NR2 and NR3, in ASCII digits alone. Instruments also send NR3 without its point, with a
# small e, or with a leading point; these mean what they say. Python's float() takes far more
# ("nan", "1_000", digits of other scripts), so it only sees what passed here.
_NUMBER = re.compile(r"[ \t]*[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?[ \t]*")

# SCPI's infinity and not-a-number; a sign before the latter has been seen on wires.
_INFINITY = 9.9e37
_NOT_A_NUMBER = 9.91e37


class UnreadableReply(ValueError):  # noqa: N818 - it names what was found, as the drivers' faults do
    """A reply that is not the list of numbers that was asked for."""


def read_numbers(reply: str, count: int) -> list[float]:
    """Return the `count` numbers that a reply lists.

    SCPI's not-a-number becomes `nan` and its infinities `inf` and `-inf`; no other text does.
    Raises UnreadableReply when anything is missing, too much or not a number.
    """
    items = reply.split(",")
    if len(items) != count:
        raise UnreadableReply(f"{len(items)} values where {count} belong: {reply[:80]!r}")
    return [_number(item) for item in items]


def _number(item: str) -> float:
    if _NUMBER.fullmatch(item) is None:
        raise UnreadableReply(f"not a number: {item[:40]!r}")
    value = float(item)
    if -_INFINITY < value < _INFINITY:
        return value
    return _beyond(value, item)


def _beyond(value: float, item: str) -> float:
    if abs(value) == _NOT_A_NUMBER:
        return nan
    if abs(value) == _INFINITY:
        return inf if value > 0 else -inf
    raise UnreadableReply(f"no instrument measures {item[:40]!r}")
