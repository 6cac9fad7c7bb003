"""What may never be, whatever fails and whatever a procedure asks for.

Each is a function of what a witness sees of the true plant; it returns None while it holds, and
otherwise how far it was missed. What a runaway adds within its trip's time is the plant's and not
the program's; what nothing could see or stop is left out, and `patience` says what that is.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from acquire.clock import S
from acquire.storm.cut_times import (
    cut_s,
    driven_by_runaways,
    lv_supply_cut_s,
    promised,
    runaway_cut_s,
)
from acquire.storm.heat_invariants import d_c_is_discharged_before_the_selector_opens
from acquire.storm.patience import UNSEEN_S
from acquire.storm.true_pair import METERS
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from sequences.evidence import Evidence
from sequences.prompt import PREPARATION
from sequences.scan import (
    EMERGENCY_STOP,
    GUARD,
    HV_CURRENT,
    LV_VOLTAGE,
    PROTECTION_CONTACT,
)

if TYPE_CHECKING:
    from acquire.storm.witness import Witness

Missed = float | None
Invariant = Callable[["Witness"], Missed]
OfContactor = Callable[["Witness", str], Missed]

WRONG_PAIR_CURRENT = 0.6  # of rated: aiding at half the impedance voltage drives 0.5
MOST_VOLTAGE = 1.1  # of rated
TRIP_CURRENT = 1.15  # of the largest current that the schedule sets
GONE = 0.1  # of rated: what a normal stop may break, the exchange between the twins with it


# --- whatever the time


def loop_current_stays_low_on_a_pair_that_is_not_proven(at: Witness) -> Missed:
    """Aiding at half the impedance voltage drives half of rated; nothing may drive more."""
    if at.proven and (at.pair.sound() or at.was_sound):
        return None
    return _above(at.loop, WRONG_PAIR_CURRENT + driven_by_runaways(at))


def loop_current_stays_below_what_its_cap_lets_through(at: Witness) -> Missed:
    """The cap of the loop's voltage bounds its current whatever the ammeter says."""
    trip_current = TRIP_CURRENT * at.most_current
    if at.loop <= trip_current or not at.pair.sound():
        return None
    plate = at.plant.nameplate
    drop = at.expected.loop_impedance_ohm * plate.hv_current_a
    gap = 2 * at.pair.ratio() * plate.hv_voltage_v
    source = at.expected.loop_regulator.source_ohm * plate.hv_current_a
    source *= at.most_current
    most = trip_current * METERS**2 + (source + 2 * gap) / drop
    return _above(at.loop, most + driven_by_runaways(at))


def loop_current_is_cut_in_its_trips_time(at: Witness) -> Missed:
    """Windings overheat and the forces on them rise with the square of the current."""
    over = at.loop > TRIP_CURRENT * at.most_current * METERS and at.closed[LOOP]
    return at.longer("loop current", over, cut_s(at, HV_CURRENT, 2) if over else None)


def lv_stays_low_on_a_wrong_pair(at: Witness) -> Missed:
    """A wrong pair takes 8 to 29 times rated current at rated voltage.

    A turn that shorts once the proof is complete is for the trip on LV supply current.
    """
    wrong = at.closed[LV] and promised(at) > at.half_impedance and not at.pair.sound()
    if wrong and not at.was_sound:
        return promised(at)
    return at.longer("wrong pair", wrong, lv_supply_cut_s(at) if wrong else None)


def lv_stays_low_on_a_voltmeter_that_was_never_proven(at: Witness) -> Missed:
    """A zero on a voltmeter proves nothing: above this the gap of an aiding pair is lethal."""
    if at.voltmeter_was_live or not at.closed[LV]:
        return None
    return _above(promised(at), at.half_impedance)


def lv_stays_low_on_a_closed_loop_that_is_not_opposed(at: Witness) -> Missed:
    """What does not cancel drives the loop with nothing but its impedance in the way."""
    high = at.closed[LOOP] and at.closed[LV] and promised(at) > at.half_impedance
    if not high or (at.pair.opposed(at.expected.ratio_limit) and at.voltmeter_was_live):
        at.longer("not opposed", False, 0.0)
        return None
    # A turn that shorts after all was proven.
    later = at.was_sound and at.proven and not at.pair.sound()
    return at.longer("not opposed", True, lv_supply_cut_s(at)) if later else promised(at)


def lv_never_exceeds_its_limit(at: Witness) -> Missed:
    """Both cores saturate and insulation is stressed; a runaway is for its trip."""
    over = at.bus > MOST_VOLTAGE * METERS
    if over and not at.ran_away[LV_REGULATOR] and not at.ran_away[LOOP_REGULATOR]:
        return at.bus
    allowed = runaway_cut_s(at, LV_VOLTAGE) if over else None
    return at.longer("LV voltage", over, allowed)


def nothing_is_energised_behind_an_open_guard(at: Witness) -> Missed:
    """Somebody can reach live parts."""
    open_ = not at.plant.guard and _live(at)
    return at.longer("guard", open_, cut_s(at, GUARD, 1) if open_ else None)


def nothing_is_energised_with_a_protection_contact_open(at: Witness) -> Missed:
    """There is gas, pressure or heat inside a unit."""
    open_ = not at.plant.protection_contact and _live(at)
    return at.longer("protection", open_, cut_s(at, PROTECTION_CONTACT, 1) if open_ else None)


def nothing_is_energised_with_the_emergency_stop_pressed(at: Witness) -> Missed:
    """Somebody wants everything off; hardware drops the coils, the program what is welded."""
    pressed = not at.plant.emergency_stop and _live(at)
    return at.longer("emergency stop", pressed, cut_s(at, EMERGENCY_STOP, 1) if pressed else None)


def nothing_is_run_blind(at: Witness) -> Missed:
    """With a critical instrument silent for longer than its time nobody sees what happens."""
    silent = bool(at.plant.silent & _critical(at)) and _live(at)
    allowed = _blind_s(at) if silent else None
    return at.longer("silent", silent, allowed)


def nothing_is_energised_after_a_stops_deadline(at: Witness) -> Missed:
    """Whatever else fails: category 0 at once, category 1 by its deadline, welded by the breaker.

    Left out is what has no way out: both a contactor and watchdog or breaker welded.
    """
    stopped = at.stopped
    live = stopped is not None and _live(at)
    if stopped is None or not live:
        at.longer("stopped", False, 0.0)
        return None
    gone = at.rehearsal is None
    acted = at.patience.unattended_s() if gone else at.patience.acted_s()
    if acted is not None and not gone:
        acted += at.patience.category_1_s if stopped.category else 0.0
    return at.longer(f"stopped, category {stopped.category}", True, acted)


def lv_bus_is_never_left_to_the_loop_supply(at: Witness) -> Missed:
    """With the LV contactor open under a closed loop the bus is live and nothing holds it."""
    alone = at.closed[LOOP] and not at.closed[LV] and _live(at)
    if not alone:
        at.longer("LV open under loop", False, 0.0)
        return None
    acted = at.patience.acted_s()
    by_itself = at.plant.lv_contactor.fallen_out or at.commanded[LV]
    seen = at.patience.seen_s(LV, 1) if by_itself else 0.0
    allowed = None if acted is None or seen is None else acted + seen
    return at.longer("LV open under loop", True, allowed)


def selector_is_open_while_a_main_contactor_is_closed(at: Witness) -> Missed:
    """The resistance meter, and whoever reads it, is connected to a live winding."""
    return 1.0 if at.closed[SELECTOR] and (at.closed[LV] or at.closed[LOOP]) else None


# --- when a contactor is told to close


def no_closing_after_a_stop(at: Witness, _contactor: str) -> Missed:
    """A trip never re-energises; only a new run does, from prepare on."""
    return 1.0 if at.stopped is not None else None


def no_closing_without_its_intent_on_the_disk(at: Witness, contactor: str) -> Missed:
    """A closing that no record shows never happened for whoever asks why."""
    intents = sum(e.kind == "intent" and e.facts["output"] == contactor for e in at.events())
    return None if at.told_closed[contactor] <= intents else float(intents)


def no_closing_onto_a_raised_regulator(at: Witness, contactor: str) -> Missed:
    """Inrush, and a current that jumps."""
    name = {LV: LV_REGULATOR, LOOP: LOOP_REGULATOR}.get(contactor)
    if name is None:
        return None
    position = getattr(at.plant, name).position - at.ran_away[name]
    return _above(position, at.expected.regulator(name).zero_band)


def no_closing_of_lv_before_people_have_answered(at: Witness, contactor: str) -> Missed:
    """Since the guard last shut every prompt of prepare was put as written, and answered yes."""
    if contactor != LV:
        return None
    put: set[str] = set()
    answered: set[str] = set()
    for event in at.events():
        facts = event.facts
        if event.kind == "prompt" and event.t >= at.guard_shut_at:
            row = (facts["id"], facts["asked"], facts["who"], facts["follows"])
            put = put | {row[0]} if row in PREPARATION else put - {row[0]}
        elif event.kind == "answer" and facts["value"] and facts["prompt"] in put:
            answered.add(facts["prompt"])
    missing = len(PREPARATION) - len(answered)
    return float(missing) if missing else None


def no_closing_of_lv_before_the_watchdog_has_acted(at: Witness, contactor: str) -> Missed:
    """A stopped program would leave the stand energised."""
    acted = at.watchdog_dropped_at >= at.guard_shut_at
    return None if contactor != LV or acted else 1.0


# --- when main contacts have closed or opened


def the_loop_never_closes_on_a_pair_that_is_not_opposed(at: Witness, contactor: str) -> Missed:
    """Above half the impedance voltage twice the HV voltage would be switched onto the loop.

    A turn that shorts while it closes is for the trip on LV supply current.
    """
    if contactor != LOOP or promised(at) <= at.half_impedance:
        return None
    cut_s = lv_supply_cut_s(at)
    just_now = cut_s is None or at.plant.t - at.opposed_at <= cut_s * S
    return None if at.was_sound and just_now else promised(at)


def nothing_closes_by_itself_after_a_stop(at: Witness, contactor: str) -> Missed:
    """A command that is not followed is not followed later, when nobody expects it.

    What was on the wire before the stop lets main contacts close within their travel and no later:
    a program that has crashed in between can take nothing back.
    """
    if at.stopped is None or contactor == SELECTOR:
        return None
    told = at.told_closed_at[contactor]
    travelled = round((at.plant.truth.contactor_close_s + UNSEEN_S) * S)
    on_the_wire = 0 <= told <= at.stopped.t and at.plant.t - told <= travelled
    return None if on_the_wire else 1.0


def a_normal_stop_takes_current_before_voltage(at: Witness, contactor: str) -> Missed:
    """A valid record, no live bus believed dead, no remanence: the loop opens first, at no current.

    An order for stops that have the time, never an inhibit: hardware and category 0 ask for none.
    """
    if not _stops_in_order(at):
        return None
    if contactor == LOOP:
        return _above(at.loop, GONE + driven_by_runaways(at))
    return 1.0 if contactor == LV and at.closed[LOOP] else None


def a_normal_stop_lowers_voltage_after_the_loop_is_open(at: Witness) -> Missed:
    """The same order seen at the LV regulator's command, the loop contactor told to be closed."""
    closed = at.commanded[LOOP] and at.closed[LOOP]
    return at.loop if closed and _stops_in_order(at) else None


# --- at the instant of a category 0, and of a start


def category_0_waits_for_nothing(at: Witness) -> Missed:
    """Its openings are the first writes of its scan, loop and LV in that order."""
    if at.stopped is None:
        return None
    writes = [(o, v) for t, o, v in at.writes if t >= at.stopped.since]
    wanted = [(LOOP, 0.0), (LV, 0.0)]
    return None if writes[:2] == wanted[: len(writes)] else 1.0


def a_new_run_knows_nothing(at: Witness) -> Missed:
    """What another program has proven may have changed while nobody looked."""
    known = at.rehearsal is not None and at.rehearsal.cycle.evidence != Evidence()
    return 1.0 if known else None


def nothing_is_claimed_before_both_contactors_read_open(at: Witness, output: str) -> Missed:
    """A welded contactor would go unnoticed; the heartbeat is what claims outputs."""
    return 1.0 if output == "heartbeat" and not at.read_open else None


ALWAYS: tuple[Invariant, ...] = (
    loop_current_stays_low_on_a_pair_that_is_not_proven,
    loop_current_stays_below_what_its_cap_lets_through,
    loop_current_is_cut_in_its_trips_time,
    lv_stays_low_on_a_wrong_pair,
    lv_stays_low_on_a_voltmeter_that_was_never_proven,
    lv_stays_low_on_a_closed_loop_that_is_not_opposed,
    lv_never_exceeds_its_limit,
    nothing_is_energised_behind_an_open_guard,
    nothing_is_energised_with_a_protection_contact_open,
    nothing_is_energised_with_the_emergency_stop_pressed,
    nothing_is_run_blind,
    nothing_is_energised_after_a_stops_deadline,
    lv_bus_is_never_left_to_the_loop_supply,
    selector_is_open_while_a_main_contactor_is_closed,
)
ON_COMMAND: tuple[OfContactor, ...] = (
    no_closing_after_a_stop,
    no_closing_without_its_intent_on_the_disk,
    no_closing_onto_a_raised_regulator,
    no_closing_of_lv_before_people_have_answered,
    no_closing_of_lv_before_the_watchdog_has_acted,
)
ON_CLOSING: tuple[OfContactor, ...] = (
    the_loop_never_closes_on_a_pair_that_is_not_opposed,
    nothing_closes_by_itself_after_a_stop,
)
ON_OPENING: tuple[OfContactor, ...] = (
    a_normal_stop_takes_current_before_voltage,
    d_c_is_discharged_before_the_selector_opens,
)
ON_LOWERING_LV: tuple[Invariant, ...] = (a_normal_stop_lowers_voltage_after_the_loop_is_open,)
ON_WRITING: tuple[OfContactor, ...] = (nothing_is_claimed_before_both_contactors_read_open,)
AT_CATEGORY_0: tuple[Invariant, ...] = (category_0_waits_for_nothing,)
AT_START: tuple[Invariant, ...] = (a_new_run_knows_nothing,)


def judge(at: Witness, table: tuple[Invariant, ...]) -> None:
    """Have the witness write down which of these do not hold."""
    for invariant in table:
        missed = invariant(at)
        if missed is not None:
            at.note(invariant.__name__, missed)


def judge_one(at: Witness, table: tuple[OfContactor, ...], contactor: str) -> None:
    """Have the witness write down which of these do not hold for a contactor."""
    for invariant in table:
        missed = invariant(at, contactor)
        if missed is not None:
            at.note(invariant.__name__, missed)


def _above(value: float, limit: float) -> Missed:
    return value if value > limit else None


def _live(at: Witness) -> bool:
    """Return whether a main contactor is closed behind a closed upstream breaker."""
    return (at.closed[LV] or at.closed[LOOP]) and at.plant.upstream_breaker.closed


def _critical(at: Witness) -> frozenset[str]:
    return at.patience.critical_instruments(at.closed[LOOP])


def _blind_s(at: Witness) -> float | None:
    acted = at.patience.acted_s()
    return None if acted is None else at.patience.blind_s() + acted


def _stops_in_order(at: Witness) -> bool:
    """Return whether a shutting down or a stop of category 1 is under way, by nothing overtaken."""
    plant = at.plant
    shuts_down = at.honest and at.stopped is None and at.stage == "shut_down"
    stops = at.stopped is not None and at.stopped.category == 1
    if at.rehearsal is None or not (shuts_down or stops):
        return False
    by_hardware = not (plant.emergency_relay and plant.watchdog.picked_up)
    fell = plant.lv_contactor.fallen_out or plant.loop_contactor.fallen_out
    return not (by_hardware or fell or plant.loop_contactor.welded)
