"""How long a hazard may last until its trip has acted, and what a runaway adds until then."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drivers.outputs import LOOP_REGULATOR, LV_REGULATOR
from sequences.scan import LV_CURRENT

if TYPE_CHECKING:
    from acquire.storm.witness import Witness

WANDERED = 0.02  # of travel: where a runaway trips
REST_S = 3.0  # that a runaway's trip needs before it is armed
RESTARTED = 2  # readings lost where a ramp's command and a stop's begin the count anew


def promised(at: Witness) -> float:
    """Return the LV supply's e.m.f. less what its runaway has added within its trip's time."""
    added = min(at.ran_away[LV_REGULATOR], most_runaway(at, LV_REGULATOR))
    full = at.expected.lv_regulator.full_voltage_v / at.plant.nameplate.lv_voltage_v
    return at.promised - added * full


def most_runaway(at: Witness, regulator: str) -> float:
    """Return how far a regulator may travel by itself until its trip has acted, of its travel.

    One that was on its way is found by its time of travel, category 1, which it does not obey:
    the trips on what it drives are what holds it.
    """
    if regulator in at.on_its_way or regulator not in at.drifted_per_s:
        return 1.0
    rate = at.drifted_per_s[regulator]
    trip_s = cut_s(at, regulator, 2)
    return 1.0 if trip_s is None else WANDERED + rate * (REST_S + trip_s)


def driven_by_runaways(at: Witness) -> float:
    """Return the loop current that runaways drive within their trips' time, share of rated."""
    plate, expected = at.plant.nameplate, at.expected
    drop = expected.loop_impedance_ohm * plate.hv_current_a
    driven = 0.0
    for name, to_loop in ((LV_REGULATOR, 2 * plate.ratio), (LOOP_REGULATOR, 1.0)):
        if at.ran_away[name]:
            added = min(at.ran_away[name], most_runaway(at, name))
            driven += added * expected.regulator(name).full_voltage_v * to_loop / drop
    return driven


def cut_s(at: Witness, channel: str, readings: int) -> float | None:
    """Return how long from a hazard on a channel to a stand that is dead; None: for ever."""
    seen, acted = at.patience.seen_s(channel, readings), at.patience.acted_s()
    return None if seen is None or acted is None else seen + acted


def lv_supply_cut_s(at: Witness) -> float | None:
    """Return how long the trip on LV supply current takes, a ramp and its stop under way."""
    return cut_s(at, LV_CURRENT, 2 + RESTARTED)


def runaway_cut_s(at: Witness, channel: str) -> float | None:
    """Return how long the trip on a runaway that this channel shows takes, its rest awaited."""
    cut = cut_s(at, channel, 2)
    return None if cut is None else cut + REST_S
