"""How warm the windings are while their load loss is read: warmer than the liquid round them."""

from math import exp, hypot

from calculation.errors import ImpossibleReading
from calculation.rises import DISTRIBUTION_VA
from calculation.warming import warmed_by
from sequences.expected import Expected
from sequences.scan import HV_CURRENT, HV_POWER, LV_POWER, S, Scan, Stop
from sequences.stages import Means, Window

SMALL_S, LARGE_S = 240.0, 600.0
# Once a winding has nearly come to its end its slope tells no more how far that is.
LEAST_LEFT = 0.25
# What the slope's scatter may make of it, K, at the share of load loss that a kelvin is at least.
SURE_K, LEAST_PER_K = 0.5, 0.002


class Heating:
    """For how long rated current would have had to flow to leave windings as warm as they are, s.

    Folded from the loop current: what flows heats by its square, and is forgotten with the
    winding's own time constant, which IEC 60076-7 tabulates (4 min distribution, 10 min power; T).
    """

    def __init__(self, expected: Expected) -> None:
        self._rated_a = expected.nameplate.hv_current_a
        small = expected.nameplate.power_va <= DISTRIBUTION_VA
        self._constant_s = SMALL_S if small else LARGE_S
        self._last: tuple[float, float] | None = None
        self._state_s = 0.0

    def scanned(self, scan: Scan) -> None:
        """Take the loop current that arrived with a scan."""
        for channel, t, _began, value, _quality, _reason in scan.arrived:
            if channel != HV_CURRENT or value is None:
                continue
            at_s, square = t / S, (value / self._rated_a) ** 2
            if self._last is not None:
                since, before = self._last
                elapsed = max(at_s - since, 0.0)
                kept = exp(-elapsed / self._constant_s)
                fed = (square + before) / 2 * self._constant_s * (1 - kept)
                self._state_s = self._state_s * kept + fed
            self._last = (at_s, square)

    @property
    def told_by_slope_s(self) -> float:
        """By what the slope of warming under rated current is to be multiplied, s."""
        return self._state_s / max(1 - self._state_s / self._constant_s, LEAST_LEFT)


def winding_c(
    expected: Expected, window: Window, no_load: Means, unit_c: float, heated_s: float
) -> float:
    """Return the windings' mean temperature in a window of load readings, degC.

    A dry-type unit's sensors are in its windings; a liquid's temperature is what windings had
    before the current, and stands where meters are too noisy, or the window too short, to tell
    more. Raises Stop where load loss moved by more than warming windings explain.
    """
    if expected.thermal is not None and expected.thermal.construction == "dry":
        return unit_c
    means, slopes = window
    load_w = (means[LV_POWER] + means[HV_POWER] - no_load[LV_POWER]) / 2
    lv, hv, current = (slopes[c] for c in (LV_POWER, HV_POWER, HV_CURRENT))
    slope_w = (lv.per_s + hv.per_s) / 2
    relative = slope_w / load_w - 2 * current.per_s / means[HV_CURRENT]
    of_power = hypot(lv.standard, hv.standard) / 2 / load_w
    standard = hypot(of_power, 2 * current.standard / means[HV_CURRENT])
    if not standard * heated_s <= SURE_K * LEAST_PER_K:
        return unit_c
    windings = expected.winding_losses(unit_c)
    try:
        return unit_c + warmed_by(relative, heated_s, load_w, windings, unit_c)
    except ImpossibleReading as why:
        raise Stop(
            "load_loss_drifts",
            f"load readings: {why}",
            "supplies behind both regulators, wattmeters; winding resistances of the pair file",
        ) from why
