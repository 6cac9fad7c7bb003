"""Sequences of requests that once found a hole, or would if what holds them were not there.

Each names what holds it: permissives, or a part of the evidence and what it would be replaced by.
"""

from typing import Any, NamedTuple

from acquire.storm.wild import (
    Act,
    Climb,
    Creep,
    FalsePrompts,
    Hands,
    Honest,
    HonestTo,
    Insist,
    Push,
    Reckless,
)
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, Outputs
from drivers.simulated.circuit import Wiring
from sequences.evidence import is_open
from sequences.expected import Expected
from sequences.scan import GUARD, Close, Move, Open, Scan, Wait, WithholdHeartbeat

LOW = 0.0173  # of the LV regulator's travel: half the impedance voltage
RATED = 0.873  # rated LV voltage
QUARTER = 0.2  # of the loop regulator's travel: about a quarter of rated current
FULL = 0.78  # about rated current
RIGHT = Wiring()
AIDING = Wiring(aiding=True)
TAPS_APART = Wiring(tap_steps=2)
PREPARED = HonestTo("watchdog_acted")
PROVEN = HonestTo("proof_complete")
DEAD = (Climb(LV_REGULATOR, 0.0), Insist(Open(LV), 2))


class Attack(NamedTuple):
    """What is asked of which pair; what holds it, and which invariant breaks when that is gone."""

    acts: tuple[Act, ...]
    wiring: Wiring
    violation: str
    left_out: tuple[tuple[str, str], ...] = ()
    replaced: tuple[str, Any] | None = None


def opens_lv_alone(outputs: Outputs, output: str) -> None:
    """Open a contactor and nothing else."""
    outputs._contactor(output, 0)


def sees_the_newest_alone(scan: Scan, _expected: Expected) -> bool:
    """Look at the newest reading of the guard only."""
    return is_open(scan, GUARD)


def always(*_seen: object) -> bool:
    """Find everything right."""
    return True


ATTACKS: dict[str, Attack] = {
    "LV opened under a closed loop": Attack(
        (PROVEN, Push(LOOP, 3), Insist(Open(LV), 2), Climb(LOOP_REGULATOR, FULL)),
        RIGHT,
        "lv_bus_is_never_left_to_the_loop_supply",
        replaced=("drivers.outputs.Outputs.open", opens_lv_alone),
    ),
    "loop closed and raised with LV open": Attack(
        (PROVEN, *DEAD, Push(LOOP, 3), Climb(LOOP_REGULATOR, FULL)),
        RIGHT,
        "lv_bus_is_never_left_to_the_loop_supply",
        left_out=((LOOP, "LV contactor closed"),),
    ),
    "loop raised unproven": Attack(
        (HonestTo("not_aiding"), Climb(LOOP_REGULATOR, FULL)),
        RIGHT,
        "loop_current_stays_low_on_a_pair_that_is_not_proven",
        left_out=((LOOP_REGULATOR, "loop proven, or a quarter of rated current"),),
    ),
    "loop raised unproven by many small steps": Attack(
        (PREPARED, Reckless(3), *(Climb(LOOP_REGULATOR, 0.05 * n) for n in range(1, 16))),
        Wiring(shorted_turn_percent=60.0),
        "loop_current_stays_low_on_a_pair_that_is_not_proven",
        replaced=("sequences.evidence.is_lv_sound", always),
    ),
    "loop raised beyond its cap": Attack(
        (PROVEN, Push(LOOP, 3), Climb(LOOP_REGULATOR, 0.83), Climb(LOOP_REGULATOR, 1.0)),
        RIGHT,
        "loop_current_stays_below_what_its_cap_lets_through",
        left_out=((LOOP_REGULATOR, "voltage within its cap"),),
    ),
    "LV raised unproven by many small steps": Attack(
        (PREPARED, Push(LV, 1), Climb(LV_REGULATOR, LOW), Creep(LV_REGULATOR, 0.0005, 40)),
        AIDING,
        "lv_stays_low_on_a_wrong_pair",
        left_out=((LV_REGULATOR, "proof complete, or half the impedance voltage"),),
    ),
    "LV raised to the end of its travel by many small steps": Attack(
        (PROVEN, *(Climb(LV_REGULATOR, 0.1 * n) for n in range(1, 11))),
        RIGHT,
        "lv_never_exceeds_its_limit",
        left_out=((LV_REGULATOR, "LV within 1.1 of rated"),),
    ),
    "r never looked at": Attack(
        (PROVEN, Climb(LV_REGULATOR, RATED), Push(LOOP, 3), Climb(LOOP_REGULATOR, FULL)),
        TAPS_APART,
        "lv_stays_low_on_a_closed_loop_that_is_not_opposed",
        left_out=((LOOP, "LV low, or opposed at rated"),),
    ),
    "LV lowered after the proof, the loop closed, LV raised": Attack(
        (
            PROVEN,
            Climb(LV_REGULATOR, RATED),
            Climb(LV_REGULATOR, LOW),
            Push(LOOP, 3),
            Climb(LV_REGULATOR, RATED),
        ),
        TAPS_APART,
        "lv_stays_low_on_a_closed_loop_that_is_not_opposed",
        left_out=((LV_REGULATOR, "loop open, or opposed at rated"),),
    ),
    "not aiding proven on a dead bus": Attack(
        (
            PREPARED,
            Push(LV, 1),
            Push(LOOP, 3),
            Climb(LV_REGULATOR, LOW),
            Climb(LOOP_REGULATOR, QUARTER),
        ),
        AIDING,
        "loop_current_stays_low_on_a_pair_that_is_not_proven",
        left_out=((LOOP_REGULATOR, "not aiding since this closing"),),
    ),
    "closing, reopening and raising": Attack(
        (
            HonestTo("not_aiding"),
            Insist(Open(LOOP), 2),
            Climb(LOOP_REGULATOR, QUARTER),
            Push(LOOP, 3),
        ),
        RIGHT,
        "no_closing_onto_a_raised_regulator",
        left_out=(
            (LOOP_REGULATOR, "not aiding since this closing"),
            (LOOP, "loop regulator at zero"),
        ),
    ),
    "loop closed while LV is still on its way down": Attack(
        (
            PROVEN,
            Insist(Move(LV_REGULATOR, 0.5), 1),
            Insist(Wait(), 6),
            Insist(Move(LV_REGULATOR, LOW), 1),
            Insist(Close(LOOP), 4),
        ),
        TAPS_APART,
        "lv_stays_low_on_a_closed_loop_that_is_not_opposed",
        left_out=((LOOP, "LV low, or opposed at rated"),),
    ),
    "LV closed onto its raised regulator": Attack(
        (PROVEN, Climb(LV_REGULATOR, RATED), Insist(Open(LV), 2), Push(LV, 1)),
        RIGHT,
        "no_closing_onto_a_raised_regulator",
        left_out=((LV, "LV regulator at zero"),),
    ),
    "guard opened and shut between two scans, a secondary interchanged": Attack(
        (PROVEN, *DEAD, Hands(0.1, 0.5, unread=False), Push(LV, 1), Climb(LV_REGULATOR, RATED)),
        RIGHT,
        "lv_stays_low_on_a_wrong_pair",
        replaced=("sequences.evidence.guard_was_open", sees_the_newest_alone),
    ),
    "a secondary interchanged while nobody read the guard": Attack(
        (PROVEN, *DEAD, Hands(0.1, 20.0, unread=True), Push(LV, 1), Climb(LV_REGULATOR, RATED)),
        RIGHT,
        "lv_stays_low_on_a_wrong_pair",
        replaced=("sequences.evidence.guard_was_open", sees_the_newest_alone),
    ),
    "prompts put in other words": Attack(
        (
            Honest(4),
            FalsePrompts(),
            Insist(WithholdHeartbeat(), 6),
            Insist(Wait(), 3),
            Push(LV, 1),
        ),
        RIGHT,
        "no_closing_of_lv_before_people_have_answered",
        replaced=("sequences.evidence.is_of_prepare", always),
    ),
    "a shorted turn, and nobody looks at the LV current": Attack(
        (PREPARED, Reckless(9)),
        Wiring(shorted_turn_percent=60.0),
        "lv_stays_low_on_a_wrong_pair",
        replaced=("sequences.evidence.is_lv_sound", always),
    ),
}
