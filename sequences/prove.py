"""The prove stage: at half the impedance voltage, where nothing that can be wrong does damage."""

from math import floor

from calculation.readings import ProveMeans
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from sequences.checks import (
    LoopSeen,
    Lv,
    check_loop_follows,
    check_lv_before_loop,
    check_voltmeter,
    check_wattmeter,
    is_aiding,
)
from sequences.criteria import SHOWN_AT
from sequences.evidence import PROVES_LOOP_FROM, unit_c
from sequences.expected import Expected
from sequences.scan import (
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_POWER,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    Procedure,
    Scan,
)
from sequences.stages import (
    average,
    close,
    enter,
    move,
    open_contactor,
    ramp_current,
    settled,
    value_to_judge,
)

LV_CHANNELS = (LV_VOLTAGE, LV_CURRENT, LV_POWER)
LOOP_CHANNELS = (HV_VOLTAGE, HV_CURRENT, HV_POWER)
PROVE_WINDOW_S = 10.0


def prove(expected: Expected) -> Procedure[tuple[Scan, ProveMeans | None]]:
    """Prove loop, opposition, wattmeter sense and voltmeter; None where the pair is aiding.

    Raises Stop with a finding for everything else that is wrong.
    """
    scan = yield from enter("prove")
    scan = yield from close(scan, LV)
    scan = yield from move(scan, expected, LV_REGULATOR, _half_impedance_position(expected))
    scan = yield from settled(scan, expected, *LV_CHANNELS)
    before = lv_seen(scan)
    promised = expected.promised_v(LV_REGULATOR, scan.outputs[LV_REGULATOR].commanded)
    check_lv_before_loop(expected, promised, before)
    scan = yield from close(scan, LOOP)
    scan = yield from settled(scan, expected, *LV_CHANNELS, *LOOP_CHANNELS)
    if is_aiding(expected, before.voltage_v, scan.value(HV_CURRENT), lv_seen(scan)):
        scan = yield from open_contactor(scan, LOOP)
        return scan, None
    cold = unit_c(scan, expected)
    for part in (0.05, 0.25):
        scan = yield from move(scan, expected, LOOP_REGULATOR, _position_for(expected, part))
        scan = yield from settled(scan, expected, *LOOP_CHANNELS, SERIES_VOLTAGE)
        seen = loop_seen(scan)
        check_loop_follows(expected, seen, part > 0.1, cold)
        check_voltmeter(expected, scan.value(SERIES_VOLTAGE), seen.voltage_v)
    scan = yield from _show_lower_ranges(scan, expected)

    def as_nameplate(scan: Scan) -> None:
        """A tap difference on a weak LV supply may show only as current rises."""
        if any(scan.value(c) is None and not scan.over_range(c) for c in LOOP_CHANNELS):
            return  # an answer that was lost: the next one is judged
        on_the_way = loop_seen(scan)
        if on_the_way.current_a >= PROVES_LOOP_FROM * expected.nameplate.hv_current_a:
            check_loop_follows(expected, on_the_way, True, cold)

    impedance = seen.voltage_v / seen.current_a
    scan = yield from ramp_current(scan, expected, 1.0, impedance, as_nameplate)
    scan = yield from settled(scan, expected, *LOOP_CHANNELS, SERIES_VOLTAGE)
    check_voltmeter(expected, scan.value(SERIES_VOLTAGE), loop_seen(scan).voltage_v)
    scan, means = yield from _at_rated_current(scan, expected, cold)
    scan = yield from move(scan, expected, LOOP_REGULATOR, 0.0)
    scan = yield from open_contactor(scan, LOOP)
    return scan, means


def _show_lower_ranges(scan: Scan, expected: Expected) -> Procedure[Scan]:
    """Show the voltmeter a voltage near the top of each range that judges r and ends below here."""
    here, position = loop_seen(scan).voltage_v, scan.outputs[LOOP_REGULATOR].commanded
    for top in sorted(expected.judging_ranges, reverse=True):
        if SHOWN_AT * top >= here:
            continue
        to = position * SHOWN_AT * top / here
        scan = yield from move(scan, expected, LOOP_REGULATOR, to)
        scan = yield from settled(scan, expected, *LOOP_CHANNELS, SERIES_VOLTAGE)
        check_voltmeter(expected, scan.value(SERIES_VOLTAGE), loop_seen(scan).voltage_v)
    return scan


def _at_rated_current(
    scan: Scan, expected: Expected, winding_c: float
) -> Procedure[tuple[Scan, ProveMeans]]:
    channels = (*LOOP_CHANNELS, LV_VOLTAGE, LV_POWER, SERIES_VOLTAGE)
    scan, means = yield from average(scan, expected, PROVE_WINDOW_S, channels, "prove")
    loop = LoopSeen(means[HV_VOLTAGE], means[HV_CURRENT], means[HV_POWER])
    check_loop_follows(expected, loop, True, winding_c)
    check_wattmeter(loop)
    check_voltmeter(expected, means[SERIES_VOLTAGE], loop.voltage_v)
    return scan, ProveMeans(
        loop.voltage_v, loop.current_a, loop.power_w, means[LV_VOLTAGE], means[LV_POWER]
    )


def _half_impedance_position(expected: Expected) -> float:
    """Return the highest LV position that the regulator can hold without promising more."""
    regulator = expected.lv_regulator
    step = max(regulator.resolution, regulator.scale)
    position = expected.half_impedance_voltage_v / regulator.full_voltage_v
    return floor(position / step) * step


def _position_for(expected: Expected, part_of_rated: float) -> float:
    """Return the loop regulator's position that 2 Z_e needs for a part of rated current."""
    regulator = expected.loop_regulator
    drop = expected.loop_impedance_ohm + regulator.source_ohm
    return part_of_rated * expected.nameplate.hv_current_a * drop / regulator.full_voltage_v


def lv_seen(scan: Scan) -> Lv:
    """Return what the LV analyser reads; current and power None where over range.

    Raises Stop where its voltage is over range: nothing can be judged by it.
    """
    return Lv(value_to_judge(scan, LV_VOLTAGE), scan.value(LV_CURRENT), scan.value(LV_POWER))


def loop_seen(scan: Scan) -> LoopSeen:
    """Return what the HV analyser reads. Raises Stop where any of it has no value."""
    return LoopSeen(*(value_to_judge(scan, channel) for channel in LOOP_CHANNELS))
