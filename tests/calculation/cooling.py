"""Cooling curves constructed from stated truths; nothing of the fit's own model is used.

The winding gives its heat to the liquid with a power of its gradient (1: exponential; 1.25: liquid
by convection), the liquid falls on a curved path, the reading settles and has noise.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from calculation.heat_readings import ColdResistance, CoolingReadings

Floats = NDArray[np.float64]
COPPER_K = 235.0
COLD_OHM, COLD_C = 1.245, 21.3


@dataclass(frozen=True)
class Truth:
    """A winding that cools: degC, K, minutes, K/min, K/min²; s for settling and the d.c."""

    liquid_c: float = 60.0
    gradient_k: float = 18.0
    constant_min: float = 6.0
    exponent: float = 1.0
    slope: float = -0.12
    curvature: float = 0.0
    settling_s: float | None = 4.0
    applied_s: tuple[float, ...] = (20.0,)
    overshoot: float = 0.3

    @property
    def at_zero_c(self) -> float:
        """What the winding had at shutdown."""
        return self.liquid_c + self.gradient_k

    def winding_c(self, time_s: Floats) -> Floats:
        """Return its temperature."""
        t = time_s / 60
        q = self.exponent - 1
        u = t / self.constant_min
        left = np.exp(-u) if q == 0 else (1 + q * u) ** (-1 / q)
        liquid = self.liquid_c + self.slope * t + self.curvature * t * t
        return liquid + self.gradient_k * left

    def read(
        self, time_s: Floats, noise_k: float = 0.0, rng: Generator | None = None
    ) -> CoolingReadings:
        """Return what a meter reads of it."""
        noise = 0.0 if rng is None else rng.normal(0.0, noise_k, len(time_s))
        ohm = COLD_OHM * (COPPER_K + self.winding_c(time_s) + noise) / (COPPER_K + COLD_C)
        if self.settling_s is not None:
            last = np.array([max(a for a in self.applied_s if a <= t) for t in time_s])
            ohm = ohm * (1 + self.overshoot * np.exp(-(time_s - last) / self.settling_s))
        return CoolingReadings(time_s, ohm, self.applied_s)

    def cold(self) -> ColdResistance:
        """Return its cold resistance, as measured without error."""
        return ColdResistance(COLD_OHM, COLD_C, self.settling_s, 0.0, 20)


def drawn(rng: Generator, settling_s: float, exponent: float) -> tuple[Truth, Floats, float]:
    """Return a truth at random, when it is read, and with which noise in K."""
    truth = Truth(
        liquid_c=rng.uniform(45.0, 75.0),
        gradient_k=rng.uniform(5.0, 30.0),
        constant_min=rng.uniform(2.5, 12.0),
        exponent=exponent,
        slope=-rng.uniform(0.02, 0.3),
        curvature=rng.uniform(-0.004, 0.004),
        settling_s=settling_s,
        applied_s=(rng.uniform(5.0, 60.0),),
    )
    pace = rng.choice([5.0, 10.0, 20.0, 30.0])
    first = np.ceil(truth.applied_s[0] / pace) * pace
    times = np.arange(first, 1500.0 + 10 * settling_s, pace)
    return truth, times, rng.uniform(0.01, 0.15)
