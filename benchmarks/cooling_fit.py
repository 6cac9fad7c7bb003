"""One cooling-curve fit, against a bare least squares of the same size by NumPy.

Prints the best of several runs of each and their ratio, for records of 20, 120 and 1500 readings:
a minute, ten seconds and one second apart. The bare one solves five columns once; the fit solves
every time constant of a range twice, and each for two decays.
"""

from collections.abc import Callable
from time import perf_counter

import numpy as np

from calculation.cooling_curve import cooling_curve
from calculation.heat_readings import ColdResistance, CoolingReadings

COLD = ColdResistance(1.245, 21.3, 3.0, 0.0, 20)
TIMES = 200


def best(work: Callable[[], object]) -> float:
    """The shortest of many runs, s."""
    taken = []
    for _ in range(TIMES):
        start = perf_counter()
        work()
        taken.append(perf_counter() - start)
    return min(taken)


def constructed(count: int) -> CoolingReadings:
    """Readings of a winding of 6.5 min from half a minute on to 25 min, 0.05 K of noise."""
    time_s = np.linspace(30.0, 1500.0, count)
    noise = np.random.default_rng(1).normal(0.0, 0.05, count)
    celsius = 60.4 - 0.12 * time_s / 60 + 18.6 * np.exp(-time_s / 390) + noise
    return CoolingReadings(time_s, 1.245 * (235 + celsius) / (235 + 21.3), (0.0,))


if __name__ == "__main__":
    for n in (20, 120, 1500):
        readings = constructed(n)
        columns = np.random.default_rng(2).normal(size=(n, 5))
        bare = best(lambda a=columns, b=readings: np.linalg.lstsq(a, b.resistance_ohm, rcond=None))  # type: ignore[misc]  # bound now, called now
        fit = best(lambda b=readings: cooling_curve(b, COLD, 235.0))  # type: ignore[misc]  # bound now, called now
        print(f"{n:5d} readings: {1e3 * fit:5.2f} ms a fit, {fit / bare:4.0f} x bare lstsq")
