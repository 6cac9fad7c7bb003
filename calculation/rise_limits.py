"""Judging temperature rises: limits by standard, cooling or class, drawn down by altitude.

All from memory unless said otherwise. IEC 60076-2:2011: top liquid 60 K, winding 65 K (70 K with
directed flow), hot spot 78 K (the three transcribed); 1 K less per 400 m above 1000 m with natural
air, per 250 m with forced air. IEEE C57.12.00, tested as C57.12.90 says: 65, 65, 80 K. IEC
60076-11: by thermal class (a public table of it read), 2.5 % less per 500 m above 1000 m with
natural air, 5 % with forced air.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

from calculation.decision import Rule, guard_band
from calculation.errors import ImpossibleReading
from calculation.limits import Word
from calculation.rises import DryCooling, LiquidCooling, Rises

LiquidStandard = Literal["IEC", "IEEE"]
ThermalClass = Literal[105, 120, 130, 155, 180, 200, 220]

FREE_ALTITUDE_M = 1000.0
M_PER_K = {"AN": 400.0, "AF": 250.0}
SHARE_PER_M = {"AN": 0.025 / 500, "AF": 0.05 / 500}
# Beyond it no standard's rule is meant.
HIGHEST_M = 6000.0
DRY_K: dict[ThermalClass, float] = {
    105: 60.0,
    120: 75.0,
    130: 80.0,
    155: 100.0,
    180: 125.0,
    200: 135.0,
    220: 150.0,
}


@dataclass(frozen=True, slots=True)
class RiseLimits:
    """The greatest rises allowed, K; None where the standard has none."""

    winding_k: float
    top_liquid_k: float | None = None
    hot_spot_k: float | None = None


@dataclass(frozen=True, slots=True)
class JudgedRise:
    """One rise against its limit, K; `within` is None where no word can be said of it.

    `guard` is how far the decision rule draws the limit in.
    """

    quantity: str
    value: float
    limit: float
    within: bool | None
    guard: float = 0.0


@dataclass(frozen=True, slots=True)
class RiseVerdict:
    """Every judged rise and the word for all of them; None with its reason: no verdict."""

    rows: tuple[JudgedRise, ...]
    verdict: Word | None
    reason: str = ""
    rule: Rule = "simple"


def liquid_limits(
    cooling: LiquidCooling, standard: LiquidStandard = "IEC", altitude_m: float = 0.0
) -> RiseLimits:
    """Limits of a liquid-filled unit for the altitude of its place, tested below 1000 m.

    Water-cooled units know no altitude.

    Raises:
        ImpossibleReading: an altitude that is none, or above 1000 m by IEEE, whose rule isn't here.
    """
    above = _above(altitude_m)
    if standard == "IEEE":
        if above:
            why = "no rule for altitudes above 1000 m is known here for IEEE"
            raise ImpossibleReading({"altitude_m": altitude_m}, why)
        return RiseLimits(65.0, 65.0, 80.0)
    air = cooling[2:]
    less = above / M_PER_K[air] if air in M_PER_K else 0.0
    winding = 70.0 if cooling.startswith("OD") else 65.0
    return RiseLimits(winding - less, 60.0 - less, 78.0 - less)


def dry_limits(
    thermal_class: ThermalClass, cooling: DryCooling, altitude_m: float = 0.0
) -> RiseLimits:
    """Limit of a dry-type unit's windings for the altitude of its place, tested below 1000 m.

    Raises:
        ImpossibleReading: an altitude that is none.
    """
    share = _above(altitude_m) * SHARE_PER_M[cooling]
    return RiseLimits(DRY_K[thermal_class] * (1 - share))


def rise_verdict(
    rises: Rises[float],
    limits: RiseLimits,
    expanded: Mapping[str, float] | None = None,
    rule: Rule = "simple",
    weak: Collection[str] = (),
) -> RiseVerdict:
    """Judge the rises of one unit, each by its name in `rises.quantities_of`.

    `simple`: a value on its limit is within. `guarded`: the value with its `expanded` uncertainty
    must be. Of the windings in `weak`, whose cooling curve began too late, nothing is said where a
    rise is nearer to its limit than its uncertainty; any other rise outside still is outside.

    Raises:
        ImpossibleReading: a guarded verdict, or one of a weak winding, without its uncertainty.
    """
    rows = []
    for quantity, winding, value, limit in _judged(rises, limits):
        needed = rule == "guarded" or winding in weak
        if needed and quantity not in (expanded or {}):
            raise ImpossibleReading({quantity: value}, "this verdict needs its uncertainty")
        known = (expanded or {}).get(quantity, 0.0)
        guard = guard_band(rule, known)
        unsaid = winding in weak and abs(value - limit) < known
        rows.append(
            JudgedRise(quantity, value, limit, None if unsaid else value + guard <= limit, guard)
        )
    if any(row.within is False for row in rows):
        return RiseVerdict(tuple(rows), "outside", "", rule)
    open_rows = [row.quantity for row in rows if row.within is None]
    if open_rows:
        why = (
            f"{', '.join(open_rows)}: nearer to the limit than its uncertainty, and weakly"
            " determined: the first settled resistance came too late"
        )
        return RiseVerdict(tuple(rows), None, why, rule)
    return RiseVerdict(tuple(rows), "within", "", rule)


def _judged(rises: Rises[float], limits: RiseLimits) -> list[tuple[str, str, float, float]]:
    """Quantity, its winding (none of the liquid), value and limit of all that has both."""
    found: list[tuple[str, str, float | None, float | None]] = [
        ("top_liquid_k", "", rises.top_liquid_k, limits.top_liquid_k)
    ]
    for name, winding in rises.windings.items():
        found += [
            (f"average_k({name})", name, winding.average_k, limits.winding_k),
            (f"hot_spot_k({name})", name, winding.hot_spot_k, limits.hot_spot_k),
        ]
    return [(q, w, v, m) for q, w, v, m in found if v is not None and m is not None]


def _above(altitude_m: float) -> float:
    if not -500.0 <= altitude_m <= HIGHEST_M:
        raise ImpossibleReading({"altitude_m": altitude_m}, f"at most {HIGHEST_M:g} m")
    return max(altitude_m - FREE_ALTITUDE_M, 0.0)
