"""What endangers people, stand or pair when an output acts: predicates of the true state.

They know nothing of readings, evidence or permissives. The reasons are those of the trade, each
row says its own; the figures are of the shipped pair.
"""

from collections.abc import Callable, Mapping
from typing import NamedTuple

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from sequences.expected import Expected

MOST_LV = 1.1  # of rated: what cores and insulation of the pair stand
MOST_LOOP = 1.15  # of rated current
QUARTER = 0.25  # of rated current: what does no damage wherever it flows
SAME = 1e-9  # of a product that is rounded


class Truth(NamedTuple):
    """What truly is, whatever anything reads: at first nothing is wrong.

    What is about to be because a command is under way counts as being so. `drop_v` is what the LV
    supply loses inside itself now; `impedance` the pair's |2 Z_e| as a part of the nameplate's.
    """

    tripped: bool = False
    guard_open: bool = False
    emergency_open: bool = False
    lv_up: bool = False
    loop_up: bool = False
    lv_above_half: bool = False
    selector_closed: bool = False
    lv_open: bool = False
    loop_closed: bool = False
    contactor_closed: bool = False
    live: bool = False
    watchdog_dead: bool = False
    somebody_or_something_left: bool = False
    unrecorded: bool = False
    wrong_pair: bool = False
    not_opposed: bool = False
    aiding: bool = False
    loop_unseen: bool = False
    lv_strays: bool = False
    loop_strays: bool = False
    drop_v: float = 0.0
    impedance: float = 1.0


class Act(NamedTuple):
    """What a request would do: the open-circuit voltage that it asks for, V; 0 for a closing."""

    asked_v: float
    expected: Expected


Hazard = Callable[[Truth, Act], bool]


def _above_half(act: Act) -> bool:
    """Past half the impedance voltage by more than a regulator's step."""
    return act.asked_v > 1.05 * act.expected.half_impedance_voltage_v


def _loop_volts(current: float, truth: Truth, act: Act) -> float:
    """Return what drives 1.15 of a part of rated current through the true loop and its source.

    The gap voltage may stand against it: at most its limit, or opposition is not shown.
    """
    expected = act.expected
    ohm = MOST_LOOP * truth.impedance * expected.loop_impedance_ohm
    drop = (ohm + expected.loop_regulator.source_ohm) * current * expected.nameplate.hv_current_a
    return (drop + expected.gap_limit_v) * (1 + SAME)


def energised_after_a_trip(truth: Truth, _act: Act) -> bool:
    """Something tripped, and the same run energises again."""
    return truth.tripped


def people_within_reach(truth: Truth, _act: Act) -> bool:
    """The guard is open, or a person, an earth or a link was left inside."""
    return truth.guard_open


def left_inside(truth: Truth, _act: Act) -> bool:
    """A person, an earth or a link is where nobody looked."""
    return truth.somebody_or_something_left


def cannot_be_cut(truth: Truth, _act: Act) -> bool:
    """The emergency circuit is open: what is closed now ignores its button."""
    return truth.emergency_open


def outlives_the_program(truth: Truth, _act: Act) -> bool:
    """The watchdog relay does not drop."""
    return truth.watchdog_dead


def full_voltage_at_once(truth: Truth, _act: Act) -> bool:
    """The LV regulator stands, or will stand, above zero."""
    return truth.lv_up


def current_jumps(truth: Truth, _act: Act) -> bool:
    """The loop regulator stands, or will stand, above zero."""
    return truth.loop_up


def meter_on_live_winding(truth: Truth, _act: Act) -> bool:
    """The resistance meter is, or will be, connected."""
    return truth.selector_closed


def both_at_once(truth: Truth, _act: Act) -> bool:
    """The loop contactor is welded, so that LV energises the loop as well."""
    return truth.loop_closed


def no_record(truth: Truth, _act: Act) -> bool:
    """The archive does not hold what is about to be done."""
    return truth.unrecorded


def wrong_pair_above_half(truth: Truth, act: Act) -> bool:
    """A pair with something wrong gets more than what can do it no damage."""
    return truth.wrong_pair and _above_half(act)


def unopposed_loop_driven(truth: Truth, act: Act) -> bool:
    """LV rises above half the impedance voltage with the loop closed on what does not cancel."""
    return truth.loop_closed and (truth.not_opposed or truth.wrong_pair) and _above_half(act)


def saturated(truth: Truth, act: Act) -> bool:
    """The bus gets more than 1.1 of rated."""
    return act.asked_v - truth.drop_v > MOST_LV * act.expected.nameplate.lv_voltage_v * (1 + SAME)


def lv_raised_blindly(truth: Truth, _act: Act) -> bool:
    """The bus is not where the last move should have left it, and it is raised further."""
    return truth.lv_strays


def loop_raised_blindly(truth: Truth, _act: Act) -> bool:
    """The loop is not where the last move should have left it, and it is raised further."""
    return truth.loop_strays


def closed_unopposed(truth: Truth, _act: Act) -> bool:
    """The loop closes on a pair that does not cancel, LV above half the impedance voltage."""
    return (truth.not_opposed or truth.wrong_pair) and truth.lv_above_half


def loop_supply_alone(truth: Truth, _act: Act) -> bool:
    """The LV bus hangs on nothing but the loop supply."""
    return truth.lv_open


def adds_to_aiding(truth: Truth, _act: Act) -> bool:
    """The pair drives the loop itself, and the loop supply adds to it."""
    return truth.aiding


def unseen_current(truth: Truth, act: Act) -> bool:
    """More than for a quarter of rated current into a loop whose current is not seen."""
    return truth.loop_unseen and act.asked_v > _loop_volts(QUARTER, Truth(), act)


def more_than_rated(truth: Truth, act: Act) -> bool:
    """More voltage than 1.15 of rated current needs in this loop, and the gap at its limit."""
    return act.asked_v > _loop_volts(1.0, truth, act)


def contactor_under_the_meter(truth: Truth, _act: Act) -> bool:
    """A main contactor is, or will be, closed on the winding that the meter is connected to."""
    return truth.contactor_closed


def voltage_under_the_meter(truth: Truth, _act: Act) -> bool:
    """A dangerous voltage stands on the winding that the meter is connected to."""
    return truth.live


HAZARDS: Mapping[str, tuple[Hazard, ...]] = {
    LV: (
        energised_after_a_trip,
        people_within_reach,
        left_inside,
        cannot_be_cut,
        outlives_the_program,
        full_voltage_at_once,
        meter_on_live_winding,
        both_at_once,
        no_record,
    ),
    LV_REGULATOR: (
        energised_after_a_trip,
        people_within_reach,
        wrong_pair_above_half,
        unopposed_loop_driven,
        saturated,
        lv_raised_blindly,
    ),
    LOOP: (
        energised_after_a_trip,
        people_within_reach,
        current_jumps,
        loop_supply_alone,
        closed_unopposed,
        no_record,
    ),
    LOOP_REGULATOR: (
        energised_after_a_trip,
        people_within_reach,
        loop_supply_alone,
        adds_to_aiding,
        unseen_current,
        more_than_rated,
        loop_raised_blindly,
    ),
    SELECTOR: (
        energised_after_a_trip,
        contactor_under_the_meter,
        voltage_under_the_meter,
        no_record,
    ),
}


def dangers(output: str, truth: Truth, act: Act) -> tuple[str, ...]:
    """Return the names of the hazards that an output's acting brings about in this true state."""
    return tuple(h.__name__ for h in HAZARDS[output] if h(truth, act))
