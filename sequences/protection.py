"""Protection: every trip of the table, judged in every scan, before anything else.

It keeps the counts that "n readings" and delays need, and nothing more.
"""

from collections import defaultdict
from math import inf
from typing import NamedTuple

from drivers.reading import OVER_RANGE, Reading
from sequences.age_conditions import overdue, unread
from sequences.conditions import View, proving_with_loop
from sequences.evidence import Evidence
from sequences.expected import Expected
from sequences.scan import S, Scan
from sequences.trips import TRIPS, Trip


class Protection:
    """Judges the trips of a table; each acts once a run."""

    def __init__(self, expected: Expected, table: tuple[Trip, ...] = TRIPS) -> None:
        self._expected = expected
        self._by_channel: dict[str, list[Trip]] = defaultdict(list)
        for trip in table:
            if trip.watch is not None:
                self._by_channel[trip.watch].append(trip)
        self._every_scan = [trip for trip in table if trip.watch is None]
        self._delayed = {trip.name: trip for trip in table if trip.delay_s}
        self._counts: dict[str, Count] = {}
        self._acted: set[str] = set()

    def check(self, scan: Scan, evidence: Evidence) -> Trip | None:
        """Return the most urgent trip that acts in this scan, None where none does."""
        at = View(scan, evidence, self._expected)
        # The rarer first: whether a trip is armed is asked only of what is over its limit.
        acting = [t for t in self._every_scan if t.exceeded(0.0, at) and t.armed(at)]
        quiet: dict[str, float] = {}
        for reading in scan.arrived:
            channel, value = reading.channel, reading.value
            trips = self._by_channel.get(channel)
            # The same harmless value again in the same scan is harmless again.
            if trips is None or (value is not None and quiet.get(channel) == value):
                continue
            if value is not None:
                over = [t for t in trips if t.exceeded(value, at) and t.armed(at)]
            elif reading.reason == OVER_RANGE:
                value = inf
                over = [t for t in trips if t.exceeded(_tolerated(t, at), at) and t.armed(at)]
            else:
                continue
            if over:
                quiet.pop(channel, None)
                acting += [t for t in over if self._count(t, reading, at)]
            else:
                quiet[channel] = value
            if self._counts:
                self._begin_anew([t for t in trips if t not in over])
        acting += self._delay_over(at)
        fresh = [t for t in acting if t.name not in self._acted]
        if not fresh:
            return None
        trip = min(fresh, key=_urgency)
        self._acted.add(trip.name)
        return trip

    def _count(self, trip: Trip, reading: Reading, at: View) -> bool:
        """Count a reading over the limit; return whether its trip acts at once."""
        begins = _begins(trip, at)
        if begins is None or reading.began < begins:
            return False
        count = self._counts.get(trip.name)
        if count is None or count.begins != begins:
            count = Count(0, reading.t, begins)
        count = self._counts[trip.name] = count._replace(readings=count.readings + 1)
        return not trip.delay_s and count.readings >= trip.readings

    def _begin_anew(self, trips: list[Trip]) -> None:
        for trip in trips:
            self._counts.pop(trip.name, None)

    def _delay_over(self, at: View) -> list[Trip]:
        """Return the trips whose delay since their first reading over the limit is over."""
        return [
            trip
            for name, count in self._counts.items()
            if (trip := self._delayed.get(name)) is not None
            and count.readings >= trip.readings
            and _is_over(trip, count, at)
            and count.begins == _begins(trip, at)
            and trip.armed(at)
        ]


class Count(NamedTuple):
    """Readings over the limit so far, the instant of the first, and since when readings count."""

    readings: int
    first: int
    begins: int


def _is_over(trip: Trip, count: Count, at: View) -> bool:
    """Return whether a delay is over: by its readings, or by the clock while they come in time.

    Where link or program hang, time passes in which nobody has looked: the next reading tells.
    """
    delay, channel = trip.delay_s * S, trip.watch
    if channel is None or at.scan.now - count.first < delay:
        return False
    if at.scan.alive[channel] - count.first >= delay or unread(at, channel):
        return True
    polled_meanwhile = at.expected.periods_s[channel] < trip.delay_s
    return count.readings > polled_meanwhile and not overdue(at, channel)


def _begins(trip: Trip, at: View) -> int | None:
    """Return when a reading has to have begun to count: the last command, or the rest after it."""
    if trip.since is None:
        return 0
    state = at.scan.outputs[trip.since]
    return state.at_rest_since if trip.from_rest else state.since


def _tolerated(trip: Trip, at: View) -> float:
    """Return what over range is judged as: in prove it is the finding *aiding* and not a trip."""
    tolerated = trip.name == "lv_supply_current" and proving_with_loop(at)
    return 0.0 if tolerated else inf


def _urgency(trip: Trip) -> tuple[int, bool]:
    return trip.category, not trip.withholds
