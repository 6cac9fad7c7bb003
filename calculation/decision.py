"""Decision rules and what they risk (JCGM 106)."""

from collections.abc import Callable
from math import erf, sqrt
from typing import Literal

# simple: a value on its limit is within. guarded: the limit is drawn in by the expanded
# uncertainty, so that what is accepted is good with 97.7 % at the least.
Rule = Literal["simple", "guarded"]

STEPS = 4000


def normal_below(z: float) -> float:
    """Share of a standard normal distribution below z."""
    return (1 + erf(z / sqrt(2))) / 2


def guard_band(rule: Rule, expanded: float) -> float:
    """How far a limit is drawn in, in the unit of the value."""
    return expanded if rule == "guarded" else 0.0


def risk_at_limit(guard: float, standard: float) -> float:
    """Probability to accept a value that stands on its limit, one-sided, with a guard band."""
    return 1 - normal_below(guard / standard)


def probability_outside(value: float, standard: float, upper_limit: float) -> float:
    """Probability that the true value lies above the limit, given what was measured."""
    return normal_below((value - upper_limit) / standard)


def accepted_though_bad(
    prior: Callable[[float], float],
    upper_limit: float,
    acceptance_limit: float,
    standard: float,
    reach: float,
) -> float:
    """Global consumer's risk (JCGM 106, 9.5): bad and yet accepted.

    `prior` is the density of true values; they end at `reach`.
    """
    return _integral(
        lambda true: prior(true) * normal_below((acceptance_limit - true) / standard),
        upper_limit,
        reach,
    )


def acceptance_limit_for(
    risk: float,
    prior: Callable[[float], float],
    upper_limit: float,
    standard: float,
    reach: float,
) -> float:
    """The acceptance limit at which `accepted_though_bad` is `risk` (JCGM 106, 9.5.4)."""
    low, high = upper_limit - 8 * standard, upper_limit + 8 * standard
    for _ in range(60):
        middle = (low + high) / 2
        if accepted_though_bad(prior, upper_limit, middle, standard, reach) < risk:
            low = middle
        else:
            high = middle
    return low


def _integral(density: Callable[[float], float], low: float, high: float) -> float:
    """Simpson's rule."""
    step = (high - low) / STEPS
    inner = sum((4 if k % 2 else 2) * density(low + k * step) for k in range(1, STEPS))
    return step / 3 * (density(low) + inner + density(high))
