"""A source of uncertainty: what it is the uncertainty of, how far it may be off, in what manner."""

from dataclasses import dataclass
from math import inf
from typing import Literal

from calculation.errors import ImpossibleReading

# "normal" and "student" give a standard uncertainty, the bounded ones their half-width.
Distribution = Literal["normal", "student", "rectangular", "triangular", "arcsine"]

STANDARD_OF_LIMIT: dict[Distribution, float] = {
    "normal": 1.0,
    "student": 1.0,
    "rectangular": 3**-0.5,
    "triangular": 6**-0.5,
    "arcsine": 2**-0.5,
}

EXCESS_KURTOSIS: dict[Distribution, float] = {
    "normal": 0.0,
    "student": 0.0,  # its tails are the degrees of freedom's affair
    "rectangular": -1.2,
    "triangular": -0.6,
    "arcsine": -1.5,
}


@dataclass(frozen=True, slots=True)
class Source:
    """One input of a model with its uncertainty (JCGM 100, 4.2 and 4.3).

    `value` is its estimate, `limit` the half-width of a bounded distribution or the standard
    uncertainty of a normal one, in the unit of the value; `freedom` the degrees of freedom.
    """

    name: str
    value: float
    limit: float
    distribution: Distribution = "rectangular"
    freedom: float = inf

    def __post_init__(self) -> None:
        if not 0 <= self.limit < inf:
            raise ImpossibleReading({self.name: self.limit}, "a limit of error is zero or more")
        if not self.freedom > 0:
            raise ImpossibleReading({self.name: self.freedom}, "degrees of freedom are above zero")

    @property
    def standard(self) -> float:
        """Standard uncertainty, in the unit of the value."""
        return self.limit * STANDARD_OF_LIMIT[self.distribution]
