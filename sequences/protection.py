"""Protection: every trip of the table, judged in every scan, before anything else.

It keeps the counts that "n readings" and delays need, and nothing more.
"""

from collections import defaultdict
from math import inf
from typing import NamedTuple

from drivers.reading import OVER_RANGE, Reading
from sequences.conditions import View, proving_with_loop
from sequences.evidence import Evidence
from sequences.expected import Expected
from sequences.scan import S, Scan
from sequences.trips import TRIPS, Trip

UNSEEN = -inf  # no reading has this value


class Protection:
    """Judges the trips of a table; each acts once a run."""

    def __init__(self, expected: Expected, table: tuple[Trip, ...] = TRIPS) -> None:
        self._expected = expected
        self._by_channel: dict[str, list[Trip]] = defaultdict(list)
        for trip in table:
            if trip.watch is not None:
                self._by_channel[trip.watch].append(trip)
        self._every_scan = [trip for trip in table if trip.watch is None]
        self._counts: dict[str, Count] = {}
        self._acted: set[str] = set()

    def check(self, scan: Scan, evidence: Evidence) -> Trip | None:
        """Return the most urgent trip that acts in this scan, None where none does."""
        at = View(scan, evidence, self._expected)
        acting = [t for t in self._every_scan if t.armed(at) and t.exceeded(0.0, at)]
        quiet: dict[str, float | None] = {}
        for reading in scan.arrived:
            channel = reading.channel
            trips = self._by_channel.get(channel)
            # The same value again in the same scan is judged the same.
            if trips is None or quiet.get(channel, UNSEEN) == reading.value:
                continue
            acting += [t for t in trips if self._judge(t, reading, at)]
            if not self._counts:
                quiet[channel] = reading.value
        fresh = [t for t in acting if t.name not in self._acted]
        if not fresh:
            return None
        trip = min(fresh, key=_urgency)
        self._acted.add(trip.name)
        return trip

    def _judge(self, trip: Trip, reading: Reading, at: View) -> bool:
        """Count one reading; return whether its trip acts."""
        value = reading.value
        if value is None:
            if reading.reason != OVER_RANGE:
                return False
            value = 0.0 if tolerates_over_range(trip, at) else inf
        if not trip.exceeded(value, at):
            self._counts.pop(trip.name, None)
            return False
        begins = _begins(trip, at)
        if begins is None or reading.began < begins:
            return False
        if not trip.armed(at):
            self._counts.pop(trip.name, None)
            return False
        count = self._counts.get(trip.name)
        if count is None or count.begins != begins:
            count = Count(0, reading.t, begins)
        count = self._counts[trip.name] = count._replace(readings=count.readings + 1)
        return count.readings >= trip.readings and reading.t - count.first >= trip.delay_s * S


class Count(NamedTuple):
    """Readings over the limit so far, the instant of the first, and since when readings count."""

    readings: int
    first: int
    begins: int


def _begins(trip: Trip, at: View) -> int | None:
    """Return when a reading has to have begun to count: the last command, or the rest after it."""
    if trip.since is None:
        return 0
    state = at.scan.outputs[trip.since]
    return state.at_rest_since if trip.from_rest else state.since


def tolerates_over_range(trip: Trip, at: View) -> bool:
    """Return whether over range is not counted: in prove it is the finding *aiding*, not a trip."""
    return trip.name == "lv_supply_current" and proving_with_loop(at)


def _urgency(trip: Trip) -> tuple[int, bool]:
    return trip.category, not trip.withholds
