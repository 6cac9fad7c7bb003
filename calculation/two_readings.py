"""The end and the time constant of a rise that is one exponential, from few readings of it."""

from math import log

from calculation.errors import ImpossibleReading, refuse_unless_positive


def ultimate_rise(first_k: float, second_k: float) -> float:
    """Ultimate of a rise from zero, read after one interval and after two, K: a²/(2a - b).

    Raises:
        ImpossibleReading: rises that are not above zero, or not those of one exponential.
    """
    _refuse(first_k, second_k)
    return first_k**2 / (2 * first_k - second_k)


def heating_constant(first_k: float, second_k: float, interval: float) -> float:
    """Time constant of the same rise, in the unit of the interval: -interval/ln(b/a - 1).

    Raises:
        ImpossibleReading: as `ultimate_rise`; an interval not above zero.
    """
    _refuse(first_k, second_k)
    refuse_unless_positive({"interval": interval})
    return -interval / log(second_k / first_k - 1)


def cooling_constant(from_k: float, to_k: float, time: float) -> float:
    """Time constant of a rise that falls towards zero, in the unit of the time.

    Raises:
        ImpossibleReading: a rise not above zero, or one that doesn't fall.
    """
    refuse_unless_positive({"from_k": from_k, "to_k": to_k, "time": time})
    if to_k >= from_k:
        raise ImpossibleReading({"from_k": from_k, "to_k": to_k}, "a rise that cools must fall")
    return time / log(from_k / to_k)


def _refuse(first_k: float, second_k: float) -> None:
    refuse_unless_positive({"first_k": first_k, "second_k": second_k})
    if not first_k < second_k < 2 * first_k:
        facts = {"first_k": first_k, "second_k": second_k}
        raise ImpossibleReading(facts, "the second interval must add, and less than the first")
