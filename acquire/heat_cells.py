"""Cells and tables that a heat run's results share: both units' values with their uncertainty."""

import math
from collections.abc import Mapping
from typing import Any

from acquire.results_table import number

Result = Mapping[str, Any]

UNITS = ("a", "b")


def stated(value: float, known: Result | None, one: float = 1.0) -> str:
    """Return a value with its expanded uncertainty, both to two digits of that, and its factor.

    `one` is what the unit shown is of the value's own.
    """
    value = value / one
    if known is None or not known["expanded"]:
        return number(value, 4)
    expanded, factor = known["expanded"] / one, f"{known['factor']:.1f}"
    # Of what rounds up to 0.10, as many places as of 0.10.
    places = max(1 - math.floor(math.log10(float(f"{expanded:.1e}"))), 0)
    k = "" if factor == "2.0" else f" ({factor})"
    # Adding zero, so that nothing is "-0.00".
    return f"{round(value, places) + 0.0:.{places}f} ± {expanded:.{places}f}{k}"


def of_both(units: Mapping[str, Result | None], key: str, one: float = 1.0) -> list[str] | None:
    """Return the cells of units A and B for a quantity; None where neither has it."""
    cells = []
    for unit in UNITS:
        at = units.get(unit) or {}
        value = at.get(key)
        cells.append(
            "–" if value is None else stated(value, (at.get("uncertainty") or {}).get(key), one)
        )
    return None if cells == ["–", "–"] else cells
