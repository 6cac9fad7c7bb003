"""When a trip is armed and when its limit is exceeded: named functions of one reading and scan."""

from collections.abc import Callable
from math import isinf
from typing import NamedTuple

from drivers.outputs import LOOP, LV, LV_REGULATOR
from sequences.evidence import Evidence, is_closed, is_open
from sequences.expected import Expected
from sequences.following import has_followed
from sequences.prompt import OPERATOR_ABORT, OPERATOR_STOP, asked_by
from sequences.scan import (
    FREQUENCY,
    HV_CURRENT,
    HV_VOLTAGE,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
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


Armed = Callable[[View], bool]
Exceeded = Callable[[float, View], bool]
Full = Callable[[Expected], float]


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


def told_open(output: str) -> Armed:
    """The contactor is told to open."""

    def told(at: View) -> bool:
        return at.scan.outputs[output].commanded < 0.5

    return told


def told_closed(output: str) -> Armed:
    """The contactor is told to close."""

    def told(at: View) -> bool:
        return at.scan.outputs[output].commanded > 0.5

    return told


def held_closed(output: str) -> Armed:
    """The contactor was seen closed and its command is held."""

    def held(at: View) -> bool:
        state = at.scan.outputs[output]
        return state.commanded > 0.5 and state.at_rest_since is not None

    return held


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
    return value > 1.15 * at.expected.most_loop_current_a


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
    if lv is None:
        return False
    return value > 1.25 * at.expected.ratio_limit * 2 * at.expected.nameplate.ratio * lv


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
    impedance = at.evidence.loop_impedance_ohm(scan, expected)
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


def deaf(output: str) -> Exceeded:
    """The voltage followed a raise by less than a quarter of what the position promises.

    What the last rest has shown holds through the next move, or a ramp that moves on in time would
    raise for ever.
    """

    def deaf_(_value: float, at: View) -> bool:
        before, now = at.evidence.rest.get(output, (None, None))
        if before is None or now is None:
            return False
        return has_followed(at.expected, output, before, now) is False

    return deaf_


def lv_closed_proven(at: View) -> bool:
    """The LV contactor is closed and the proof is complete."""
    return lv_closed(at) and at.evidence.proof_complete is not None


def loop_closed_proven(at: View) -> bool:
    """The loop contactor is closed and the proof is complete."""
    return loop_closed(at) and at.evidence.proof_complete is not None


def wandered(output: str) -> Exceeded:
    """The position is more than 2 % of travel off its target."""

    def wandered_(value: float, at: View) -> bool:
        state = at.scan.outputs[output]
        return state.at_rest_since is not None and abs(value - state.commanded) > 0.02

    return wandered_


def drifted(channel: str, full: Full) -> Exceeded:
    """The voltage moved by more than 10 % within 10 s of rest."""

    def drifted_(value: float, at: View) -> bool:
        recent = at.evidence.recent.get(channel, ())
        floor = 0.02 * full(at.expected)
        for _t, before in recent:
            if abs(value - before) > floor and abs(value - before) > 0.1 * abs(before):
                return True
        return False

    return drifted_


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


def command_lost(_value: float, at: View) -> bool:
    """A command was not taken by what drives the outputs."""
    return bool(at.scan.lost)


def lost_words(at: View) -> str:
    """Which command was lost, and how."""
    return f"a command was not taken: {at.scan.lost}"


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


def abort_asked(_value: float, at: View) -> bool:
    """The operator asked for everything to open at once."""
    return any(a.prompt == OPERATOR_ABORT for a in at.scan.answers)


def reads(channel: str, limit: str) -> Callable[[View], str]:
    """Return the words for a channel's newest reading and the limit that it is over."""

    def words(at: View) -> str:
        reading = at.scan.image[channel]
        if reading.value is not None:
            return f"{channel} reads {reading.value:.4g}, {limit}"
        return f"{channel} ({reading.reason}), {limit}"

    return words


def saying(words: str) -> Callable[[View], str]:
    """Return words that need no reading."""

    def plain(_at: View) -> str:
        return words

    return plain


def asked_words(prompt: str) -> Callable[[View], str]:
    """Return the words for who asked for this unasked, or what came."""

    def words(at: View) -> str:
        asked = (asked_by(a.by, a.source) for a in at.scan.answers if a.prompt == prompt)
        return next(asked, "nobody asks for it")

    return words


def prompt_words(at: View) -> str:
    """Which prompt is unanswered."""
    return f"prompt {at.scan.asked[0].id} is unanswered" if at.scan.asked else "unanswered"


def rated_lv(expected: Expected) -> float:
    """Rated LV voltage, V."""
    return expected.nameplate.lv_voltage_v


def rated_loop(expected: Expected) -> float:
    """Loop voltage at rated current, V."""
    return expected.loop_impedance_ohm * expected.nameplate.hv_current_a
