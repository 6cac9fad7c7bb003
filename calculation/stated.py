"""A value with the uncertainty that is stated beside it."""

from collections.abc import Sequence
from dataclasses import dataclass

from calculation.coverage import Part, coverage_factor


@dataclass(frozen=True, slots=True)
class Stated:
    """A value, its expanded uncertainty for 95 % in the same unit, and the factor in that."""

    value: float
    expanded: float
    factor: float


def stated(value: float, parts: Sequence[Part]) -> Stated:
    """Value and expanded uncertainty for 95 % of a sum of independent parts (JCGM 100, 6.2)."""
    factor = coverage_factor(parts).factor
    combined = sum(part.standard**2 for part in parts) ** 0.5
    return Stated(value, factor * float(combined), factor)
