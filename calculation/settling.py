"""How an inductive winding's resistance reading settles after the d.c. is applied.

A meter that divides volts by amperes reads the winding's own induced voltage with its resistance:
R (1 + A e^(-t/tau)), tau = L/R of circuit and winding. Known from the cold record it says which
readings of the cooling curve count; there it can't be told from the cooling of the winding itself.
"""

import numpy as np
from numpy.typing import NDArray

from calculation.errors import ImpossibleReading, refuse_unless_finite, refuse_unless_positive
from calculation.heat_readings import ColdResistance

Floats = NDArray[np.float64]

# e^-10 of what the reading was off at first: nothing that a meter shows.
CONSTANTS_TO_SETTLE = 10.0
# Ten of these are the first seven and a half minutes: nothing of a winding's decay is left then.
SLOWEST_S = 45.0
# A selector that goes round applies the d.c. anew; below this share of its dwell readings remain.
SHARE_OF_DWELL = 0.1
LEAST_READINGS = 6
# The readings must gain this much by the settling term, in variances of one reading, before it is
# seen: by chance alone, with two parameters more, they do so once in 20,000 records.
SEEN = 20.0
STEPS = 96
# Huber's constant: readings beyond so many standard deviations count less (from memory).
OUTLYING = 1.345
# The middle of |x| of a standard normal distribution.
NORMAL_MIDDLE = 0.6745
ROUNDS = 4
# No meter's reading scatters less, as a share.
FINEST = 1e-7


def settling_constant(time_s: Floats, resistance_ohm: Floats) -> float | None:
    """Time constant, s, with which a cold reading settled; None where too fast to be seen.

    `time_s` counts from the instant at which the d.c. was applied. Least squares of
    R + D e^(-t/tau) with Huber's weights. Of constants that the readings can't tell apart it takes
    the longest: one too long costs a reading, one too short a temperature.

    Raises:
        ImpossibleReading: fewer than six readings, times that don't rise, a resistance that is
            not above zero, or a record too short for it to have settled.
    """
    _refuse(time_s, resistance_ohm)
    span = float(time_s[-1])
    pace = span / len(time_s)
    constants = np.geomspace(pace / 10, span, STEPS)
    decays = np.exp(-time_s[:, np.newaxis] / constants)
    weights = np.ones_like(resistance_ohm)
    for _ in range(ROUNDS):
        squares, without, curves = _profile(decays, resistance_ohm, weights)
        best = int(squares.argmin())
        off = np.abs(resistance_ohm - curves[:, best])
        spread = max(float(np.median(off)) / NORMAL_MIDDLE, FINEST * float(resistance_ohm[-1]))
        weights = np.minimum(1.0, OUTLYING * spread / np.maximum(off, 1e-300))
    if without - squares[best] < SEEN * spread**2:
        return None
    alike = np.flatnonzero(squares <= squares[best] + spread**2)
    finer = np.geomspace(
        constants[max(best - 1, 0)], constants[min(alike[-1] + 1, STEPS - 1)], STEPS
    )
    decays = np.exp(-time_s[:, np.newaxis] / finer)
    squares, _, _ = _profile(decays, resistance_ohm, weights)
    constant = float(finer[squares <= squares.min() + spread**2][-1])
    if constant > span / 2:
        raise ImpossibleReading(
            {"settling_s": constant, "record_s": span}, "the record ends before the reading settled"
        )
    return constant


def settled_after_s(settling_s: float | None) -> float:
    """How long after the d.c. is applied a reading counts, s: ten settling constants.

    Raises:
        ImpossibleReading: a constant above 45 s, with which no cooling curve can be read.
    """
    if settling_s is None:
        return 0.0
    refuse_unless_positive({"settling_s": settling_s})
    if settling_s > SLOWEST_S:
        raise ImpossibleReading(
            {"settling_s": settling_s},
            f"settles too slowly for a cooling curve; at most {SLOWEST_S:g} s",
        )
    return CONSTANTS_TO_SETTLE * settling_s


def selector_suits(settling_s: float | None, dwell_s: float) -> bool:
    """Whether one meter may go round several windings, `dwell_s` at each: each settles anew."""
    return settling_s is None or settling_s < SHARE_OF_DWELL * dwell_s


def cold_reading(time_s: Floats, resistance_ohm: Floats, temperature_c: float) -> ColdResistance:
    """The cold resistance of a record from the instant at which the d.c. was applied.

    The mean of its settled readings, with their scatter and the settling constant.

    Raises:
        ImpossibleReading: as `settling_constant`; fewer than two settled readings.
    """
    refuse_unless_finite({"temperature_c": temperature_c})
    constant = settling_constant(time_s, resistance_ohm)
    after_s = 0.0 if constant is None else CONSTANTS_TO_SETTLE * constant
    settled = resistance_ohm[time_s >= after_s]
    if len(settled) < 2:
        raise ImpossibleReading(
            {"settling_s": constant, "record_s": float(time_s[-1])},
            "fewer than two cold readings after ten settling constants",
        )
    scatter = float(settled.std(ddof=1))
    return ColdResistance(float(settled.mean()), temperature_c, constant, scatter, len(settled))


def _refuse(time_s: Floats, resistance_ohm: Floats) -> None:
    if len(time_s) != len(resistance_ohm) or len(time_s) < LEAST_READINGS:
        counts = {"times": len(time_s), "resistances": len(resistance_ohm)}
        raise ImpossibleReading(counts, f"at least {LEAST_READINGS} readings, each with its time")
    refuse_unless_finite({"time_s": time_s})
    refuse_unless_positive({"resistance_ohm": resistance_ohm})
    if time_s[0] < 0 or not (np.diff(time_s) > 0).all():
        raise ImpossibleReading({"time_s": time_s}, "must rise from the instant of application")


def _profile(decays: Floats, readings: Floats, weights: Floats) -> tuple[Floats, float, Floats]:
    """Least squares for every constant: sums of squares, that of a mean alone, fitted curves."""
    w = weights[:, np.newaxis]
    total = float(weights.sum())
    mean = float(weights @ readings) / total
    apart = readings - mean
    means = weights @ decays / total
    shapes = decays - means
    against = (w * shapes * shapes).sum(axis=0)
    # A decay over before the first reading has no shape that the readings could show.
    slopes = np.divide(
        (weights * apart) @ shapes, against, out=np.zeros_like(against), where=against > 1e-200
    )
    without = float(weights @ apart**2)
    curves = mean + shapes * slopes
    squares = (w * (readings[:, np.newaxis] - curves) ** 2).sum(axis=0)
    return squares, without, curves
