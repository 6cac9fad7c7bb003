"""A pair on paper: both T-circuits and the loop, solved with phasors, as the meters would see it.

Independent of the simulated stand and of the formulas under test.
"""

from cmath import rect
from dataclasses import dataclass
from math import acos

from calculation.loss_test import LoadMeans, NoLoadMeans, ProveMeans


@dataclass(frozen=True)
class Twins:
    """Two units alike but for their ratios n(1 +/- d/2); Z on the HV side, core on the LV side."""

    ratio: float
    impedance_ohm: complex
    core_loss_ohm: float
    magnetizing_ohm: float
    mismatch: float = 0.0
    lv_branch_ohm: float = 0.0

    def no_load(self, lv_v: float) -> NoLoadMeans:
        """Both units on the LV supply, gap open."""
        half, core = self._lv_branches()
        current = 2 * lv_v / (half + core)
        power = (lv_v * current.conjugate()).real
        return NoLoadMeans(lv_v, lv_v, abs(current), power)

    def gap_v(self, lv_v: float) -> float:
        """Open voltage across the gap."""
        half, core = self._lv_branches()
        return abs(self.ratio * self.mismatch * lv_v * core / (half + core))

    def loaded(self, lv_v: float, hv_a: float, angle: float) -> tuple[LoadMeans, ProveMeans]:
        """Both supplies on, loop current at `angle` (radian) against the LV voltage."""
        half, core = self._lv_branches()
        loop = rect(hv_a, angle)
        lv_current, loop_v = 0j, 0j
        for sign in (1, -1):
            ratio = self.ratio * (1 + sign * self.mismatch / 2)
            into_hv = -sign * ratio * loop
            # Node equation of the T point: from the bus, to the core, to the HV side.
            point = (lv_v / half - into_hv) / (1 / half + 1 / core)
            lv_current += (lv_v - point) / half
            hv_half = self.impedance_ohm / 2
            loop_v += loop * hv_half + sign * ratio * point
        means = (
            abs(loop_v),
            hv_a,
            (loop_v * loop.conjugate()).real,
            lv_v,
            (lv_v * lv_current.conjugate()).real,
        )
        return LoadMeans(*means), ProveMeans(*means)

    def _lv_branches(self) -> tuple[complex, complex]:
        half = self.impedance_ohm / 2 / self.ratio**2 + self.lv_branch_ohm
        return half, 1 / (1 / self.core_loss_ohm + 1 / (1j * self.magnetizing_ohm))


# Rows j1 to j3 of the check values: derived, two independent solvers agree to 2e-7.
PAIR_J = Twins(16.5, 7.623 + 15.66798159j, 500.0, 90.32775044, mismatch=0.001)


def angle_of(power_factor: float) -> float:
    """The angle of a lagging power factor, radian."""
    return -acos(power_factor)
