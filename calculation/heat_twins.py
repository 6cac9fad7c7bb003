"""The twins of a heat run compared, what their unequal LV currents explain taken out."""

from typing import Any, cast

from calculation.coverage import Part
from calculation.heat_test import HeatResult, HeatTest, UnitRises
from calculation.rise_budget import (
    COMMON,
    CURRENT,
    GRADIENT_EXPONENT,
    INSTANT,
    LIQUID_EXPONENT,
    LOSS,
    METER,
)
from calculation.rises import (
    DRY_EXPONENT,
    DryCooling,
    LiquidCooling,
    gradient_exponent,
    quantities_of,
)
from calculation.stated import Stated, stated
from calculation.twins import Difference, differences, gradient_effect

# Errors that the rises of both units have alike.
SHARED = frozenset({COMMON, METER, INSTANT, LOSS, LIQUID_EXPONENT, GRADIENT_EXPONENT})
AIR = "sensor: ambient"


def twins(test: HeatTest, result: HeatResult) -> tuple[Difference, ...]:
    """Return the differences, a less b, of all rises that both units have.

    Where the stand tells the twins' own LV currents, the rises are at rated current already and
    nothing is left for currents to explain; where it doesn't, the doubt is in every rise.
    """
    shared = SHARED | {AIR} | ({CURRENT} if test.own_currents_a() else set())
    known = {unit: _own(found, unit, shared) for unit, found in result.units.items()}
    both = [name for name in known["a"] if name in known["b"]]
    return differences(
        {name: known["a"][name] for name in both}, {name: known["b"][name] for name in both}, {}
    )


def plain_twins(test: HeatTest, result: HeatResult) -> dict[str, Any]:
    """Return the differences as plain values, with LV currents and what they explained."""
    rows = [
        {
            "quantity": found.name,
            "difference_k": found.difference_k,
            "limit_k": found.limit_k,
            "warmer": found.warmer,
            "words": found.words,
        }
        for found in twins(test, result)
    ]
    currents = test.own_currents_a()
    return {
        "rows": rows,
        "lv_currents_a": None if currents is None else dict(zip("ab", currents, strict=True)),
        "current_effect_k": _effect(test, result, currents),
    }


def _own(found: UnitRises, unit: str, shared: set[str] | frozenset[str]) -> dict[str, Stated]:
    """Rises with the doubt that is this unit's alone, by names that both units have."""
    stated_rises = {}
    for name, value in quantities_of(found.rises).items():
        if name.startswith(("temperature_c", "hot_spot")):
            continue
        parts = [
            Part(abs(row.contribution), row.distribution)
            for row in found.budgets[name].rows
            if row.source not in shared
        ]
        stated_rises[name.replace(f"({unit}_", "(")] = stated(value, parts)
    return stated_rises


def _effect(
    test: HeatTest, result: HeatResult, currents: tuple[float, float] | None
) -> float | None:
    """How much more LV gradient unit A had than B for its current alone, K."""
    if currents is None:
        return None
    rises = [result.units[unit].rises.windings.get(f"{unit}_lv") for unit in "ab"]
    known = [w.average_k if w.gradient_k is None else w.gradient_k for w in rises if w is not None]
    if len(known) < 2:
        return None
    exponent = (
        DRY_EXPONENT[cast(DryCooling, test.plate.cooling)]
        if test.is_dry
        else gradient_exponent(cast(LiquidCooling, test.plate.cooling))
    )
    mean = sum(known) / len(known)
    return gradient_effect(mean, *currents, test.nameplate.lv_current_a, exponent).value
