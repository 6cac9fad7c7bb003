"""By what readings are judged in the prove stage: the same for evidence and for the checks."""

from sequences.expected import AIDING_QUOTIENT, Expected
from sequences.scan import HV_VOLTAGE, SERIES_VOLTAGE

LOOP_WITHIN = (0.85, 1.15)  # of the current that 2 Z_e lets expect
VOLTMETER_WITHIN = 0.25  # of what the HV analyser reads across the same gap
CLEAR_OF_ERRORS = 5.0  # a voltage this many times both errors can prove the voltmeter
SHOWN_AT = 0.75  # of a range of the series voltmeter: clear of its end by both errors
LOW_FLUX_FACTOR = 20.0  # of the share; low-flux iron may draw ten times


def is_lv_sound(
    expected: Expected, promised_v: float, voltage_v: float, current_a: float | None
) -> bool:
    """Prove (1): whether the LV bus is neither short nor overloaded; None is over range."""
    if voltage_v < 0.5 * promised_v or current_a is None:
        return False
    return current_a <= most_low_flux_current_a(expected, promised_v, voltage_v)


def most_low_flux_current_a(expected: Expected, promised_v: float, voltage_v: float) -> float:
    """Return the most that iron may draw at this LV voltage, however low its flux, A."""
    return LOW_FLUX_FACTOR * expected.current_share_a(max(voltage_v, 0.5 * promised_v))


def aiding_seen(
    expected: Expected, lv_before_v: float, hv_current_a: float, lv_voltage_v: float
) -> bool:
    """Return whether closing the loop at regulator zero showed an aiding pair."""
    plate = expected.nameplate
    aiding_a = lv_before_v / plate.lv_voltage_v / expected.u_k * plate.hv_current_a
    return hv_current_a > AIDING_QUOTIENT * aiding_a or lv_voltage_v < 0.8 * lv_before_v


def shows_voltmeter(expected: Expected, series_v: float, across_v: float) -> bool:
    """Return whether a voltage, as the HV analyser reads it, can prove the voltmeter.

    It has to be large against both errors, and clear of where the voltmeter changes its range.
    """
    error = voltmeter_error_v(expected, series_v, across_v)
    ranges = {expected.range_of(SERIES_VOLTAGE, v) for v in (across_v - error, across_v + error)}
    return across_v > CLEAR_OF_ERRORS * error and len(ranges) == 1


def voltmeter_error_v(expected: Expected, series_v: float, across_v: float) -> float:
    """Return how far series voltmeter and HV analyser may be apart by their classes, V."""
    of_hv = expected.error_of(HV_VOLTAGE, across_v)
    # Near the end of a range it may have gone to the next one.
    return of_hv + expected.error_of(SERIES_VOLTAGE, max(series_v, across_v + of_hv))
