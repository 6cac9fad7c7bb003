"""Every closing and raise that may be asked for, with all the conditions that it is judged by."""

from dataclasses import dataclass

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from sequences.evidence import Gap, Loop
from sequences.following import Rest
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
)
from tests.storm.abstract import (
    NOW,
    PAPER,
    RIGHT,
    SINCE,
    TRIPPED,
    TRIPPED_OR_OPENED,
    Case,
    Condition,
    Wrong,
    bad,
    contactor,
    fresh,
    intent,
    known,
    reads,
    regulator,
    stale,
    told,
)

EXPECTED = PAPER.expected
LV_FULL_V = EXPECTED.lv_regulator.full_voltage_v
LOOP_FULL_V = EXPECTED.loop_regulator.full_voltage_v
RATED_V = EXPECTED.nameplate.lv_voltage_v
RATED_A = EXPECTED.nameplate.hv_current_a
HALF_V = EXPECTED.half_impedance_voltage_v
Z_OHM = EXPECTED.loop_impedance_ohm
BEFORE = SINCE + 1  # the earliest rest that a fresh reading is too old for


@dataclass(frozen=True, eq=False)
class Asked:
    """A request, and every condition that its output's permissives read."""

    name: str
    request: Close | Move
    conditions: tuple[Condition, ...]


SHUT_AT = 5
SINCE_SHUT = dict.fromkeys(PREPARE_PROMPTS, SHUT_AT + 1)
LEFT: tuple[Wrong, ...] = (RIGHT, {"somebody_or_something_left": True})
PREPARED: Condition = (
    Case("answered", evidence={"guard_shut": SHUT_AT, "answered": SINCE_SHUT}),
    *(
        Case(f"{p} unanswered", LEFT, evidence={"guard_shut": SHUT_AT, "answered": given})
        for p in (PREPARE_PROMPTS[0], PREPARE_PROMPTS[-1])
        for given in ({q: t for q, t in SINCE_SHUT.items() if q != p},)
    ),
    Case(
        "answered before the guard shut",
        LEFT,
        evidence={"guard_shut": SHUT_AT, "answered": {**SINCE_SHUT, PREPARE_PROMPTS[0]: 4}},
    ),
    Case("no guard shut, no answer", LEFT),
    Case("no guard shut, all answered", LEFT, evidence={"answered": SINCE_SHUT}),
)
GUARD_SHUT: Condition = (
    Case("guard shut known", evidence={"guard_shut": SHUT_AT}),
    Case("guard shut not known", (RIGHT, {"guard_open": True})),
)

WRONG_PAIR: Wrong = {"wrong_pair": True, "not_opposed": True}
NOT_OPPOSED: Wrong = {"not_opposed": True}
ANY_PAIR = (RIGHT, NOT_OPPOSED, WRONG_PAIR)
FRESH = NOW - EXPECTED.two_polls_ns(SERIES_VOLTAGE)


def pair(*, loop_may_close: bool) -> Condition:
    """Return what is known of the pair: proof, voltmeter and opposition, fresh or not."""
    cases = []
    for proof in (None, 3):
        for voltmeter in (None, 2):
            for opposed in (None, FRESH - 1, FRESH):
                # With the loop open, opposition may be lost once it was shown: leads move, taps do.
                lasts = opposed == FRESH if loop_may_close else opposed is not None
                truths: tuple[Wrong, ...] = ANY_PAIR
                if proof is not None:
                    truths = (RIGHT, NOT_OPPOSED)
                    # A voltmeter that is proven no more has voided the proof in the same scan.
                    if lasts and (voltmeter is not None or not loop_may_close):
                        truths = (RIGHT,)
                found = {"proof_complete": proof, "voltmeter": voltmeter, "opposed": opposed}
                name = ", ".join(f"{k} {v}" for k, v in found.items())
                cases.append(Case(name, truths, evidence=found))
    return tuple(cases)


LV_NOT_OPEN = contactor(LV, 1.0, "lv_open")

LV_CLOSE = (
    reads(GUARD, 1.0, "guard_open"),
    PREPARED,
    reads(EMERGENCY_STOP, 1.0, "emergency_open"),
    regulator(LV_REGULATOR, 0.0, 0.5, "lv_up"),
    contactor(SELECTOR, 0.0, "selector_closed", 1.0, 2.0),
    known("seen_open", 1, "loop_closed"),
    known("watchdog_acted", 1, "watchdog_dead"),
    intent(LV, LOOP),
    TRIPPED,
)
LOOP_CLOSE = (
    reads(GUARD, 1.0, "guard_open"),
    GUARD_SHUT,
    regulator(LOOP_REGULATOR, 0.0, 0.5, "loop_up"),
    LV_NOT_OPEN,
    regulator(LV_REGULATOR, HALF_V / LV_FULL_V, RATED_V / LV_FULL_V, "lv_above_half"),
    pair(loop_may_close=True),
    intent(LOOP, LV),
    TRIPPED,
)


def _lv_read(now_v: float) -> Condition:
    """The LV supply at rest at some voltage: its drop, and whether it was read since."""
    at = now_v / LV_FULL_V
    drops = (0.0, 0.1 * now_v)
    strays = tuple({"lv_strays": s, "drop_v": d} for s in (False, True) for d in drops)
    rest, came, moves, long = (told(LV_REGULATOR, at, rest=r) for r in (SINCE, BEFORE, None, 0))
    return (
        *(
            Case(
                f"{now_v:.0f} V promised, {d:.0f} V lost",
                ({"drop_v": d},),
                fresh(LV_VOLTAGE, now_v - d),
                rest,
                {"lv_followed": Rest(at, now_v - d)},
            )
            for d in drops
        ),
        Case(
            f"{now_v:.0f} V promised, voltmeter stuck at nine tenths",
            evidence={"lv_followed": Rest(0.9 * at, 0.9 * now_v)},
            image=fresh(LV_VOLTAGE, 0.9 * now_v),
            outputs=rest,
        ),
        Case(f"{now_v:.0f} V, read before", strays, fresh(LV_VOLTAGE, now_v), came),
        Case(f"{now_v:.0f} V, on its way", strays, fresh(LV_VOLTAGE, now_v), moves),
        Case(f"{now_v:.0f} V, stale", strays, stale(LV_VOLTAGE, now_v), rest),
        Case(f"{now_v:.0f} V, unread", strays, bad(LV_VOLTAGE), rest),
        # What is critical and grows stale while energised is a trip: until then all is well.
        Case(f"{now_v:.0f} V, once read", (RIGHT,), stale(LV_VOLTAGE, now_v), long),
    )


def _lv_raise(to_v: float) -> tuple[Condition, ...]:
    """Return the conditions of a raise to this voltage: from below it, or it would be none."""
    starts = [v for v in (0.0, 0.9 * HALF_V, 0.9 * RATED_V) if v < to_v]
    return (
        pair(loop_may_close=False),
        contactor(LOOP, 0.0, "loop_closed"),
        tuple(c for v in starts for c in _lv_read(v)),
        TRIPPED_OR_OPENED,
    )


def _loop_known() -> Condition:
    """The loop, unproven or measured: an impedance within a tenth of the nameplate's."""
    unseen = tuple(
        {"impedance": z, "loop_unseen": u} for z in (0.9, 1.0, 1.1) for u in (False, True)
    )
    return (
        Case("loop unproven", unseen),
        *(
            Case(f"loop {z:g}", ({"impedance": z},), evidence={"loop": Loop(z * Z_OHM, 3, 21.0)})
            for z in (0.9, 1.0, 1.1)
        ),
    )


def _loop_read() -> Condition:
    strays: tuple[Wrong, ...] = (RIGHT, {"loop_strays": True})
    channels = (HV_VOLTAGE, HV_CURRENT)
    both = fresh(HV_VOLTAGE, 1.0) | fresh(HV_CURRENT, 1.0)
    return (
        Case("loop read since the move", image=both, outputs=told(LOOP_REGULATOR, 0.0)),
        Case("loop on its way", strays, both, told(LOOP_REGULATOR, 0.0, rest=None)),
        Case("loop read before", strays, both, told(LOOP_REGULATOR, 0.0, rest=BEFORE)),
        *(
            Case(
                f"{c} stale", strays, both | stale(c, 1.0), told(LOOP_REGULATOR, 0.0, rest=NOW - S)
            )
            for c in channels
        ),
        *(Case(f"{c} unread", strays, both | bad(c), told(LOOP_REGULATOR, 0.0)) for c in channels),
    )


def _gaps() -> Condition:
    """The gap voltage shown at rated, and the LV voltage that it is scaled with."""
    limit = EXPECTED.gap_limit_v
    gaps = (None, Gap(limit, RATED_V, EXPECTED.ratio_limit, 5))
    reads_lv = (fresh(LV_VOLTAGE, RATED_V), fresh(LV_VOLTAGE, 0.0), bad(LV_VOLTAGE))
    return tuple(
        Case(f"gap {g}, LV {r[LV_VOLTAGE].value}", image=r, evidence={"gap": g})
        for g in gaps
        for r in reads_lv
    )


LOOP_RAISE = (
    LV_NOT_OPEN,
    known("not_aiding", 2, "aiding"),
    _loop_known(),
    _gaps(),
    _loop_read(),
    TRIPPED_OR_OPENED,
)


def _voltage(channel: str) -> Condition:
    either: tuple[Wrong, ...] = (RIGHT, {"live": True})
    return (
        Case(f"{channel} gone", image=fresh(channel, 49.0)),
        Case(f"{channel} there", ({"live": True},), fresh(channel, 50.0)),
        Case(f"{channel} gone when last read", either, stale(channel, 0.0)),
        Case(f"{channel} unread", either, bad(channel)),
    )


# Told to another position it lets go first, whatever it is told: the meter's own doing.
SELECTOR_STANDS: Condition = (
    Case("selector open"),
    Case("selector at 1", image=fresh(SELECTOR, 1.0), outputs=told(SELECTOR, 1.0)),
    Case("selector moving", image=fresh(SELECTOR, 1.0), outputs=told(SELECTOR, 2.0, rest=None)),
)
SELECTOR_CLOSE = (
    contactor(LV, 0.0, "contactor_closed"),
    contactor(LOOP, 0.0, "contactor_closed"),
    *(_voltage(c) for c in (LV_VOLTAGE, SERIES_VOLTAGE, HV_VOLTAGE)),
    intent(SELECTOR, LV),
    SELECTOR_STANDS,
    TRIPPED,
)


def _raise_lv(name: str, to_v: float) -> Asked:
    return Asked(f"raise LV {name}", Move(LV_REGULATOR, to_v / LV_FULL_V), _lv_raise(to_v))


def _to_loop(per_unit: float) -> Move:
    return Move(LOOP_REGULATOR, EXPECTED.loop_cap_v(Z_OHM, per_unit * RATED_A, 0.0) / LOOP_FULL_V)


ASKED: tuple[Asked, ...] = (
    Asked("close LV", Close(LV), LV_CLOSE),
    Asked("close the loop", Close(LOOP), LOOP_CLOSE),
    *(
        Asked(f"close the selector onto {onto}", Close(SELECTOR, onto), SELECTOR_CLOSE)
        for onto in (1, 2)
    ),
    _raise_lv("to half the impedance voltage", HALF_V),
    _raise_lv("a little above it", 1.06 * HALF_V),
    _raise_lv("to rated", RATED_V),
    _raise_lv("to 1.1 of rated", 1.1 * RATED_V),
    _raise_lv("over its cap", LV_FULL_V),
    Asked("raise the loop to a quarter", _to_loop(0.25), LOOP_RAISE),
    Asked("raise the loop above a quarter", _to_loop(0.35), LOOP_RAISE),
    Asked("raise the loop to its cap", _to_loop(1.0), LOOP_RAISE),
    Asked("raise the loop over its cap", Move(LOOP_REGULATOR, 1.0), LOOP_RAISE),
)
