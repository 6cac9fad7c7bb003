"""No trip of the table acts where it is not armed; those that are armed always act early too."""

from collections.abc import Iterator
from itertools import islice
from math import inf

import pytest

from acquire.configuration import Scenario
from drivers.outputs import LV_REGULATOR
from sequences.conditions import View, always
from sequences.following import Rest
from sequences.protection import Protection
from sequences.scan import Scan
from sequences.trips import TRIPS, Trip
from tests.stand.conftest import S, Watch, Watched
from tests.stand.hands import nothing, open_soon
from tests.stand.held import proving
from tests.stand.provocation import Provocation, provoked
from tests.stand.provocations import EARLY, SILENT

# A raise at half the impedance voltage is too small to be judged on this pair, and above it the
# gate lets nothing through before the proof is complete: no plant gets there, scans are built.
BUILT = "lv_voltage_does_not_follow"
# Their limits are of what is armed: without a prompt nothing can be over its time.
NEVER_OVER = {"prompt_unanswered", "stale_channel"}

ALWAYS = [trip for trip in TRIPS if trip.armed is always]
SOMETIMES = [trip for trip in TRIPS if trip.armed is not always and trip.name != BUILT]


@pytest.mark.parametrize("trip", SOMETIMES, ids=lambda trip: trip.name)
def test_stays_silent_where_it_is_not_armed(watch: Watch, quick: Scenario, trip: Trip) -> None:
    """What is over the limit is no trip where the trip has nothing to protect."""
    provocation = SILENT[trip.name]
    watched = provoked(watch, provocation, quick)
    over = [over_unarmed(trip, scan, watched) for scan in watching(watched, provocation)]
    assert any(over) or trip.name in NEVER_OVER
    trips = [e.facts["name"] for e in watched.told("trip")]
    assert trips[:1] == [provocation.instead][: len(provocation.instead)]
    assert trip.name not in trips


def watching(watched: Watched, provocation: Provocation) -> Iterator[Scan]:
    """Go on for as long as the provocation says, or to the end of the run."""
    for scan in watched.scans():
        if watched.state == "running":
            yield scan
        if scan.now > watched.hand_t + provocation.watch_s * S:
            return


def over_unarmed(trip: Trip, scan: Scan, watched: Watched) -> bool:
    """Return whether anything in a scan is over the limit of a trip that is not armed."""
    cycle = watched.rehearsal.cycle
    at = View(scan, cycle.evidence, cycle.expected)
    if trip.armed(at):
        return False
    if trip.watch is None:
        return trip.exceeded(0.0, at)
    values = [r.value for r in scan.arrived if r.channel == trip.watch]
    return any(trip.exceeded(inf if v is None else v, at) for v in values)


def test_a_voltage_that_does_not_follow_is_no_trip_before_the_proof_is_complete(
    watch: Watch, quick: Scenario
) -> None:
    """Before the proof the checks of the prove stage judge voltages, and no trip does."""
    trip = next(t for t in TRIPS if t.name == BUILT)
    watched = provoked(watch, Provocation(proving, nothing), quick)
    cycle = watched.rehearsal.cycle
    deaf = {LV_REGULATOR: (Rest(0.2, 90.0), Rest(0.5, 91.0))}
    unproven, proven = Protection(cycle.expected, (trip,)), Protection(cycle.expected, (trip,))
    acted, would_act = [], []
    for scan in islice(watched.scans(), 6):
        evidence = cycle.evidence._replace(rest=deaf, proof_complete=None)
        acted.append(unproven.check(scan, evidence))
        would_act.append(proven.check(scan, evidence._replace(proof_complete=1)))
    assert acted == [None] * 6
    assert trip in would_act


@pytest.mark.parametrize("trip", ALWAYS, ids=lambda trip: trip.name)
def test_what_is_armed_always_acts_before_anything_is_switched_on(
    watch: Watch, quick: Scenario, trip: Trip
) -> None:
    """Nothing has to be energised for these: they act while people are still being asked."""
    watched = provoked(watch, EARLY[trip.name], quick)
    for _scan in watched.scans():
        pass
    assert watched.told("trip")[0].facts["name"] == trip.name
    assert not watched.told("command")
    assert watched.state == ("aborted", "stopped")[trip.category]
    assert open_soon(watched.plant)
