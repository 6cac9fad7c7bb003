"""Protection shows every trip what it may look at, and lets no reading hide another."""

from drivers.outputs import LV
from sequences.evidence import Evidence
from sequences.protection import Protection
from sequences.scan import HV_CURRENT
from tests.sequences.built import reads, scan, told
from tests.sequences.paper import shipped
from tests.sequences.test_protection import CHANNEL, acted, judged, lv_is_told_to_close, trip


def test_a_trip_sees_the_evidence_and_the_scan() -> None:
    """Residual and opposition are judged by what was measured before."""
    row = trip(exceeded=lambda _value, at: at.evidence.revoked and at.scan.number == 1)
    reading = [reads(CHANNEL, 11.0, 0.9)]
    assert Protection(shipped(), (row,)).check(scan(1, reading), Evidence()) is None
    revoked = Evidence(revoked=True)
    assert Protection(shipped(), (row,)).check(scan(1, reading), revoked) is row


def test_one_that_watches_nothing_is_armed_by_the_scan() -> None:
    """A record that is late is no trip while everything is open."""
    row = trip(watch=None, armed=lv_is_told_to_close, exceeded=lambda _value, _at: True)
    assert judged(row, scan(1), scan(2, outputs=told(LV, 1.0))) == [False, True]


def test_a_channel_that_no_trip_watches_hides_none_that_one_does() -> None:
    """Readings arrive in any order."""
    arrived = [reads(HV_CURRENT, 1.0, 0.8), reads(CHANNEL, 11.0, 0.9)]
    assert judged(trip(), scan(1, arrived)) == [True]


def test_a_harmless_repetition_hides_none_that_follows() -> None:
    """The same value twice is passed by; what comes behind it is judged."""
    row = trip(watch=HV_CURRENT)
    arrived = [reads(CHANNEL, 9.0, 0.7), reads(CHANNEL, 9.0, 0.8), reads(HV_CURRENT, 11.0, 0.9)]
    assert acted(Protection(shipped(), (trip(), row)), scan(1, arrived)) == ["over"]


def test_trips_of_one_channel_count_each_for_itself() -> None:
    """One that is not over ends no count of another, nor fails for having none."""
    never = trip("never", exceeded=lambda _value, _at: False)
    table = (never, trip("twice", readings=2))
    scans = [scan(n, [reads(CHANNEL, 11.0, n - 0.1)]) for n in (1, 2)]
    assert acted(Protection(shipped(), table), *scans) == [None, "twice"]


def test_a_reading_from_the_very_start_counts() -> None:
    """Without a command there is nothing to be older than."""
    assert judged(trip(), scan(1, [reads(CHANNEL, 11.0, 0.0)])) == [True]
