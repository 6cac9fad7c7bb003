"""A reading: one value of one channel at one instant, never changed after birth."""

from enum import IntEnum
from typing import NamedTuple


class Quality(IntEnum):
    """How far a value may be trusted (the three OPC UA severities)."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2


# Until Python 3.12 naming an enum's member costs as much as making a reading.
GOOD = Quality.GOOD


class Reading(NamedTuple):
    """One reading.

    `t` and `began` are stand time in ns: the middle of the exchange, and the instant at which the
    question was asked (what a reading may be evidence of). `value` is in SI units, degrees Celsius
    for temperatures, and is None exactly when `quality` is BAD; `reason` then says why.
    """

    channel: str
    t: int
    began: int
    value: float | None
    quality: Quality = Quality.GOOD
    reason: str = ""


OVER_RANGE = "over range"
NO_READING_YET = "no reading yet"
