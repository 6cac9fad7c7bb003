"""Dynamic loading after Annex G of IEEE C57.91-2011: bottom oil, ducts and viscosity counted.

Heat is balanced in the windings, at the hot spot, and in the liquid with tank and core. Equations
as read in public research code that follows the standard's own program.
"""

import math
from dataclasses import astuple, dataclass

import numpy as np

from calculation.annex_g_unit import EXPONENTS, KELVIN, RESISTANCE_CONSTANT, AnnexG, State
from calculation.errors import ImpossibleReading
from calculation.load_cycle import Floats, Loading

# How much cooler than the top of the tank a duct has to be before the hot spot sees the tank.
DUCT_MARGIN_K = 0.1
# Days (or whatever the cycle is) until the end of a cycle is its beginning: two as a rule.
MOST_CYCLES = 500
PERIODIC_WITHIN_K = 0.001


@dataclass(frozen=True, slots=True)
class AnnexGTemperatures:
    """Temperatures at each instant (min), degC, the first of them the state at the start.

    `end` is the state at the last.
    """

    time_min: Floats
    hot_spot_c: Floats
    top_liquid_c: Floats
    bottom_liquid_c: Floats
    winding_c: Floats
    duct_top_c: Floats
    end: State


def annex_g(unit: AnnexG, loading: Loading, start: State) -> AnnexGTemperatures:
    """Temperatures under any loading from a start, step by step.

    A liquid that is on average no warmer than the air gives it nothing.

    Raises:
        ImpossibleReading: a step too long to be stable (Annex G's criterion for the windings).
    """
    # One loop over plain floats: nothing in it but what one step needs of the last, and no max(),
    # whose calls would take a fifth of it.
    losses, rated = unit.rated_losses(), unit.rated_state()
    x, y, z = EXPONENTS[unit.cooling]
    constant = RESISTANCE_CONSTANT[unit.conductor]
    winding, hot = unit.winding_transfer(), unit.hot_spot_transfer()
    power, fluidity, offset = winding.power, winding.fluidity, 2 * KELVIN
    w_scale, h_scale = winding.scale, hot.scale
    warm, warmest = (constant + t for t in (unit.rated_winding_c, rated.hot_spot))
    copper, eddy = losses.winding_w / warm, losses.eddy_w * warm
    hot_eddy = unit.hot_spot_eddy_share() * copper * warmest**2
    stray, core = losses.stray_w * warm, losses.core_w
    duct_rise = (rated.duct_top - rated.bottom) / (losses.winding_w + losses.eddy_w) ** x
    half_spread = (rated.top - rated.bottom) / 2 / losses.total_w**z
    to_air = losses.total_w / (rated.average_liquid - unit.rated_ambient_c) ** (1 / y)
    steps, height, over_y, exp = loading.steps_min, unit.hot_spot_height, 1 / y, math.exp

    hs, w, liquid = start.hot_spot, start.winding, start.average_liquid
    top, bottom, duct = start.top, start.bottom, start.duct_top
    found = [(hs, w, top, bottom, duct)]
    keep = found.append
    for square, air, to_winding, to_liquid in zip(
        (loading.load[1:] ** 2).tolist(),
        loading.ambient_c[1:].tolist(),
        (steps / unit.winding_capacity()).tolist(),
        (steps / unit.liquid_capacity()).tolist(),
        strict=True,
    ):
        beside = (duct + bottom) / 2
        kelvin = w + constant
        from_winding = 0.0
        if w > beside:
            from_winding = w_scale * (w - beside) ** power * exp(-fluidity / (w + beside + offset))
        elif w < bottom:
            w = bottom
        w += to_winding * (square * (copper * kelvin + eddy / kelvin) - from_winding)
        rise = duct_rise * from_winding**x
        duct = bottom + rise
        beside = top if duct + DUCT_MARGIN_K < top else bottom + height * rise
        hs = w if hs < w else hs
        hs = beside if hs < beside else hs
        lost = h_scale * (hs - beside) ** power * exp(-fluidity / (hs + beside + offset))
        hot_kelvin = hs + constant
        hs += to_winding * (square * (copper * hot_kelvin + hot_eddy / hot_kelvin) - lost)
        over_air = liquid - air
        given = to_air * over_air**over_y if over_air > 0 else 0.0
        liquid += to_liquid * (from_winding + core + square * stray / kelvin - given)
        spread = half_spread * given**z
        top = liquid + spread
        bottom = liquid - spread if liquid - spread > air else air
        duct = bottom if duct < bottom else duct
        keep((hs, w, top, bottom, duct))
    hot_spots, windings, tops, bottoms, ducts = np.array(found).T
    _refuse_unstable(unit, steps, windings, (ducts + bottoms) / 2)
    end = State(hs, w, liquid, top, bottom, duct)
    return AnnexGTemperatures(loading.time_min, hot_spots, tops, bottoms, windings, ducts, end)


def annex_g_cycle(unit: AnnexG, loading: Loading) -> AnnexGTemperatures:
    """Temperatures under a cycle that repeats itself, so often that its end is its beginning.

    Raises:
        ImpossibleReading: as `annex_g`.
    """
    start = unit.rated_state()
    for _ in range(MOST_CYCLES):
        found = annex_g(unit, loading, start)
        moved = max(abs(b - a) for a, b in zip(astuple(start), astuple(found.end), strict=True))
        if moved < PERIODIC_WITHIN_K:
            return found
        start = found.end
    raise ImpossibleReading({"cycles": MOST_CYCLES}, "the cycle's end does not become its start")


def _refuse_unstable(unit: AnnexG, steps: Floats, winding: Floats, beside: Floats) -> None:
    """Refuse a step after which a winding without load would be colder than what it heats."""
    law = unit.winding_transfer()
    across = np.maximum(winding - beside, 0.0)[:-1]
    sums = (winding + beside)[:-1] + 2 * KELVIN
    slopes = law.scale * across ** (law.power - 1) * np.exp(-law.fluidity / sums)
    part = float((steps / unit.winding_capacity() * slopes).max())
    if not part <= 1:
        facts = {"step_min": float(steps.max())}
        raise ImpossibleReading(facts, "too long a step for the winding's time constant: unstable")
