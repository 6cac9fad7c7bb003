"""The meter rule: which ranges and classes a stand's meters need for this pair.

Judged from the files before anything moves. The bounds come from simulated tests: common
practice, no source.
"""

from typing import NamedTuple

from sequences.criteria import CLEAR_OF_ERRORS, SHOWN_AT, voltmeter_error_v
from sequences.expected import Expected
from sequences.scan import (
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
)

ZERO_FROM_DANGEROUS_V = 20.0
# A range that is written as exactly what is needed is enough, whatever the last digit of a product.
ENOUGH = 1 - 1e-9


class Unsuited(NamedTuple):
    """A meter that can't judge this pair: its channel, what it has, what is needed."""

    channel: str
    has: str
    needs: str


def unsuited_meters(expected: Expected) -> list[Unsuited]:
    """Return every breach of the meter rule; an empty list where the stand suits the pair."""
    found = [u for check in CHECKS for u in check(expected)]
    return found + _without_class(expected)


def _range_error(expected: Expected, channel: str, value: float) -> float:
    """Return b R, the part of the error that goes with the range on which `value` is read."""
    accuracy = expected.channels[channel].accuracy
    percent = accuracy.range_percent if accuracy else 0.0
    return percent / 100 * expected.range_of(channel, value)


def _without_class(expected: Expected) -> list[Unsuited]:
    judged = (LV_VOLTAGE, LV_CURRENT, SERIES_VOLTAGE, HV_VOLTAGE, HV_CURRENT, HV_POWER)
    return [
        Unsuited(c, "no accuracy", "an accuracy: a meter of unknown class judges nothing")
        for c in judged
        if expected.channels[c].accuracy is None
    ]


def _at_most(channel: str, error: float, most: float, unit: str, where: str) -> list[Unsuited]:
    if error <= most:
        return []
    has = f"range error {error:.3g} {unit} {where}"
    return [Unsuited(channel, has, f"at most {most:.3g} {unit}")]


def _series_voltmeter(expected: Expected) -> list[Unsuited]:
    hv = expected.nameplate.hv_voltage_v
    proven_at = 2 * expected.u_k * hv
    highest = expected.channels[SERIES_VOLTAGE].ranges[-1]
    found = _at_most(
        SERIES_VOLTAGE,
        _range_error(expected, SERIES_VOLTAGE, expected.gap_limit_v),
        expected.gap_limit_v / 4,
        "V",
        "where r is judged",
    )
    found += _at_most(
        SERIES_VOLTAGE,
        _range_error(expected, SERIES_VOLTAGE, highest),
        0.15 * proven_at,
        "V",
        "on its highest range",
    )
    if highest < 2.2 * hv * ENOUGH:
        needs = f"at least {2.2 * hv:.4g} V: an aiding pair shows twice the HV voltage"
        found.append(Unsuited(SERIES_VOLTAGE, f"highest range {highest:.4g} V", needs))
    return found


def _ranges_that_judge(expected: Expected) -> list[Unsuited]:
    """A range that judges r and ends below the loop's voltage at rated current can be proven.

    The prove stage shows it a voltage near its end, and both errors must leave that to be told.
    """
    found = []
    rated_v = expected.loop_impedance_ohm * expected.nameplate.hv_current_a
    for top in sorted(expected.judging_ranges):
        # The analyser's error at a quarter of rated current and the regulator's step leave it less.
        shown = 0.85 * SHOWN_AT * top
        error = voltmeter_error_v(expected, shown, shown)
        if shown < min(CLEAR_OF_ERRORS * error, rated_v):
            has = f"range {top:.4g} V, where both errors make {error:.3g} V at {shown:.4g} V"
            needs = (
                f"at most {shown / CLEAR_OF_ERRORS:.3g} V with the HV analyser's, or no such range"
            )
            found.append(Unsuited(SERIES_VOLTAGE, has, needs))
    return found


def _range_above(expected: Expected) -> list[Unsuited]:
    """A voltage above the range that judges r is never read as one within the limit of r.

    It is read on the next range, whose error is larger and which judges nothing.
    """
    judging = max(expected.judging_ranges)
    series = expected.channels[SERIES_VOLTAGE]
    above = [r for r in series.ranges if r > judging]
    if not above or series.accuracy is None:
        return []
    part = series.accuracy
    least = judging - (part.reading_percent * judging + part.range_percent * above[0]) / 100
    if least >= 1.25 * expected.gap_limit_v:
        return []
    has = f"range {judging:.4g} V, above which {least:.4g} V may be read on the next"
    needs = f"at least {1.25 * expected.gap_limit_v:.4g} V there: 1.25 of the limit of r"
    return [Unsuited(SERIES_VOLTAGE, has, needs)]


def _lv_voltmeter(expected: Expected) -> list[Unsuited]:
    low = expected.half_impedance_voltage_v
    error = _range_error(expected, LV_VOLTAGE, low)
    return _at_most(LV_VOLTAGE, error, 0.25 * low, "V", "at half the impedance voltage")


def _lv_ammeter(expected: Expected) -> list[Unsuited]:
    plate = expected.nameplate
    needed = 4 * plate.no_load_current_percent / 100 * plate.lv_current_a
    ranges = expected.channels[LV_CURRENT].ranges
    if ranges[-1] < needed * ENOUGH:
        needs = f"at least {needed:.3g} A, four times the no-load current"
        return [Unsuited(LV_CURRENT, f"highest range {ranges[-1]:.4g} A", needs)]
    used = next(r for r in ranges if r >= needed * ENOUGH)
    accuracy = expected.channels[LV_CURRENT].accuracy
    percent = accuracy.range_percent if accuracy else 0.0
    # The no-load loss at a quarter of rated voltage has to show in the wattmeter.
    voltage_range = expected.range_of(LV_VOLTAGE, plate.lv_voltage_v)
    error = percent / 100 * voltage_range * used
    most = 0.75 * 2 * plate.no_load_loss_w / 16
    return _at_most(LV_CURRENT, error, most, "W", "of the power that V and A ranges make")


def _hv_analyser(expected: Expected) -> list[Unsuited]:
    current = 0.25 * expected.nameplate.hv_current_a
    voltage = current * expected.loop_impedance_ohm
    share = _range_error(expected, HV_VOLTAGE, voltage) / voltage
    share += _range_error(expected, HV_CURRENT, current) / current
    if share <= 0.1:
        return []
    has = f"range errors {100 * share:.3g} % together at a quarter of rated current"
    return [Unsuited(HV_VOLTAGE, has, "at most 10 %")]


def _zeros(expected: Expected) -> list[Unsuited]:
    found: list[Unsuited] = []
    for channel in (LV_VOLTAGE, HV_VOLTAGE, SERIES_VOLTAGE):
        error = _range_error(expected, channel, 0.0)
        found += _at_most(channel, error, ZERO_FROM_DANGEROUS_V, "V", "at zero")
    return found


CHECKS = (
    _series_voltmeter,
    _ranges_that_judge,
    _range_above,
    _lv_voltmeter,
    _lv_ammeter,
    _hv_analyser,
    _zeros,
)
