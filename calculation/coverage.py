"""The factor that makes a standard uncertainty an interval of stated coverage."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, floor, inf, lgamma, log
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calculation.source import EXCESS_KURTOSIS, STANDARD_OF_LIMIT, Distribution

Cumulated = Callable[[NDArray[np.float64]], NDArray[np.float64]]

Basis = Literal["normal", "student", "distribution"]

# Four equal rectangles have an excess kurtosis of -0.3: from there on a factor of 2 covers 95 to
# 96 of 100. Flatter sums are dominated by a bounded part, and 2 would cover nearly always.
FLATTEST_NORMAL = -0.3
# Bounded parts smaller than this share of the whole are as good as normal.
NEGLIGIBLE = 0.01
CELLS = 8192

# How much of a bounded distribution on -1 to 1 lies below x.
CUMULATED: dict[Distribution, Cumulated] = {
    "rectangular": lambda x: (1 + x) / 2,
    "triangular": lambda x: 0.5 + x - np.sign(x) * x**2 / 2,
    "arcsine": lambda x: 0.5 + np.arcsin(x) / np.pi,
}
TWO_SIGMA = 0.9545


@dataclass(frozen=True, slots=True)
class Part:
    """One independent contribution to a result: its standard uncertainty and its distribution."""

    standard: float
    distribution: Distribution = "normal"
    freedom: float = inf


@dataclass(frozen=True, slots=True)
class Factor:
    """Expanded over standard uncertainty, what it rests on, effective degrees of freedom."""

    factor: float
    basis: Basis
    freedom: float


def coverage_factor(parts: Sequence[Part], coverage: float = 0.95) -> Factor:
    """The factor for 95 % of a sum of independent parts.

    Flat sums have it from their own distribution (JCGM 101); others 2, or Student's for the
    effective degrees of freedom (JCGM 100, G.4 and G.6.6), which is 2 for many.
    """
    combined = sum(part.standard**2 for part in parts) ** 0.5
    freedom = effective_freedom(parts)
    if combined == 0:
        return Factor(2.0, "normal", freedom)
    flatness = sum(
        (part.standard / combined) ** 4 * EXCESS_KURTOSIS[part.distribution] for part in parts
    )
    if flatness < FLATTEST_NORMAL:
        return Factor(half_width(parts, coverage) / combined, "distribution", freedom)
    if freedom < 200:
        return Factor(student_factor(TWO_SIGMA, max(1, floor(freedom))), "student", freedom)
    return Factor(2.0, "normal", freedom)


def effective_freedom(parts: Sequence[Part]) -> float:
    """Effective degrees of freedom by Welch-Satterthwaite (JCGM 100, G.4.1)."""
    combined = sum(part.standard**2 for part in parts)
    weight = sum(part.standard**4 / part.freedom for part in parts)
    return combined**2 / weight if weight > 0 else inf


def half_width(parts: Sequence[Part], coverage: float = 0.95) -> float:
    """Half-width of the interval about the mean that holds `coverage` of a sum of parts.

    Every part is symmetrical; their masses on a grid of cells are convolved (JCGM 101, 5.2).
    """
    combined = sum(part.standard**2 for part in parts) ** 0.5
    bounded = [
        part
        for part in parts
        if EXCESS_KURTOSIS[part.distribution] and part.standard > NEGLIGIBLE * combined
    ]
    rest = max(0.0, combined**2 - sum(part.standard**2 for part in bounded)) ** 0.5
    limits = [part.standard / STANDARD_OF_LIMIT[part.distribution] for part in bounded]
    reach = 1.01 * (sum(limits) + 6 * rest)
    step = 2 * reach / CELLS
    # Cells in the order that a Fourier transform wants: centre first, negative ones last.
    centres = np.fft.fftfreq(CELLS, 1 / CELLS) * step
    spectrum = np.exp(-((2 * np.pi * np.fft.rfftfreq(CELLS, step) * rest) ** 2) / 2)
    for part, limit in zip(bounded, limits, strict=True):
        cumulated = CUMULATED[part.distribution]
        edges = np.clip(np.stack((centres - step / 2, centres + step / 2)) / limit, -1, 1)
        spectrum = spectrum * np.fft.rfft(cumulated(edges[1]) - cumulated(edges[0]))
    mass = np.fft.irfft(spectrum, CELLS)
    within = mass[0] + 2 * np.cumsum(np.concatenate(([0.0], mass[1 : CELLS // 2])))
    edge = (np.arange(CELLS // 2) + 0.5) * step
    return float(np.interp(coverage, within, edge))


def student_factor(coverage: float, freedom: float) -> float:
    """Student's t that holds `coverage` of the distribution, both tails out."""
    low, high = 0.0, 1.0
    while _student_within(high, freedom) < coverage:
        high *= 2
    for _ in range(100):
        middle = (low + high) / 2
        if _student_within(middle, freedom) < coverage:
            low = middle
        else:
            high = middle
    return high


def _student_within(t: float, freedom: float) -> float:
    return 1 - _incomplete_beta(freedom / 2, 0.5, freedom / (freedom + t * t))


def _incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularized incomplete beta function by its continued fraction (DLMF 8.17.22)."""
    if not 0 < x < 1:
        return min(max(x, 0.0), 1.0)
    if x > (a + 1) / (a + b + 2):
        return 1 - _incomplete_beta(b, a, 1 - x)
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1 - x)) / a
    # From the innermost term outwards; the terms fall fast in this half of the range.
    fraction = 1.0
    for m in range(200, 0, -1):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m - 1) * (a + b + m - 1) * x / ((a + 2 * m - 2) * (a + 2 * m - 1))
        fraction = 1 + odd / (1 + even / fraction)
    return front / fraction
