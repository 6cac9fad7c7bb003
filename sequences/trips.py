"""What ends a run, each with its arming, limit, delay, category and hazard.

The table is at the end of the file. Categories are stop categories of IEC 60204-1: 0 cuts at once,
1 ramps down and then cuts.
"""

from collections.abc import Callable
from math import isinf
from typing import NamedTuple

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from drivers.reading import OVER_RANGE, Reading
from sequences.evidence import Evidence, is_closed, is_open
from sequences.expected import Expected
from sequences.prompt import OPERATOR_STOP
from sequences.scan import (
    EMERGENCY_STOP,
    FREQUENCY,
    GUARD,
    HV_CURRENT,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_VOLTAGE,
    PROTECTION_CONTACT,
    SERIES_VOLTAGE,
    TOP_LIQUID_A,
    TOP_LIQUID_B,
    S,
    Scan,
)

DANGEROUS_V = 50.0
WARMING_K = 30.0  # winding above liquid, allowed for in the residual of the loop
COPPER_PER_K = 0.0039


class View(NamedTuple):
    """All that a trip may look at besides the reading it watches."""

    scan: Scan
    evidence: Evidence
    expected: Expected


class Trip(NamedTuple):
    """One row: when `armed` and `exceeded` for `readings` readings and `delay_s`, it acts.

    `watch` names the channel whose arriving readings are judged (None: judged once a scan), and
    `since` the output after whose last command a reading has to have begun, after it was seen at
    rest where `from_rest`. `withholds` stops the heartbeat, the way out that needs no bus; `deadline_s` bounds its category 1 stop.
    """

    name: str
    watch: str | None
    category: int
    hazard: str
    armed: Callable[[View], bool]
    exceeded: Callable[[float, View], bool]
    seen: Callable[[View], str]
    check: str
    readings: int = 1
    delay_s: float = 0.0
    since: str | None = None
    from_rest: bool = False
    withholds: bool = False
    deadline_s: float | None = None


def always(_at: View) -> bool:
    """Armed from the first scan to the last."""
    return True


def opened(value: float, _at: View) -> bool:
    """The contact reads open."""
    return value < 0.5


def closed(value: float, _at: View) -> bool:
    """The contact reads closed."""
    return value > 0.5


def energised(at: View) -> bool:
    """A contactor is closed or told to close, or a voltage stands above 50 V."""
    scan = at.scan
    if scan.outputs[LV].commanded or scan.outputs[LOOP].commanded:
        return True
    if is_closed(scan, LV) or is_closed(scan, LOOP):
        return True
    voltages = (scan.value(c) for c in (LV_VOLTAGE, HV_VOLTAGE, SERIES_VOLTAGE))
    return any(v is not None and v > DANGEROUS_V for v in voltages)


def lv_closed(at: View) -> bool:
    """The LV contactor reads closed or is told to be."""
    return is_closed(at.scan, LV) or at.scan.outputs[LV].commanded > 0.5


def loop_closed(at: View) -> bool:
    """The loop contactor reads closed or is told to be."""
    return is_closed(at.scan, LOOP) or at.scan.outputs[LOOP].commanded > 0.5


def any_closed(at: View) -> bool:
    """A main contactor reads closed or is told to be."""
    return lv_closed(at) or loop_closed(at)


def _told(output: str, closed_: bool) -> Callable[[View], bool]:
    def told(at: View) -> bool:
        return (at.scan.outputs[output].commanded > 0.5) == closed_

    return told


def lv_was_closed(at: View) -> bool:
    """The LV contactor was seen closed and its command is held."""
    return _was_closed(at, LV)


def loop_was_closed(at: View) -> bool:
    """The loop contactor was seen closed and its command is held."""
    return _was_closed(at, LOOP)


def _was_closed(at: View, output: str) -> bool:
    state = at.scan.outputs[output]
    return state.commanded > 0.5 and state.at_rest_since is not None


def above_rated_lv(value: float, at: View) -> bool:
    """LV voltage above 1.1 of its set-point maximum."""
    return value > 1.1 * at.expected.nameplate.lv_voltage_v


def too_much_flux(value: float, at: View) -> bool:
    """Voltage per hertz above 1.1 of rated."""
    frequency = at.scan.value(FREQUENCY)
    if not frequency:
        return False
    plate = at.expected.nameplate
    return value / frequency > 1.1 * plate.lv_voltage_v / plate.frequency_hz


def lv_supply_over(value: float, at: View) -> bool:
    """LV supply current above what two unloaded twins and their exchange can draw."""
    plate = at.expected.nameplate
    if proving_with_loop(at):
        return value > 1.25 * plate.lv_current_a
    voltage = at.scan.value(LV_VOLTAGE) or 0.0
    i0 = at.expected.current_share_a(plate.lv_voltage_v) / 2
    loop_current = at.scan.value(HV_CURRENT) or 0.0
    limit = max(3 * at.expected.current_share_a(voltage), 4 * i0)
    return value > limit + 0.015 * plate.ratio * loop_current


def proving_with_loop(at: View) -> bool:
    """LV promised low, and the loop contactor closed or opened less than 3 s ago."""
    scan = at.scan
    if not at.expected.is_low(scan.outputs[LV_REGULATOR].commanded):
        return False
    loop = scan.outputs[LOOP]
    return loop.commanded > 0.5 or is_closed(scan, LOOP) or scan.now - loop.since < 3 * S


def loop_over(value: float, at: View) -> bool:
    """Loop current above 1.15 of its set-point maximum."""
    return value > 1.15 * at.expected.nameplate.hv_current_a


def opposition_shown(at: View) -> bool:
    """Opposition was shown at rated voltage, which still stands, and the loop contactor is open."""
    scan, plate = at.scan, at.expected.nameplate
    lv = scan.value(LV_VOLTAGE)
    rated = lv is not None and lv > 0.95 * plate.lv_voltage_v
    told_open = scan.outputs[LOOP].commanded < 0.5 and is_open(scan, LOOP)
    return at.evidence.gap is not None and rated and told_open


def not_opposed(value: float, at: View) -> bool:
    """r above 1.25 of its limit."""
    lv = at.scan.value(LV_VOLTAGE)
    return lv is not None and at.expected.ratio_of(value, lv) > 1.25 * at.expected.ratio_limit


def loop_loaded(at: View) -> bool:
    """Proven loop at more than a quarter of rated current, read since everything is at rest."""
    scan, expected = at.scan, at.expected
    rest = scan.at_rest_since()
    if at.evidence.loop is None or rest is None or not loop_closed(at):
        return False
    since = rest + expected.averaging_ns
    readings = [scan.image[c] for c in (HV_CURRENT, HV_VOLTAGE, LV_VOLTAGE)]
    if any(r.value is None or r.began < since for r in readings):
        return False
    return (readings[0].value or 0.0) > 0.25 * expected.nameplate.hv_current_a


def residual_over(value: float, at: View) -> bool:
    """|U_HV - 2 Z_e I| above gap voltage, uncertainty and the warming of R_e."""
    scan, expected = at.scan, at.expected
    if isinf(value):
        return True
    current = scan.value(HV_CURRENT) or 0.0
    impedance = at.evidence.loop_impedance_ohm(expected)
    gap = at.evidence.gap_at(scan.value(LV_VOLTAGE) or 0.0, expected)
    unsure = 2 * (
        expected.error_of(HV_VOLTAGE, value) + impedance * expected.error_of(HV_CURRENT, current)
    )
    resistance = expected.loop_resistance_ohm
    warming = current * resistance**2 / impedance * COPPER_PER_K * WARMING_K
    return abs(value - impedance * current) > gap + unsure + warming


def loop_told_open(at: View) -> bool:
    """The loop contactor is told to be open and reads open."""
    return at.scan.outputs[LOOP].commanded < 0.5 and is_open(at.scan, LOOP)


def loop_current_flows(value: float, at: View) -> bool:
    """Loop current above 5 % of rated."""
    return value > 0.05 * at.expected.nameplate.hv_current_a


def _late(output: str) -> Callable[[float, View], bool]:
    def late(_value: float, at: View) -> bool:
        state = at.scan.outputs[output]
        return state.at_rest_since is None and at.scan.now > state.due + 3 * S

    return late


def _deaf(output: str) -> Callable[[float, View], bool]:
    def deaf(_value: float, at: View) -> bool:
        pair = at.evidence.rest.get(output)
        state = at.scan.outputs[output]
        if pair is None or state.at_rest_since is None:
            return False
        before, now = pair
        if before is None or now.position != state.commanded:
            return False
        asked = at.expected.promised_v(output, now.position - before.position)
        noticeable = 0.02 * at.expected.regulator(output).full_voltage_v
        return asked > noticeable and now.voltage_v - before.voltage_v < 0.25 * asked

    return deaf


def lv_closed_proven(at: View) -> bool:
    """The LV contactor is closed and the proof is complete."""
    return lv_closed(at) and at.evidence.proof_complete is not None


def loop_closed_proven(at: View) -> bool:
    """The loop contactor is closed and the proof is complete."""
    return loop_closed(at) and at.evidence.proof_complete is not None


def _wandered(output: str) -> Callable[[float, View], bool]:
    def wandered(value: float, at: View) -> bool:
        state = at.scan.outputs[output]
        return state.at_rest_since is not None and abs(value - state.commanded) > 0.02

    return wandered


def _drifted(channel: str, full: Callable[[Expected], float]) -> Callable[[float, View], bool]:
    def drifted(value: float, at: View) -> bool:
        recent = at.evidence.recent.get(channel, ())
        if not recent:
            return False
        floor = 0.02 * full(at.expected)
        return any(abs(value - v) > max(0.1 * abs(v), floor) for _t, v in recent)

    return drifted


def lv_set_up(at: View) -> bool:
    """LV closed, set above 10 % and at rest for 2 s."""
    scan, expected = at.scan, at.expected
    state = scan.outputs[LV_REGULATOR]
    promised = expected.promised_v(LV_REGULATOR, state.commanded)
    if promised <= 0.1 * expected.nameplate.lv_voltage_v or not lv_closed(at):
        return False
    return state.at_rest_since is not None and scan.now - state.at_rest_since > 2 * S


def lv_gone(value: float, at: View) -> bool:
    """LV voltage below half of what the regulator promises."""
    promised = at.expected.promised_v(LV_REGULATOR, at.scan.outputs[LV_REGULATOR].commanded)
    return value < 0.5 * promised


def lv_above_half(at: View) -> bool:
    """LV above half of rated."""
    lv = at.scan.value(LV_VOLTAGE)
    return lv is not None and lv > 0.5 * at.expected.nameplate.lv_voltage_v


def off_frequency(value: float, at: View) -> bool:
    """Frequency off by more than 1 %."""
    rated = at.expected.nameplate.frequency_hz
    return abs(value - rated) > 0.01 * rated


def stale_channels(at: View) -> list[str]:
    """Return the critical channels that are older than they may be while their contactor is on."""
    scan = at.scan
    stale = []
    for name, channel in at.expected.channels.items():
        if not channel.critical or scan.now - scan.alive[name] <= channel.stale_after_s * S:
            continue
        if loop_closed(at) if name.startswith("hv.") else any_closed(at):
            stale.append(name)
    return stale


def something_stale(_value: float, at: View) -> bool:
    """A critical channel is stale."""
    return bool(stale_channels(at))


def too_hot(value: float, at: View) -> bool:
    """Top liquid above the schedule's limit."""
    return value > at.expected.schedule.top_liquid_limit_c


def twins_differ(_value: float, at: View) -> bool:
    """Top liquids of the twins further apart than the schedule allows."""
    a, b = at.scan.value(TOP_LIQUID_A), at.scan.value(TOP_LIQUID_B)
    if a is None or b is None:
        return False
    return abs(a - b) > at.expected.schedule.twins_differ_limit_k


def record_late(_value: float, at: View) -> bool:
    """The archive's last commit is older than two commit intervals, at least 10 s."""
    allowed = max(2 * at.expected.commit_interval_s, 10.0)
    return at.scan.now - at.scan.last_commit > allowed * S


def prompt_open(at: View) -> bool:
    """A prompt stands open."""
    return at.scan.asked is not None


def prompt_expired(_value: float, at: View) -> bool:
    """The prompt has stood longer than it may."""
    if at.scan.asked is None:
        return False
    prompt, since = at.scan.asked
    return at.scan.now - since > prompt.expires_s * S


def stop_asked(_value: float, at: View) -> bool:
    """The operator asked to stop."""
    return any(a.prompt == OPERATOR_STOP for a in at.scan.answers)


def _reads(channel: str, limit: Callable[[View], str]) -> Callable[[View], str]:
    def words(at: View) -> str:
        reading: Reading = at.scan.image[channel]
        if reading.reason == OVER_RANGE:
            shown = OVER_RANGE
        else:
            shown = "no value" if reading.value is None else f"{reading.value:.4g}"
        return f"{channel} reads {shown}, {limit(at)}"

    return words


def _plain(words: str) -> Callable[[View], str]:
    def plain(_at: View) -> str:
        return words

    return plain


def _times(factor: float, of: Callable[[Expected], float], unit: str) -> Callable[[View], str]:
    def words(at: View) -> str:
        return f"limit {factor * of(at.expected):.4g} {unit}"

    return words


def _rated_lv(expected: Expected) -> float:
    return expected.nameplate.lv_voltage_v


def _rated_hv(expected: Expected) -> float:
    return expected.nameplate.hv_current_a


def _loop_drop(expected: Expected) -> float:
    return expected.loop_impedance_ohm * expected.nameplate.hv_current_a


def _stale_words(at: View) -> str:
    return "no good reading in time from " + ", ".join(stale_channels(at))


def _prompt_words(at: View) -> str:
    return f"prompt {at.scan.asked[0].id} is unanswered" if at.scan.asked else "prompt unanswered"


def _twins_words(at: View) -> str:
    a, b = at.scan.value(TOP_LIQUID_A), at.scan.value(TOP_LIQUID_B)
    return f"top liquid of A {a} °C, of B {b} °C"


TRIPS: tuple[Trip, ...] = (
    Trip(
        "emergency_stop",
        EMERGENCY_STOP,
        0,
        "somebody wants everything off",
        always,
        opened,
        _plain("emergency stop circuit opened"),
        "who pressed it, and why",
    ),
    Trip(
        "protection_contact",
        PROTECTION_CONTACT,
        0,
        "gas, pressure or winding temperature inside a unit",
        always,
        opened,
        _plain("a protection contact opened"),
        "gas relay, pressure relief and winding thermometers of both units",
    ),
    Trip(
        "guard",
        GUARD,
        0,
        "somebody can reach live parts",
        energised,
        opened,
        _plain("guard opened while energised"),
        "who opened it; nobody is to enter before discharge and earth",
    ),
    *(
        Trip(
            f"{output}_will_not_open",
            output,
            0,
            "the stand stays live after a stop; it may be live now",
            _told(output, False),
            closed,
            _plain(f"{output} told to open, its contact still reads closed"),
            "welded contacts or a stuck auxiliary contact; treat as live",
            delay_s=0.5,
            since=output,
            withholds=True,
        )
        for output in (LV, LOOP)
    ),
    *(
        Trip(
            f"{output}_will_not_close",
            output,
            1,
            "a command that is not followed is followed later, unexpectedly",
            _told(output, True),
            opened,
            _plain(f"{output} told to close, its contact still reads open"),
            "coil supply, watchdog relay, auxiliary contact",
            delay_s=1.0,
            since=output,
        )
        for output in (LV, LOOP)
    ),
    *(
        Trip(
            f"{output}_opened_by_itself",
            output,
            0,
            "it could close again by itself onto a raised regulator",
            armed,
            opened,
            _plain(f"{output} opened without a command"),
            "watchdog relay, coil supply, hardware over-current",
            since=output,
            from_rest=True,
        )
        for output, armed in ((LV, lv_was_closed), (LOOP, loop_was_closed))
    ),
    Trip(
        "overvoltage",
        LV_VOLTAGE,
        0,
        "both cores saturate, insulation is stressed",
        always,
        above_rated_lv,
        _reads(LV_VOLTAGE, _times(1.1, _rated_lv, "V")),
        "LV regulator and its drive",
        readings=2,
        since=LV_REGULATOR,
    ),
    Trip(
        "volts_per_hertz",
        LV_VOLTAGE,
        0,
        "both cores saturate",
        always,
        too_much_flux,
        _reads(FREQUENCY, _times(1.1, _rated_lv, "V at rated frequency")),
        "frequency of the LV supply",
        readings=2,
        since=LV_REGULATOR,
    ),
    Trip(
        "lv_supply_current",
        LV_CURRENT,
        0,
        "a shorted turn, a link left on, a pair that does not oppose",
        lv_closed,
        lv_supply_over,
        _reads(LV_CURRENT, _plain("more than two unloaded units draw")),
        "links and earths on the LV side, shorted turns, connection",
        readings=2,
        since=LV_REGULATOR,
    ),
    Trip(
        "loop_current",
        HV_CURRENT,
        0,
        "windings overheat, forces on them rise with the square",
        loop_closed,
        loop_over,
        _reads(HV_CURRENT, _times(1.15, _rated_hv, "A")),
        "loop regulator, connection of the pair",
        readings=2,
    ),
    Trip(
        "opposition_lost",
        SERIES_VOLTAGE,
        0,
        "the next closing of the loop meets a voltage that does not cancel",
        opposition_shown,
        not_opposed,
        _reads(SERIES_VOLTAGE, _plain("more than 1.25 times the limit of r")),
        "leads of the HV loop, taps, voltmeter leads",
        readings=2,
        since=LV_REGULATOR,
    ),
    Trip(
        "loop_residual",
        HV_VOLTAGE,
        0,
        "voltage across the loop that the impedance does not explain",
        loop_loaded,
        residual_over,
        _reads(HV_VOLTAGE, _plain("not explained by 2 Z_e I and the gap voltage")),
        "leads of the HV loop, a fault inside a unit, HV analyser",
        readings=3,
        since=LOOP_REGULATOR,
    ),
    Trip(
        "current_with_loop_open",
        HV_CURRENT,
        0,
        "the loop contactor is not open although its contact says so",
        loop_told_open,
        loop_current_flows,
        _reads(HV_CURRENT, _plain("with the loop contactor open")),
        "loop contactor welded, auxiliary contact stuck; treat as live",
        readings=2,
        since=LOOP,
        withholds=True,
    ),
    *(
        Trip(
            f"{output}_does_not_follow",
            None,
            1,
            "a drive or its feedback is dead and would be raised for ever",
            armed,
            _late(output),
            _plain(f"{output} was told to move and its position does not follow"),
            "regulator drive, position feedback",
        )
        for output, armed in ((LV_REGULATOR, lv_closed), (LOOP_REGULATOR, loop_closed))
    ),
    *(
        Trip(
            f"{channel.split('.', maxsplit=1)[0]}_voltage_does_not_follow",
            channel,
            1,
            "a dead voltage reading would be raised for ever",
            armed,
            _deaf(output),
            _reads(channel, _plain("less than a quarter of what the position promises")),
            "voltmeter leads and fuses, supply behind the regulator",
            delay_s=3.0,
            since=output,
        )
        for output, channel, armed in (
            (LV_REGULATOR, LV_VOLTAGE, lv_closed_proven),
            (LOOP_REGULATOR, HV_VOLTAGE, loop_closed_proven),
        )
    ),
    *(
        Trip(
            f"{output}_runs_away",
            output,
            0,
            "voltage or current rises without being told to",
            armed,
            _wandered(output),
            _plain(f"{output} left its position without a command"),
            "regulator drive, its contactors, position feedback",
            readings=2,
            since=output,
            from_rest=True,
        )
        for output, armed in ((LV_REGULATOR, lv_closed), (LOOP_REGULATOR, loop_closed))
    ),
    *(
        Trip(
            f"{channel.split('.', maxsplit=1)[0]}_voltage_runs_away",
            channel,
            0,
            "voltage or current changes without being told to",
            armed,
            _drifted(channel, full),
            _reads(channel, _plain("more than 10 % off within 10 s of rest")),
            "supply behind the regulator, regulator drive",
            readings=2,
            since=output,
        )
        for output, channel, armed, full in (
            (LV_REGULATOR, LV_VOLTAGE, lv_closed, _rated_lv),
            (LOOP_REGULATOR, HV_VOLTAGE, loop_closed, _loop_drop),
        )
    ),
    Trip(
        "supply_lost",
        LV_VOLTAGE,
        0,
        "the supply would return onto a raised regulator",
        lv_set_up,
        lv_gone,
        _reads(LV_VOLTAGE, _plain("below half of what the regulator promises")),
        "LV supply, its fuses and upstream breaker",
        readings=2,
        since=LV_REGULATOR,
    ),
    Trip(
        "frequency",
        FREQUENCY,
        1,
        "losses and flux are not those of rated frequency",
        lv_above_half,
        off_frequency,
        _reads(FREQUENCY, _plain("more than 1 % off rated")),
        "the LV source",
        delay_s=10.0,
    ),
    Trip(
        "stale_channel",
        None,
        1,
        "the stand is run blind",
        any_closed,
        something_stale,
        _stale_words,
        "that instrument, its supply and its link",
        deadline_s=2.0,
    ),
    *(
        Trip(
            f"over_temperature_{channel[0]}",
            channel,
            1,
            "insulation ages and liquid degrades",
            any_closed,
            too_hot,
            _reads(channel, _plain("above the schedule's limit")),
            "cooling, load, sensor",
            readings=3,
        )
        for channel in (TOP_LIQUID_A, TOP_LIQUID_B)
    ),
    Trip(
        "twins_disagree",
        TOP_LIQUID_B,
        1,
        "one unit is hot or one sensor is wrong",
        any_closed,
        twins_differ,
        _twins_words,
        "valves, liquid level and sensor pockets of both units",
        readings=3,
    ),
    Trip(
        "record_not_written",
        None,
        1,
        "a test without a record is no test",
        any_closed,
        record_late,
        _plain("the archive has not been committed in time"),
        "disk space, permissions and load of the archive's folder",
    ),
    Trip(
        "prompt_unanswered",
        None,
        1,
        "nobody is at the stand",
        prompt_open,
        prompt_expired,
        _prompt_words,
        "the person who was asked",
    ),
    Trip(
        "operator_stop",
        None,
        1,
        "the person in charge wants the run to end",
        always,
        stop_asked,
        _plain("the operator asked to stop"),
        "why it was asked",
    ),
)
