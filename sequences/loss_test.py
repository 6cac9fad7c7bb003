"""The back-to-back loss test, top to bottom as the stages of the test are."""

from math import inf

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
from sequences.exchange import check_exchange
from sequences.expected import Expected
from sequences.prepare import VOLTAGES, prepare
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
    TOP_LIQUID_A,
    TOP_LIQUID_B,
    Procedure,
    Scan,
    Stop,
)
from sequences.stages import (
    Means,
    ask,
    average,
    close,
    enter,
    hold,
    move,
    open_contactor,
    ramp_current,
    ramp_voltage,
    report,
    settled,
)

PAUSE_AT = 0.25
SHORT_OF_RATED = 0.9
SHORT_WINDOW_S = 10.0
TOP_LIQUIDS = (TOP_LIQUID_A, TOP_LIQUID_B)
NO_LOAD_CHANNELS = (*LV_CHANNELS, LV_VOLTAGE_MEAN, SERIES_VOLTAGE)


def loss_test(expected: Expected) -> Procedure[LossReadings]:
    """Run the whole test and return what it read; raises Stop with a finding."""
    scan, proven, cold_c = yield from proven_pair(expected)
    scan, exponent_point = yield from energise(scan, expected)
    scan, no_load = yield from no_load_readings(scan, expected)
    scan = yield from circulate(scan, expected, proven, no_load[SERIES_VOLTAGE])
    scan, loaded, hot_c = yield from load_readings(scan, expected, proven, no_load)
    scan = yield from shut_down(scan, expected, no_load)
    yield from make_safe(scan, expected)
    return LossReadings(
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
        prove=proven,
        series_voltage_v=no_load[SERIES_VOLTAGE],
        loss_exponent=_exponent(exponent_point, no_load),
        winding_temperature_c=hot_c,
        prove_temperature_c=cold_c,
    )


def proven_pair(expected: Expected) -> Procedure[tuple[Scan, ProveMeans, float]]:
    """Prepare and prove; found aiding once, have one secondary interchanged and begin anew."""
    scan = yield from prepare(expected)
    cold = _liquid_c(scan)
    scan, proven = yield from prove(expected)
    if proven is not None:
        return scan, proven, cold
    scan = yield from report(AIDING)
    scan = yield from shut_down(scan, expected)
    scan = yield from make_safe(scan, expected)
    prompt = confirm(INTERCHANGE, AIDING.seen, expected.schedule.prompt_time_s)
    scan = yield from ask(scan, prompt)
    scan = yield from prepare(expected)
    cold = _liquid_c(scan)
    scan, proven = yield from prove(expected)
    if proven is None:
        raise Stop(
            "aiding_again",
            "the interchange made no difference: " + AIDING.seen,
            "which secondary was interchanged, and whether both of its ends were; tap positions:"
            " far apart on a weak LV supply they look alike",
        )
    return scan, proven, cold


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


def circulate(scan: Scan, expected: Expected, proven: ProveMeans, gap_v: float) -> Procedure[Scan]:
    """Close the loop at regulator zero, judge what circulates, ramp to rated current."""
    scan = yield from enter("circulate")
    scan = yield from close(scan, LOOP)
    scan = yield from settled(scan, expected, *LOOP_CHANNELS)
    impedance = _loop_impedance(proven)
    check_circulating(expected, impedance, gap_v, scan.value(HV_CURRENT) or 0.0)
    return (yield from ramp_current(scan, expected, 1.0, impedance))


def load_readings(
    scan: Scan, expected: Expected, proven: ProveMeans, no_load: Means
) -> Procedure[tuple[Scan, Means, float]]:
    """At rated voltage and current, average both supplies over the same interval.

    Across the closed loop contactor the series voltmeter has to follow once more: what it said of
    opposition at rated voltage counts only if it is alive after as it was before. Likewise both
    wattmeters, but for what the twins exchange.
    """
    scan = yield from enter("load_readings")
    scan = yield from ramp_voltage(scan, expected, 1.0)
    scan = yield from ramp_current(scan, expected, 1.0, _loop_impedance(proven))
    channels = (*LOOP_CHANNELS, LV_VOLTAGE, LV_POWER, SERIES_VOLTAGE, *TOP_LIQUIDS)
    scan, means = yield from average(
        scan, expected, expected.schedule.window_s, channels, "load readings"
    )
    check_voltmeter(expected, means[SERIES_VOLTAGE], means[HV_VOLTAGE])
    check_exchange(expected, no_load, means, proven)
    return scan, means, sum(means[c] for c in TOP_LIQUIDS) / len(TOP_LIQUIDS)


def shut_down(scan: Scan, expected: Expected, no_load: Means | None = None) -> Procedure[Scan]:
    """Current to zero, loop contactor, voltage to zero, LV contactor, each seen; all reads dead.

    With the loop open again the LV meters have to read what they read before it was closed: what
    the twins exchange hides in between what a meter that has changed makes of their losses.
    """
    scan = yield from enter("shut_down")
    scan = yield from move(scan, expected, LOOP_REGULATOR, 0.0)
    scan = yield from open_contactor(scan, LOOP)
    if no_load is not None:
        scan, again = yield from average(scan, expected, SHORT_WINDOW_S, LV_CHANNELS, "once more")
        check_no_load_again(no_load, again)
    scan = yield from move(scan, expected, LV_REGULATOR, 0.0)
    scan = yield from open_contactor(scan, LV)
    scan = yield from settled(scan, expected, *VOLTAGES)
    check_dead({c: inf if scan.over_range(c) else scan.value(c) or 0.0 for c in VOLTAGES})
    return scan


def make_safe(scan: Scan, expected: Expected) -> Procedure[Scan]:
    """Discharge and earth, confirmed one by one."""
    scan = yield from enter("make_safe")
    for row in MAKING_SAFE:
        prompt = confirm(row, "both contactors open", expected.schedule.prompt_time_s)
        scan = yield from ask(scan, prompt)
    return scan


def _loop_impedance(proven: ProveMeans) -> float:
    return proven.hv_voltage_v / proven.hv_current_a


def _liquid_c(scan: Scan) -> float:
    """Mean of the top liquids: in balance, the windings' temperature."""
    values = [v for v in (scan.value(c) for c in TOP_LIQUIDS) if v is not None]
    return sum(values) / len(values)


def _exponent(short: Means, rated: Means) -> float:
    """Local exponent of no-load loss against voltage, from just below rated to rated."""
    points = (short, rated)
    return local_exponent([p[LV_VOLTAGE_MEAN] for p in points], [p[LV_POWER] for p in points])
