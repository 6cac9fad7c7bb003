"""The back-to-back loss test, top to bottom as the stages of the test are."""

from collections.abc import Callable
from math import inf
from typing import NamedTuple

from calculation.pair import local_exponent
from calculation.readings import LoadMeans, LossReadings, NoLoadMeans, ProveMeans
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from sequences.checks import (
    AIDING,
    Lv,
    check_circulating,
    check_dead,
    check_no_load_again,
    check_no_load_plausible,
    check_opposed,
    check_pause,
    check_voltmeter,
)
from sequences.evidence import unit_c
from sequences.exchange import check_exchange
from sequences.expected import Expected
from sequences.prepare import VOLTAGES, balanced, prepare
from sequences.prompt import INTERCHANGE, MAKING_SAFE, confirm
from sequences.prove import LOOP_CHANNELS, LV_CHANNELS, prove
from sequences.scan import (
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_POWER,
    LV_VOLTAGE,
    LV_VOLTAGE_MEAN,
    SERIES_VOLTAGE,
    Procedure,
    Scan,
    Stop,
)
from sequences.stages import (
    Means,
    ask,
    average,
    both_seen_open,
    close,
    enter,
    folded,
    hold,
    move,
    open_contactor,
    ramp_current,
    ramp_voltage,
    read_window,
    report,
    settled,
    value_to_judge,
)
from sequences.warming import Heating, winding_c

PAUSE_AT = 0.25
SHORT_OF_RATED = 0.9
SHORT_WINDOW_S = 10.0
NO_LOAD_CHANNELS = (*LV_CHANNELS, LV_VOLTAGE_MEAN, SERIES_VOLTAGE)


class Proven(NamedTuple):
    """What the prove stage read of the loop, and how warm the units then were, degC."""

    means: ProveMeans
    unit_c: float

    @property
    def loop_impedance_ohm(self) -> float:
        """Return |2 Z_e|, ohm, HV side."""
        return self.means.hv_voltage_v / self.means.hv_current_a


def loss_test(expected: Expected) -> Procedure[LossReadings]:
    """Run the whole test and return what it read; raises Stop with a finding."""
    heating = Heating(expected)
    return (yield from folded(_loss_test(expected, heating), heating.scanned))


def _loss_test(expected: Expected, heating: Heating) -> Procedure[LossReadings]:
    scan, proven = yield from proven_pair(expected)
    scan, readings, no_load = yield from losses(scan, expected, proven, heating)
    scan = yield from enter("shut_down")
    scan = yield from open_loop(scan, expected, no_load)
    scan = yield from lower_voltage(scan, expected)
    yield from make_safe(scan, expected)
    return readings


def losses(
    scan: Scan, expected: Expected, proven: Proven, heating: Heating
) -> Procedure[tuple[Scan, LossReadings, Means]]:
    """From a proven pair at half the impedance voltage to its losses, at rated voltage and current.

    Returned with them are the means of the no-load readings, which `open_loop` reads once more.
    """
    scan, exponent_point = yield from energise(scan, expected)
    scan, no_load = yield from no_load_readings(scan, expected)
    scan = yield from circulate(scan, expected, proven, no_load[SERIES_VOLTAGE])
    scan, loaded, hot_c = yield from load_readings(scan, expected, proven, no_load, heating)
    readings = LossReadings(
        no_load=NoLoadMeans(
            no_load[LV_VOLTAGE], no_load[LV_VOLTAGE_MEAN], no_load[LV_CURRENT], no_load[LV_POWER]
        ),
        load=LoadMeans(
            loaded[HV_VOLTAGE],
            loaded[HV_CURRENT],
            loaded[HV_POWER],
            loaded[LV_VOLTAGE],
            loaded[LV_POWER],
        ),
        prove=proven.means,
        series_voltage_v=no_load[SERIES_VOLTAGE],
        loss_exponent=_exponent(exponent_point, no_load),
        winding_temperature_c=hot_c,
        prove_temperature_c=proven.unit_c,
    )
    return scan, readings, no_load


def proven_pair(
    expected: Expected,
    cold: Callable[[Scan], Procedure[Scan]] = balanced,
    again: Callable[[Scan], Procedure[Scan]] = balanced,
) -> Procedure[tuple[Scan, Proven]]:
    """Prepare and prove; found aiding once, have one secondary interchanged and begin anew.

    `cold` is what a first prepare does on the dead stand before people are asked, `again` what a
    second does.
    """
    scan = yield from prepare(expected, cold)
    cold_c = unit_c(scan, expected)
    scan, proven = yield from prove(expected)
    if proven is not None:
        return scan, Proven(proven, cold_c)
    scan = yield from report(AIDING)
    scan = yield from enter("shut_down")
    scan = yield from lower_voltage(scan, expected)
    scan = yield from make_safe(scan, expected)
    prompt = confirm(INTERCHANGE, AIDING.seen, expected.schedule.prompt_time_s)
    scan = yield from ask(scan, prompt)
    scan = yield from prepare(expected, again)
    cold_c = unit_c(scan, expected)
    scan, proven = yield from prove(expected)
    if proven is None:
        raise Stop(
            "aiding_again",
            "the interchange made no difference: " + AIDING.seen,
            "which secondary was interchanged, and whether both of its ends were; tap positions:"
            " far apart on a weak LV supply they look alike",
        )
    return scan, Proven(proven, cold_c)


def energise(scan: Scan, expected: Expected) -> Procedure[tuple[Scan, Means]]:
    """Bring LV to rated with the loop open; r is judged in a pause at a quarter and at rated."""
    scan = yield from enter("energise")
    scan = yield from ramp_voltage(scan, expected, PAUSE_AT)
    scan, pause = yield from average(scan, expected, SHORT_WINDOW_S, NO_LOAD_CHANNELS, "pause")
    lv = Lv(pause[LV_VOLTAGE], pause[LV_CURRENT], pause[LV_POWER])
    promised = expected.promised_v(LV_REGULATOR, scan.outputs[LV_REGULATOR].commanded)
    check_pause(expected, pause[SERIES_VOLTAGE], lv, promised)
    check_no_load_plausible(expected, lv)
    scan = yield from ramp_voltage(scan, expected, SHORT_OF_RATED)
    scan, short = yield from average(
        scan, expected, SHORT_WINDOW_S, NO_LOAD_CHANNELS, "short of rated"
    )
    scan = yield from ramp_voltage(scan, expected, 1.0)
    scan, rated = yield from average(scan, expected, SHORT_WINDOW_S, NO_LOAD_CHANNELS, "rated")
    check_opposed(expected, rated[SERIES_VOLTAGE], rated[LV_VOLTAGE])
    return scan, short


def no_load_readings(scan: Scan, expected: Expected) -> Procedure[tuple[Scan, Means]]:
    """After some minutes at rated, average what the LV supply delivers with the loop open."""
    scan = yield from enter("no_load_readings")
    schedule = expected.schedule
    scan = yield from hold(scan, schedule.dwell_s)
    scan = yield from ramp_voltage(scan, expected, 1.0)
    scan, means = yield from average(
        scan, expected, schedule.window_s, NO_LOAD_CHANNELS, "no-load readings"
    )
    check_opposed(expected, means[SERIES_VOLTAGE], means[LV_VOLTAGE])
    lv = Lv(means[LV_VOLTAGE], means[LV_CURRENT], means[LV_POWER])
    check_no_load_plausible(expected, lv)
    return scan, means


def circulate(scan: Scan, expected: Expected, proven: Proven, gap_v: float) -> Procedure[Scan]:
    """Close the loop at regulator zero, judge what circulates, ramp to rated current."""
    scan = yield from enter("circulate")
    scan = yield from close(scan, LOOP)
    scan = yield from settled(scan, expected, *LOOP_CHANNELS)
    impedance = proven.loop_impedance_ohm
    check_circulating(expected, impedance, gap_v, value_to_judge(scan, HV_CURRENT))
    return (yield from ramp_current(scan, expected, 1.0, impedance))


def load_readings(
    scan: Scan, expected: Expected, proven: Proven, no_load: Means, heating: Heating
) -> Procedure[tuple[Scan, Means, float]]:
    """At rated voltage and current, average both supplies over the same interval.

    Across the closed loop contactor the series voltmeter has to follow once more: what it said of
    opposition at rated voltage counts only if it is alive after as it was before. Likewise both
    wattmeters, but for what the twins exchange.
    """
    scan = yield from enter("load_readings")
    scan = yield from ramp_voltage(scan, expected, 1.0)
    scan = yield from ramp_current(scan, expected, 1.0, proven.loop_impedance_ohm)
    warmth = expected.watched_warmth
    channels = (*LOOP_CHANNELS, LV_VOLTAGE, LV_POWER, SERIES_VOLTAGE, *warmth)
    before_s = heating.told_by_slope_s
    scan, window = yield from read_window(
        scan, expected, expected.schedule.window_s, channels, "load readings"
    )
    heated_s = (before_s + heating.told_by_slope_s) / 2
    means = window.means
    check_voltmeter(expected, means[SERIES_VOLTAGE], means[HV_VOLTAGE])
    check_exchange(expected, no_load, means, proven.means)
    liquid_c = sum(means[c] for c in warmth) / len(warmth)
    return scan, means, winding_c(expected, window, no_load, liquid_c, heated_s)


def open_loop(scan: Scan, expected: Expected, no_load: Means) -> Procedure[Scan]:
    """Current to zero and the loop contactor open; the LV meters read what they read before.

    What the twins exchange hides in between what a meter that has changed makes of their losses.
    """
    scan = yield from move(scan, expected, LOOP_REGULATOR, 0.0)
    scan = yield from open_contactor(scan, LOOP)
    scan, again = yield from average(scan, expected, SHORT_WINDOW_S, LV_CHANNELS, "once more")
    check_no_load_again(no_load, again)
    return scan


def lower_voltage(scan: Scan, expected: Expected) -> Procedure[Scan]:
    """Current to zero, loop contactor, voltage to zero, LV contactor, each seen; all reads dead."""
    scan = yield from move(scan, expected, LOOP_REGULATOR, 0.0)
    scan = yield from open_contactor(scan, LOOP)
    scan = yield from move(scan, expected, LV_REGULATOR, 0.0)
    scan = yield from open_contactor(scan, LV)
    scan = yield from settled(scan, expected, *VOLTAGES)
    check_dead({c: inf if scan.over_range(c) else scan.value(c) or 0.0 for c in VOLTAGES})
    return scan


def make_safe(scan: Scan, expected: Expected) -> Procedure[Scan]:
    """Lock out, prove dead and earth, confirmed one by one."""
    scan = yield from enter("make_safe")
    for row in MAKING_SAFE:
        prompt = confirm(row, "both contactors open", expected.schedule.prompt_time_s)
        scan = yield from ask(scan, prompt)
    # A run ends on contacts that were read: one answer that was lost is no contactor that closed.
    return (yield from both_seen_open(scan, "after making safe"))


def _exponent(short: Means, rated: Means) -> float:
    """Local exponent of no-load loss against voltage, from just below rated to rated."""
    points = (short, rated)
    return local_exponent([p[LV_VOLTAGE_MEAN] for p in points], [p[LV_POWER] for p in points])
