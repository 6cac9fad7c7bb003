"""When temperatures are a trip: named functions of one reading and scan, as in `conditions`."""

from sequences.conditions import Exceeded, View
from sequences.scan import UNITS, S


def too_hot(value: float, at: View) -> bool:
    """Top liquid above the schedule's limit."""
    return value > at.expected.schedule.top_liquid_limit_c


def winding_too_hot(value: float, at: View) -> bool:
    """A dry-type unit's winding above the schedule's limit."""
    return value > at.expected.schedule.winding_limit_c


def rises_too_fast(channel: str) -> Exceeded:
    """The temperature rose faster over the last minutes than the schedule allows."""

    def rises(value: float, at: View) -> bool:
        before = at.evidence.warmed.get(channel)
        if before is None:
            return False
        minutes = (at.scan.image[channel].t - before.t) / (60 * S)
        allowed = at.expected.schedule.rise_rate_limit_k_per_min * max(minutes, 1.0)
        return value - before.value_c > allowed

    return rises


def twins_differ(_value: float, at: View) -> bool:
    """The twins further apart than the schedule allows."""
    a, b = _unit_temperatures(at)
    if a is None or b is None:
        return False
    return abs(a - b) > at.expected.schedule.twins_differ_limit_k


def _unit_temperatures(at: View) -> tuple[float | None, float | None]:
    """Mean temperature of each unit, None where a sensor has no value."""
    means: list[float | None] = []
    for unit in UNITS:
        values = [at.scan.value(c) for c in at.expected.warmth[unit]]
        known = [v for v in values if v is not None]
        means.append(sum(known) / len(known) if len(known) == len(values) else None)
    return means[0], means[1]


def ambient_out_of_range(value: float, at: View) -> bool:
    """Cooling air outside the range for which the schedule counts a heat run."""
    soak = at.expected.schedule.soak
    return soak is not None and not soak.ambient_from_c <= value <= soak.ambient_to_c


def twins_words(at: View) -> str:
    """What both units read."""
    a, b = _unit_temperatures(at)
    return f"unit A {a} °C, unit B {b} °C"
