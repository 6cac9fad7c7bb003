"""Protection: every trip of the table, judged in every scan, before anything else.

It keeps the counts that "n readings" and delays need, and nothing more.
"""

from collections import defaultdict

from drivers.reading import OVER_RANGE, Reading
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
        self._counts: dict[str, tuple[int, int]] = {}
        self._acted: set[str] = set()

    def check(self, scan: Scan, evidence: Evidence) -> Trip | None:
        """Return the most urgent trip that acts in this scan, None where none does."""
        at = View(scan, evidence, self._expected)
        acting = [t for t in self._every_scan if t.armed(at) and t.exceeded(0.0, at)]
        for reading in scan.arrived:
            trips = self._by_channel.get(reading.channel, ())
            acting.extend(t for t in trips if self._judge(t, reading, at))
        fresh = [t for t in acting if t.name not in self._acted]
        if not fresh:
            return None
        trip = min(fresh, key=_urgency)
        self._acted.add(trip.name)
        return trip

    def _judge(self, trip: Trip, reading: Reading, at: View) -> bool:
        """Count one reading; return whether its trip acts."""
        over = reading.reason == OVER_RANGE
        if reading.value is None and not over:
            return False
        if trip.since is not None and not _counts(trip, trip.since, reading, at):
            return False
        if not trip.armed(at) or not self._exceeds(trip, reading, over, at):
            self._counts.pop(trip.name, None)
            return False
        count, first = self._counts.get(trip.name, (0, reading.t))
        self._counts[trip.name] = (count + 1, first)
        return count + 1 >= trip.readings and reading.t - first >= trip.delay_s * S

    def _exceeds(self, trip: Trip, reading: Reading, over: bool, at: View) -> bool:
        value = reading.value
        if over:
            value = float("inf") if not tolerates_over_range(trip, at) else 0.0
        return value is not None and trip.exceeded(value, at)


def _counts(trip: Trip, output: str, reading: Reading, at: View) -> bool:
    """Return whether a reading began after the last command to its output, or after its rest."""
    state = at.scan.outputs[output]
    begins = state.at_rest_since if trip.from_rest else state.since
    return begins is not None and reading.began >= begins


def tolerates_over_range(trip: Trip, at: View) -> bool:
    """Return whether over range is not counted: in prove it is the finding *aiding*, not a trip."""
    return trip.name == "lv_supply_current" and proving_with_loop(at)


def _urgency(trip: Trip) -> tuple[int, bool]:
    return trip.category, not trip.withholds
