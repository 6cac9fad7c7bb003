"""What the wild procedure is drawn from: acts and requests of any kind, each from a generator."""

from random import Random

from acquire.storm.wild import (
    Act,
    Climb,
    Creep,
    EmergencyStop,
    FalsePrompts,
    Greed,
    Guard,
    Hands,
    Honest,
    Insist,
    Interchange,
    Push,
    Reckless,
    Series,
    nonsense,
)
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from sequences.scan import Close, Move, Open, Request, Wait, WithholdHeartbeat

CONTACTORS = (LOOP, LV, SELECTOR)
REGULATORS = (LV_REGULATOR, LOOP_REGULATOR)
# Positions of the shipped regulators that matter: nothing, next to it, half the impedance voltage
# and around, a quarter, rated, the ends of travel; likewise for loop current.
LV_TARGETS = (
    *(0.0, 0.0002, 0.002, 0.0096, 0.0122, 0.0173, 0.0177, 0.018, 0.03),
    *(0.1, 0.2174, 0.83, 0.873, 0.885, 0.92, 0.957, 1.0),
)
LOOP_TARGETS = (0.0, 0.0002, 0.0019, 0.03, 0.05, 0.19, 0.225, 0.23, 0.45, 0.78, 0.9, 0.95, 1.0)
# What lies near every hole that was ever found, in pieces: on which pair and after what is drawn.
RECIPES = (
    # The watchdog seen to act, and not a prompt answered.
    Series((Insist(WithholdHeartbeat(), 6), Insist(Wait(), 3), Push(LV, 1))),
    Series((Climb(LV_REGULATOR, 0.0), Insist(Open(LV), 2), Push(SELECTOR, 2), Push(LV, 1))),
    Series((Climb(LV_REGULATOR, 0.0), Insist(Open(LV), 2), Push(LOOP, 3))),
    Series((Climb(LV_REGULATOR, 0.0173), Push(LOOP, 3), Climb(LV_REGULATOR, 0.873))),
    Series((Insist(Open(LV), 2), Push(LV, 2))),
    Series((Insist(Open(LOOP), 2), Climb(LOOP_REGULATOR, 0.2), Push(LOOP, 2))),
    Series((Climb(LV_REGULATOR, 0.873), Push(LOOP, 3), Climb(LOOP_REGULATOR, 0.78))),
    Series((Climb(LV_REGULATOR, 0.873), Push(LOOP, 3))),
    Series((Insist(Move(LV_REGULATOR, 0.3), 1), Insist(Move(LV_REGULATOR, 0.0173), 1))),
)


def draw_honest_scans(d: Random) -> int:
    """Draw how many honest scans come first: none to all, more often where stages change."""
    return d.randint(*d.choice(((0, 330), (45, 80), (110, 270))))


def draw_acts(d: Random, most: int) -> tuple[Act, ...]:
    """Draw one to so many acts."""
    return tuple(draw_act(d) for _ in range(d.randint(1, most)))


def draw_act(d: Random) -> Act:
    """Draw anything that the wild procedure does, or people around it."""
    return d.choice(KINDS)(d)


def draw_request(d: Random) -> Request:
    """Draw any request; a nonsensical one ends the run, and so comes seldom."""
    if d.randint(0, 15) == 0:
        return d.choice(nonsense())
    contactor = d.choice(CONTACTORS)
    any_: tuple[Request, ...] = (
        Close(contactor),
        Open(contactor),
        Move(*_target(d)),
        Wait(),
        WithholdHeartbeat(),
    )
    return d.choice(any_)


def _target(d: Random) -> tuple[str, float]:
    regulator = d.choice(REGULATORS)
    special = LV_TARGETS if regulator == LV_REGULATOR else LOOP_TARGETS
    return regulator, d.choice((d.choice(special), d.uniform(0.0, 1.0), d.uniform(0.0, 0.05)))


def _push(d: Random) -> Act:
    return Push(d.choice(CONTACTORS), d.randint(0, 3))


def _climb(d: Random) -> Act:
    return Climb(*_target(d))


def _greed(d: Random) -> Act:
    return Greed(d.choice(REGULATORS), d.choice((5, 12)), d.randint(0, 2))


def _creep(d: Random) -> Act:
    return Creep(d.choice(REGULATORS), d.choice((0.0005, 0.01, 0.05)), d.randint(2, 20))


def _reckless(d: Random) -> Act:
    return Reckless(d.randint(1, 11))


def _insist(d: Random) -> Act:
    return Insist(draw_request(d), d.randint(1, 4))


def _honest(d: Random) -> Act:
    return Honest(d.randint(1, 40))


def _recipe(d: Random) -> Act:
    return d.choice(RECIPES)


def _people(d: Random) -> Act:
    people: tuple[Act, ...] = (
        Guard(d.uniform(0.0, 3.0), d.choice((0.3, 0.5, 0.9, 2.0, 5.0))),
        # Nobody is in and out again before an unread guard is stale and a scan has seen so.
        Hands(
            d.uniform(0.0, 1.0), *d.choice(((0.25, False), (0.6, False), (3.0, True), (20.0, True)))
        ),
        Interchange(d.choice((False, True))),
        EmergencyStop(),
        FalsePrompts(),
    )
    return d.choice(people)


# As often as each stands here.
KINDS = (
    *(_push, _push, _climb, _climb, _greed, _greed, _creep, _reckless),
    *(_insist, _insist, _honest, _people, _recipe, _recipe),
)
