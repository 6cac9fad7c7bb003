"""What must be true for an output to act, each with the hazard that it stands against.

The table is at the end of the file; its columns read as words.
"""

from collections.abc import Callable, Mapping
from typing import NamedTuple

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from sequences.evidence import Evidence
from sequences.expected import Expected
from sequences.prompt import PREPARE_PROMPTS
from sequences.scan import (
    EMERGENCY_STOP,
    GUARD,
    HV_CURRENT,
    HV_VOLTAGE,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    Close,
    Move,
    S,
    Scan,
)

DANGEROUS_V = 50.0
OVERVOLTAGE = 1.1  # of rated, where its trip acts as well
MOST_DROP = 0.2  # of its promise: what the pause at a quarter of rated lets a supply have
INTENT_MISSING = "intent is not in the archive yet"


class Situation(NamedTuple):
    """All that a permissive may look at."""

    scan: Scan
    evidence: Evidence
    expected: Expected
    request: Close | Move


class Permissive(NamedTuple):
    """One condition of one output, its hazard, and the words that say what is missing."""

    name: str
    output: str
    hazard: str
    met: Callable[[Situation], bool]
    words: str


def _read(at: Situation, channel: str) -> float | None:
    """The newest value of a channel; None where it is bad or older than it may be."""
    # Whoever polls may have died: its last word stays the newest for ever.
    reading = at.scan.image[channel]
    allowed = at.expected.channels[channel].stale_after_s * S
    return reading.value if at.scan.now - reading.t <= allowed else None


def _reads_closed(at: Situation, channel: str) -> bool:
    value = _read(at, channel)
    return value is not None and value > 0.5


def _reads_open(at: Situation, channel: str) -> bool:
    value = _read(at, channel)
    return value is not None and value < 0.5


def guard_shut(at: Situation) -> bool:
    """The guard reads shut."""
    return _reads_closed(at, GUARD) and at.evidence.guard_shut is not None


def emergency_circuit_closed(at: Situation) -> bool:
    """The emergency stop circuit reads healthy."""
    return _reads_closed(at, EMERGENCY_STOP)


def _rests_at(at: Situation, output: str) -> float | None:
    """The position at which a regulator was told to be and read at rest; None: it may move."""
    # A position that was asked for before the last command says nothing of where it is now.
    state = at.scan.outputs[output]
    position = _read(at, output)
    if position is None or state.at_rest_since is None:
        return None
    return max(position, state.commanded)


def _at_zero(at: Situation, output: str) -> bool:
    position = _rests_at(at, output)
    return position is not None and position <= at.expected.regulator(output).zero_band


def lv_regulator_at_zero(at: Situation) -> bool:
    """The LV regulator stands at zero and is told to."""
    return _at_zero(at, LV_REGULATOR)


def loop_regulator_at_zero(at: Situation) -> bool:
    """The loop regulator stands at zero and is told to."""
    return _at_zero(at, LOOP_REGULATOR)


def selector_open(at: Situation) -> bool:
    """The resistance selector reads open and is told to be."""
    return _reads_open(at, SELECTOR) and at.scan.outputs[SELECTOR].commanded < 0.5


def contactors_seen_open(at: Situation) -> bool:
    """Both contactors have been seen open."""
    return at.evidence.seen_open is not None


def watchdog_seen_to_act(at: Situation) -> bool:
    """The watchdog relay was seen to drop and to pick up again."""
    return at.evidence.watchdog_acted is not None


def prompts_answered(at: Situation) -> bool:
    """Every prompt of prepare has been put and answered since the guard last shut."""
    shut, answered = at.evidence.guard_shut, at.evidence.answered
    return shut is not None and all(answered.get(p, -1) >= shut for p in PREPARE_PROMPTS)


def intent_committed(at: Situation) -> bool:
    """The archive holds the intent to close."""
    return at.scan.intent == at.request.output


def lv_contactor_closed(at: Situation) -> bool:
    """The LV contactor reads closed and is told to be."""
    return _reads_closed(at, LV) and at.scan.outputs[LV].commanded > 0.5


def proven_or_half_impedance(at: Situation) -> bool:
    """The proof is complete, or the position promises at most half the impedance voltage."""
    return at.evidence.proof_complete is not None or _is_low_move(at)


def _is_low_move(at: Situation) -> bool:
    return isinstance(at.request, Move) and at.expected.is_low(at.request.to)


def loop_open_or_opposed(at: Situation) -> bool:
    """Above half the impedance voltage the loop contactor is open, or opposition was shown."""
    told_open = at.scan.outputs[LOOP].commanded < 0.5
    return _is_low_move(at) or (told_open and _reads_open(at, LOOP)) or _shown(at)


def _shown(at: Situation) -> bool:
    return at.evidence.proof_complete is not None and at.evidence.opposed is not None


def _newer_than_move(at: Situation, *channels: str) -> bool:
    at_rest = at.scan.outputs[at.request.output].at_rest_since
    if at_rest is None:
        return False
    since = at_rest + at.expected.averaging_ns
    readings = [at.scan.image[c] for c in channels]
    return all(r.value is not None and r.began >= since for r in readings)


def lv_read_since_move(at: Situation) -> bool:
    """LV voltage was read since the LV regulator came to rest."""
    return _newer_than_move(at, LV_VOLTAGE)


def loop_read_since_move(at: Situation) -> bool:
    """Loop voltage and current were read since the loop regulator came to rest."""
    return _newer_than_move(at, HV_VOLTAGE, HV_CURRENT)


def lv_within_cap(at: Situation) -> bool:
    """The voltage asked for, less the drop that the bus has shown, is at most 1.1 of rated."""
    # A voltmeter that died or stuck explains no drop: only where the voltage came up with a raise.
    shown = at.evidence.lv_followed
    promised = at.expected.promised_v(LV_REGULATOR, shown.position)
    drop = max(promised - shown.voltage_v, 0.0)
    if _read(at, LV_VOLTAGE) is None or drop > MOST_DROP * promised:
        drop = 0.0
    to = at.request.to if isinstance(at.request, Move) else 0.0
    most = OVERVOLTAGE * at.expected.nameplate.lv_voltage_v
    return at.expected.promised_v(LV_REGULATOR, to) - drop <= most


def lv_low_or_opposed_now(at: Situation) -> bool:
    """LV rests low; or proof complete and opposition shown by a fresh reading at rated."""
    position = _rests_at(at, LV_REGULATOR)
    if position is not None and at.expected.is_low(position):
        return True
    opposed = at.evidence.opposed
    if at.evidence.proof_complete is None or at.evidence.voltmeter is None or opposed is None:
        return False
    return at.scan.now - opposed <= at.expected.two_polls_ns(SERIES_VOLTAGE)


def not_aiding_since_closing(at: Situation) -> bool:
    """This closing of the loop contactor has shown a pair that is not aiding."""
    return at.evidence.not_aiding is not None


def loop_proven_or_quarter(at: Situation) -> bool:
    """The loop is proven, or the voltage is for at most a quarter of rated current."""
    return at.evidence.loop is not None or _promise(at) <= _cap(at, 0.25)


def voltage_within_cap(at: Situation) -> bool:
    """The voltage asked for is within what the largest current of the schedule needs."""
    return _promise(at) <= _cap(at, at.expected.schedule.most_current)


def _promise(at: Situation) -> float:
    to = at.request.to if isinstance(at.request, Move) else 0.0
    return at.expected.promised_v(LOOP_REGULATOR, to)


def _cap(at: Situation, per_unit: float) -> float:
    impedance = at.evidence.loop_impedance_ohm(at.scan, at.expected)
    current = per_unit * at.expected.nameplate.hv_current_a
    lv_voltage = at.scan.value(LV_VOLTAGE)
    proven = at.evidence.gap is not None and lv_voltage is not None
    gap = at.evidence.gap_at(lv_voltage, at.expected) if proven and lv_voltage else 0.0
    return at.expected.loop_cap_v(impedance, current, gap)


def main_contactors_open(at: Situation) -> bool:
    """Both main contactors read open and are told to be."""
    scan = at.scan
    told = scan.outputs[LV].commanded + scan.outputs[LOOP].commanded
    return told == 0 and _reads_open(at, LV) and _reads_open(at, LOOP)


def voltages_gone(at: Situation) -> bool:
    """Every voltage reads below 50 V."""
    values = [_read(at, c) for c in (LV_VOLTAGE, SERIES_VOLTAGE, HV_VOLTAGE)]
    return all(v is not None and v < DANGEROUS_V for v in values)


# The rows keep a shape of their own: one permissive a paragraph.
# fmt: off
LV_CLOSE = (
    ("guard shut", "somebody is at the terminals", guard_shut, "guard is not shut"),
    ("emergency circuit closed", "an emergency stop would cut nothing",
     emergency_circuit_closed, "emergency stop circuit is open"),
    ("LV regulator at zero", "inrush, and full voltage on a pair that nothing is known of",
     lv_regulator_at_zero, "LV regulator is not at zero"),
    ("resistance selector open", "the resistance meter is connected to a live winding",
     selector_open, "resistance selector is not seen open"),
    ("contactors seen open", "a welded contactor would energise with the other one",
     contactors_seen_open, "both contactors have not been seen open"),
    ("watchdog seen to act", "a stopped program would leave the stand energised",
     watchdog_seen_to_act, "watchdog relay has not been seen to drop and pick up"),
    ("prompts answered", "an earth, a link or a person left where nobody looked",
     prompts_answered, "prompts of prepare are not all answered since the guard shut"),
    ("intent committed", "a closing that no record shows",
     intent_committed, INTENT_MISSING),
)

LV_RAISE = (
    ("proof complete, or half the impedance voltage",
     "a wrong pair takes 8 to 29 times rated current at rated voltage",
     proven_or_half_impedance, "above half the impedance voltage with the proof not complete"),
    ("loop open, or opposed at rated", "voltage that does not cancel drives the loop",
     loop_open_or_opposed, "loop contactor closed and opposition not shown at rated voltage"),
    ("LV within 1.1 of rated", "both cores saturate, insulation is stressed",
     lv_within_cap, "more asked than 1.1 of rated LV voltage needs"),
    ("LV read since the last move", "a raise on a reading that knows nothing of the last one",
     lv_read_since_move, "no LV voltage read since the LV regulator came to rest"),
)

LOOP_CLOSE = (
    ("guard shut", "somebody is at the gap", guard_shut, "guard is not shut"),
    ("loop regulator at zero", "loop current jumps at closing",
     loop_regulator_at_zero, "loop regulator is not at zero"),
    ("LV contactor closed", "the loop supply alone energises the pair and its LV bus",
     lv_contactor_closed, "LV contactor is not closed"),
    ("LV low, or opposed at rated", "twice the HV voltage is switched onto the loop supply",
     lv_low_or_opposed_now,
     "LV above half the impedance voltage without fresh proof of opposition"),
    ("intent committed", "a closing that no record shows",
     intent_committed, INTENT_MISSING),
)

LOOP_RAISE = (
    ("LV contactor closed", "the loop supply drives the LV bus up with nothing to hold it",
     lv_contactor_closed, "LV contactor is not closed"),
    ("not aiding since this closing", "the loop supply adds to what the pair drives itself",
     not_aiding_since_closing, "this closing has not shown that the pair is not aiding"),
    ("loop proven, or a quarter of rated current",
     "full voltage into a loop whose current is not seen", loop_proven_or_quarter,
     "loop not proven and more asked than a quarter of rated current needs"),
    ("voltage within its cap", "more than the largest current of the schedule",
     voltage_within_cap, "more asked than the schedule's largest current needs"),
    ("loop read since the last move", "a raise on readings that know nothing of the last one",
     loop_read_since_move,
     "loop voltage and current not read since the loop regulator came to rest"),
)

SELECTOR_CLOSE = (
    ("main contactors open", "the resistance meter is connected to a live winding",
     main_contactors_open, "a main contactor is not open"),
    ("voltages gone", "the resistance meter is connected to a live winding",
     voltages_gone, "a voltage is above 50 V or not read"),
    ("intent committed", "a closing that no record shows",
     intent_committed, INTENT_MISSING),
)
# fmt: on

PERMISSIVES: Mapping[str, tuple[Permissive, ...]] = {
    output: tuple(Permissive(name, output, hazard, met, words) for name, hazard, met, words in rows)
    for output, rows in (
        (LV, LV_CLOSE),
        (LV_REGULATOR, LV_RAISE),
        (LOOP, LOOP_CLOSE),
        (LOOP_REGULATOR, LOOP_RAISE),
        (SELECTOR, SELECTOR_CLOSE),
    )
}
