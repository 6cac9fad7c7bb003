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
from drivers.simulated.circuit import Wiring

LV_SHORT = frozenset({"lv_short_or_shorted_turn", "lv_supply_current"})
OPEN = frozenset({"loop_open"})
VOLTMETER = frozenset({"voltmeter_did_not_follow"})
TAPS = frozenset({"ratio_mismatch", "not_opposed", "impedance_not_as_nameplate"})
TURN = LV_SHORT | {"shorted_turn"}


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
    rehearsal.stand.wiring = Wiring(tap_steps=d.choice((-3, -2, -1, -1, 1, 1, 2, 3)))


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
