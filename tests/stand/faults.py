"""What can be wrong with a pair or its voltmeter: put in by hand, with the names it may be given.

Names are those of the findings of the sequence's checks and trips. Where a link or a shorted turn
draws a multiple of what the LV supply may give, its over-current trip is as right as the check:
it acts at once and names links and shorted turns too.
"""

from collections.abc import Callable
from random import Random
from typing import NamedTuple

from acquire.rehearsal import Rehearsal
from acquire.storm.twins import between
from drivers.simulated.circuit import Supplies, WiredPair, Wiring
from drivers.simulated.stand import SimulatedStand

LV_SHORT = frozenset({"lv_short_or_shorted_turn", "lv_supply_current"})
OPEN = frozenset({"loop_open"})
VOLTMETER = frozenset({"voltmeter_did_not_follow"})
TAPS = frozenset({"ratio_mismatch", "not_opposed", "impedance_not_as_nameplate"})
TURN = LV_SHORT | {"shorted_turn"}
MOST_FALL = 0.15


class Fault(NamedTuple):
    """A kind of fault.

    `cured`: found and put right on the way; every other ends the run. `lasts`: whatever people do.
    """

    name: str
    spoil: Callable[[Rehearsal, Random], None]
    findings: frozenset[str]
    cured: bool = False
    lasts: bool = False


def _wired(wiring: Wiring) -> Callable[[Rehearsal, Random], None]:
    def spoil(rehearsal: Rehearsal, _d: Random) -> None:
        rehearsal.stand.wiring = wiring

    return spoil


def _dead_voltmeter(rehearsal: Rehearsal, _d: Random) -> None:
    rehearsal.stand.series_voltmeter.dead = True


def _wrong_multiplier(rehearsal: Rehearsal, d: Random) -> None:
    """Off by a factor of two to two hundred, either way."""
    rehearsal.stand.series_multiplier = between(d, 2.0, 200.0) ** d.choice((-1, 1))


def _tap_error(rehearsal: Rehearsal, d: Random) -> None:
    """One to three steps, fewer where their exchange would pull a weak LV supply down.

    U_LV that falls by a fifth as the loop closes is the finding *aiding*: that corner, of two or
    three steps of 5 %, is stated with the figures of the campaign.
    """
    plant, steps, sign = rehearsal.stand, d.choice((1, 1, 2, 3)), d.choice((-1, 1))
    while steps > 1 and _fall_at_closing(plant, sign * steps) > MOST_FALL:
        steps -= 1
    plant.wiring = Wiring(tap_steps=sign * steps)


def _fall_at_closing(plant: SimulatedStand, tap_steps: int) -> float:
    """Return the part of U_LV that is lost in the prove stage when the loop closes."""
    plate = plant.nameplate
    half = plate.impedance_percent / 200 * plate.lv_voltage_v + 0j
    pair = WiredPair(plant.pair, Wiring(tap_steps=tap_steps))
    opened, closed = (abs(pair.solve(Supplies(half, 0j, True, at)).bus) for at in (False, True))
    return 1 - closed / opened


def _shorted_turn(rehearsal: Rehearsal, d: Random) -> None:
    """From a dead short to the mildest that triples the loss in the pause at 25 %."""
    plate = rehearsal.expected.nameplate
    mildest = 100 * 0.109 / (plate.no_load_loss_w / plate.power_va)
    rehearsal.stand.wiring = Wiring(shorted_turn_percent=between(d, 0.5, mildest))


FAULTS = (
    Fault("aiding", _wired(Wiring(aiding=True)), frozenset({"aiding"}), cured=True),
    Fault("aiding for ever", _wired(Wiring(aiding=True)), frozenset({"aiding_again"}), lasts=True),
    Fault("HV lead open", _wired(Wiring(hv_lead_open=True)), OPEN),
    Fault("LV lead of A open", _wired(Wiring(lv_lead_open="a")), OPEN),
    Fault("LV lead of B open", _wired(Wiring(lv_lead_open="b")), OPEN),
    Fault("dead voltmeter", _dead_voltmeter, VOLTMETER),
    Fault("wrong multiplier", _wrong_multiplier, VOLTMETER),
    Fault("link left on", _wired(Wiring(link_left_on=True)), LV_SHORT),
    Fault("tap error", _tap_error, TAPS),
    Fault("shorted turn", _shorted_turn, TURN),
)
