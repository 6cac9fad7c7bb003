"""What a resistance meter's d.c. finds in a winding: its resistance, once that has settled."""

from math import exp
from typing import NamedTuple

# How far too high the reading starts, as a multiple of the resistance. Invented.
EXCESS = 4.0
# Discharged when so many of the winding's settling constants have passed. Invented.
DISCHARGED_AFTER = 5.0


class Winding(NamedTuple):
    """A winding by its unit ("a", "b") and its side ("lv", "hv")."""

    unit: str
    side: str


# The channels of resistance.
WINDINGS = {f"{u}.resistance_{s}": Winding(u, s) for u in "ab" for s in ("hv", "lv")}


def settling(true_ohm: float, since_s: float, settling_s: float) -> float:
    """Return what is seen of a resistance, ohm, `since_s` after the d.c. was applied."""
    if settling_s == 0.0:
        return true_ohm
    return true_ohm * (1 + EXCESS * exp(-since_s / settling_s))
