"""Each twin's own LV current, A: the loop current referred, plus or less its no-load current.

Which twin carries more, and how much, goes with the angle between loop current and LV voltage; no
meter shows it, so it is known only where the stand fixes the angle of its loop supply.
"""

from cmath import polar, rect
from dataclasses import dataclass
from math import atan2, radians, sqrt

from calculation.errors import ImpossibleReading
from calculation.pair import lv_currents


@dataclass(frozen=True, slots=True)
class LoopState:
    """What flows, and through what: A and ohm on the HV side, no-load current on the LV side.

    `power_factor_0` is that of the no-load current; `supply_angle_degree` by how much the loop
    supply's voltage, from A2 to B2, leads the LV bus.
    """

    current_a: float
    resistance_ohm: float
    impedance_ohm: float
    no_load_a: float
    power_factor_0: float
    ratio: float
    supply_angle_degree: float


def own_lv_currents(loop: LoopState) -> tuple[float, float]:
    """Return the LV currents of units A and B, A.

    The supply's own impedance is left out: it turns the current by less than its share of the
    loop's. Source: the pair's T-circuits (D).

    Raises:
        ImpossibleReading: resistance above impedance, a power factor that is none.
    """
    if not 0 <= loop.resistance_ohm <= loop.impedance_ohm or not 0 <= loop.power_factor_0 <= 1:
        facts = {"resistance_ohm": loop.resistance_ohm, "impedance_ohm": loop.impedance_ohm}
        raise ImpossibleReading(facts, "resistance is part of impedance")
    reactance = sqrt(loop.impedance_ohm**2 - loop.resistance_ohm**2)
    behind = atan2(reactance, loop.resistance_ohm)
    current = rect(loop.current_a, radians(loop.supply_angle_degree) - behind)
    behind_0 = atan2(sqrt(1 - loop.power_factor_0**2), loop.power_factor_0)
    with_it, against = lv_currents(rect(loop.no_load_a, -behind_0), current, loop.ratio)
    # What the supply drives into A2 comes out of A's LV winding against its no-load current.
    return polar(against)[0], polar(with_it)[0]
