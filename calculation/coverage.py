"""The factor that makes a standard uncertainty an interval of stated coverage."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import cos, exp, floor, inf, lgamma, log, pi, sin
from typing import Literal

from calculation.source import EXCESS_KURTOSIS, STANDARD_OF_LIMIT, Distribution

Basis = Literal["normal", "student", "distribution"]

# Four equal rectangles have an excess kurtosis of -0.3: from there on a factor of 2 covers 95 to
# 96 of 100. Flatter sums are dominated by a bounded part, and 2 would cover nearly always.
FLATTEST_NORMAL = -0.3
# Bounded parts smaller than this share of the whole are as good as normal.
NEGLIGIBLE = 0.01
# A Fourier series ends where what is left of it can't move the fifth digit, or here at the latest.
LEFT = 1e-8
MOST_TERMS = 4000

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

    Every part is symmetrical, so the sum's distribution (JCGM 101, 5.2) is the Fourier series of
    the product of their characteristic functions: within -a to a lies
    a/L + sum of 2 phi(k pi/L) sin(k pi a/L)/(k pi), L beyond all that the sum can reach.
    """
    combined = float(sum(part.standard**2 for part in parts) ** 0.5)
    bounded = [
        part
        for part in parts
        if EXCESS_KURTOSIS[part.distribution] and part.standard > NEGLIGIBLE * combined
    ]
    rest = float(max(0.0, combined**2 - sum(part.standard**2 for part in bounded)) ** 0.5)
    limits = [(p.standard / STANDARD_OF_LIMIT[p.distribution], p.distribution) for p in bounded]
    if len(limits) == 1 and rest < 1e-6 * combined:
        limit, distribution = limits[0]
        return limit * QUANTILES[distribution](coverage)
    reach = sum(limit for limit, _ in limits) + 6 * rest
    terms = _series(limits, rest, pi / reach)

    def within(width: float) -> float:
        along = pi * width / reach
        return width / reach + sum(c * sin((k + 1) * along) for k, c in enumerate(terms))

    low, high = 0.0, reach
    for _ in range(30):
        middle = (low + high) / 2
        if within(middle) < coverage:
            low = middle
        else:
            high = middle
    return high


def _series(limits: Sequence[tuple[float, Distribution]], rest: float, step: float) -> list[float]:
    """Coefficients of the series, until what is left of it is negligible."""
    terms: list[float] = []
    for k in range(1, MOST_TERMS + 1):
        t = k * step
        value = envelope = exp(-((rest * t) ** 2) / 2)
        for limit, distribution in limits:
            characteristic, bound = CHARACTERISTIC[distribution]
            value *= characteristic(limit * t)
            envelope *= bound(limit * t)
        terms.append(2 * value / (k * pi))
        if envelope / k < LEFT:
            break
    return terms


def _bessel(x: float) -> float:
    """J0: the mean of cos(x sin) over a turn (DLMF 10.9.1), far out its expansion (10.17.3)."""
    if x < 25:
        return sum(cos(x * sin(pi * (j + 0.5) / 40)) for j in range(40)) / 40
    even = 1 - 9 / (128 * x**2) + 3675 / (32768 * x**4)
    odd = -1 / (8 * x) + 75 / (1024 * x**3)
    return float((2 / (pi * x)) ** 0.5 * (even * cos(x - pi / 4) - odd * sin(x - pi / 4)))


# Of a distribution on -1 to 1: its characteristic function, and what that never exceeds.
CHARACTERISTIC: dict[Distribution, tuple[Callable[[float], float], Callable[[float], float]]] = {
    "rectangular": (lambda x: sin(x) / x, lambda x: min(1.0, 1 / x)),
    "triangular": (lambda x: (sin(x / 2) / (x / 2)) ** 2, lambda x: min(1.0, 4 / x**2)),
    "arcsine": (_bessel, lambda x: min(1.0, x**-0.5)),
}

# Of the same: within which half-width a share of it lies.
QUANTILES: dict[Distribution, Callable[[float], float]] = {
    "rectangular": lambda share: share,
    "triangular": lambda share: 1 - (1 - share) ** 0.5,
    "arcsine": lambda share: sin(share * pi / 2),
}


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
