"""The true circuit against rated values: what a run is judged by, and no instrument shows."""

from typing import NamedTuple

from calculation.nameplate import Nameplate
from drivers.simulated.circuit import Solution


class TrueState(NamedTuple):
    """Shares of rated: bus voltage, loop current, LV winding current and flux of each unit.

    `gap_ratio` is the true r: the gap's voltage against twice the HV voltage that the bus promises;
    0 where the bus is dead.
    """

    bus: float
    loop: float
    lv_winding_a: float
    lv_winding_b: float
    flux_a: float
    flux_b: float
    gap_ratio: float

    @property
    def worst_winding(self) -> float:
        """The largest winding current of the pair, as a share of rated."""
        return max(self.loop, self.lv_winding_a, self.lv_winding_b)


def true_state(nameplate: Nameplate, solution: Solution) -> TrueState:
    """Return the state of a solved circuit."""
    v, i_lv, i_hv = nameplate.lv_voltage_v, nameplate.lv_current_a, nameplate.hv_current_a
    promised = 2 * nameplate.ratio * abs(solution.bus)
    return TrueState(
        bus=abs(solution.bus) / v,
        loop=abs(solution.loop) / i_hv,
        lv_winding_a=abs(solution.i_a) / i_lv,
        lv_winding_b=abs(solution.i_b) / i_lv,
        flux_a=abs(solution.e_a) / v,
        flux_b=abs(solution.e_b) / v,
        gap_ratio=abs(solution.gap) / promised if promised else 0.0,
    )
