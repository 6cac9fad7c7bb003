"""Protection counts readings and delays as the table of trips says, and nothing else."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from drivers.outputs import LV, LV_REGULATOR
from drivers.reading import Reading
from sequences.conditions import View, always, saying
from sequences.evidence import Evidence
from sequences.protection import Protection
from sequences.scan import LV_CURRENT, LV_VOLTAGE, Scan
from sequences.trips import TRIPS, Trip
from tests.sequences.built import fails, ns, over, reads, scan, told
from tests.sequences.paper import shipped

LIMIT = 10.0
CHANNEL = LV_VOLTAGE


def above(value: float, _at: View) -> bool:
    """Above the limit of these tests."""
    return value > LIMIT


def lv_is_told_to_close(at: View) -> bool:
    """Armed by a command."""
    return at.scan.outputs[LV].commanded > 0.5


def trip(name: str = "over", **columns: Any) -> Trip:
    """Return a trip on LV voltage above the limit, at the first reading, but for what is given."""
    row: dict[str, Any] = {"watch": CHANNEL, "category": 0, "armed": always, "exceeded": above}
    row |= {"hazard": "", "seen": saying(name), "check": ""}
    return Trip(name, **(row | columns))


def acted(protection: Protection, *scans: Scan) -> list[str | None]:
    """Return the name of the trip that acts in each scan, None where none does."""
    found = (protection.check(s, Evidence()) for s in scans)
    return [t.name if t else None for t in found]


def judged(row: Trip, *scans: Scan) -> list[bool]:
    """Return in which scans a trip acts that stands alone in its table."""
    return [name is not None for name in acted(Protection(shipped(), (row,)), *scans)]


def volts(*values: float, t: float) -> list[Reading]:
    """Return readings a tenth of a second apart, the last at `t`."""
    count = len(values)
    return [reads(CHANNEL, v, t - (count - 1 - i) / 10) for i, v in enumerate(values)]


class TestReadings:
    def test_one_reading_of_two_is_no_trip(self) -> None:
        """A trip of two readings acts with the second."""
        scans = scan(1, volts(11, t=0.9)), scan(2, volts(11, t=1.9))
        assert judged(trip(readings=2), *scans) == [False, True]

    def test_two_in_one_scan_are_two(self) -> None:
        """Every reading that arrived counts, not every scan."""
        assert judged(trip(readings=2), scan(1, volts(11, 12, t=0.9))) == [True]

    def test_a_scan_without_a_reading_counts_nothing(self) -> None:
        """The image still holds the old value, which is not judged twice."""
        scans = scan(1, volts(11, t=0.9)), scan(2, values={CHANNEL: 11.0})
        assert judged(trip(readings=2), *scans) == [False, False]

    def test_they_have_to_follow_each_other(self) -> None:
        """A harmless reading in between begins the count anew."""
        scans = [scan(n, volts(v, t=n - 0.1)) for n, v in enumerate((11, 9, 11, 11), start=1)]
        assert judged(trip(readings=2), *scans) == [False, False, False, True]

    def test_a_harmless_one_counts_though_the_scan_had_the_same_before(self) -> None:
        """9, 11, 9 in one scan and 11 in the next are not two in a row."""
        scans = scan(1, volts(9, 11, 9, t=0.9)), scan(2, volts(11, t=1.9))
        assert judged(trip(readings=2), *scans) == [False, False]

    def test_what_fails_counts_neither_way(self) -> None:
        """A reading without a value is no proof that the limit holds."""
        scans = (
            scan(1, volts(11, t=0.9)),
            scan(2, [fails(CHANNEL, 1.9)]),
            scan(3, volts(11, t=2.9)),
        )
        assert judged(trip(readings=2), *scans) == [False, False, True]

    def test_over_range_is_over_the_limit(self) -> None:
        """A meter that says over range says that it is too much."""
        scans = scan(1, [over(CHANNEL, 0.9)]), scan(2, [over(CHANNEL, 1.9)])
        assert judged(trip(readings=2), *scans) == [False, True]

    def test_over_range_after_a_failure_in_the_same_scan_counts(self) -> None:
        """Neither has a value, and they are not the same."""
        assert judged(trip(), scan(1, [fails(CHANNEL, 0.5), over(CHANNEL, 0.9)])) == [True]


class TestCommands:
    def test_a_reading_begun_before_the_command_counts_for_nothing(self) -> None:
        """What was asked before the regulator was told knows nothing of it."""
        early = reads(CHANNEL, 11, 1.2, began=0.9)
        late = reads(CHANNEL, 11, 1.9, began=1.0)
        outputs = told(LV_REGULATOR, 0.5, since=1.0)
        scans = scan(2, [early], outputs=outputs), scan(3, [late], outputs=outputs)
        assert judged(trip(since=LV_REGULATOR), *scans) == [False, True]

    def test_one_begun_before_hides_none_begun_after(self) -> None:
        """The same value twice in a scan, asked before and after the command: the second counts."""
        early, late = reads(CHANNEL, 11, 1.2, began=0.9), reads(CHANNEL, 11, 1.9)
        outputs = told(LV_REGULATOR, 0.5, since=1.0)
        assert judged(trip(since=LV_REGULATOR), scan(2, [early, late], outputs=outputs)) == [True]

    def test_a_new_command_begins_the_count_anew(self) -> None:
        """One reading after each of two commands is not two after the last."""
        first, second = (told(LV_REGULATOR, to, since=since) for to, since in ((0.5, 0), (0.6, 1)))
        scans = (
            scan(1, volts(11, t=0.9), outputs=first),
            scan(2, volts(11, t=1.9), outputs=second),
            scan(3, volts(11, t=2.9), outputs=second),
        )
        row = trip(readings=2, since=LV_REGULATOR)
        assert judged(row, *scans) == [False, False, True]

    def test_from_rest_waits_for_the_rest(self) -> None:
        """While the output is on its way nothing counts, nor what was asked before it arrived."""
        row = trip(since=LV_REGULATOR, from_rest=True)
        moving = told(LV_REGULATOR, 0.5, since=0.5, rest=None)
        there = told(LV_REGULATOR, 0.5, since=0.5, rest=1.95)
        scans = (
            scan(1, volts(11, t=0.9), outputs=moving),
            scan(2, volts(11, t=1.9), outputs=there),
            scan(3, volts(11, t=2.9), outputs=there),
        )
        assert judged(row, *scans) == [False, False, True]

    def test_what_arrived_unarmed_does_not_count_once_armed(self) -> None:
        """The count begins with the arming."""
        row = trip(readings=2, armed=lv_is_told_to_close)
        closed = told(LV, 1.0)
        scans = (
            scan(1, volts(11, t=0.9)),
            scan(2, volts(11, t=1.9), outputs=closed),
            scan(3, volts(11, t=2.9), outputs=closed),
        )
        assert judged(row, *scans) == [False, False, True]

    def test_disarming_begins_the_count_anew(self) -> None:
        """Armed, not armed, armed: one reading each is never two."""
        row = trip(readings=2, armed=lv_is_told_to_close)
        commands = (told(LV, 1.0), told(LV, 0.0), told(LV, 1.0))
        scans = [scan(n, volts(11, t=n - 0.1), outputs=o) for n, o in enumerate(commands, start=1)]
        assert judged(row, *scans) == [False, False, False]


class TestDelay:
    def test_it_counts_from_the_first_reading_over_the_limit(self) -> None:
        """Not from the scan that saw it first, nor from the fault."""
        scans = [scan(n, volts(11, t=n - 0.5)) for n in (1, 2, 3, 4)]
        assert judged(trip(delay_s=2.5), *scans) == [False, False, True, False]

    def test_it_acts_in_the_first_scan_that_sees_it_over(self) -> None:
        """No further reading has to come for that."""
        scans = scan(1, volts(11, t=0.5)), scan(1.4), scan(1.5)
        assert judged(trip(delay_s=1.0), *scans) == [False, False, True]

    def test_a_harmless_reading_ends_it(self) -> None:
        """What is over the limit now and then is not over it for the delay."""
        scans = scan(1, volts(11, t=0.5)), scan(2, volts(9, 11, t=1.9)), scan(2.8), scan(2.9)
        assert judged(trip(delay_s=1.0), *scans) == [False, False, False, True]

    def test_a_new_command_ends_it(self) -> None:
        """What the last command was given time for, the next is given too."""
        first, second = (told(LV_REGULATOR, to, since=since) for to, since in ((0.5, 0), (0.6, 1)))
        row = trip(delay_s=1.0, since=LV_REGULATOR)
        scans = scan(1, volts(11, t=0.5), outputs=first), scan(2, outputs=second)
        assert judged(row, *scans) == [False, False]

    def test_disarming_ends_it(self) -> None:
        """A trip that is no longer armed does not act on a delay that has run out."""
        row = trip(delay_s=1.0, armed=lv_is_told_to_close)
        scans = scan(1, volts(11, t=0.5), outputs=told(LV, 1.0)), scan(2)
        assert judged(row, *scans) == [False, False]


class TestHangs:
    """The contactor told to open at 0, read closed just after, and then nobody reads for a while.

    The shipped contacts are polled every 0.2 s; its delay is 0.5 s.
    """

    row = next(t for t in TRIPS if t.name == "lv_contactor_will_not_open")

    def hung(self, now: float, *arrived: Reading, newest: float) -> Scan:
        """Return a scan whose newest reading of the contact is of `newest`, closed."""
        at = scan(now, arrived, outputs=told(LV, 0.0))
        image = {**at.image, LV: reads(LV, 1.0, newest)} | {r.channel: r for r in arrived}
        return replace(at, image=image, alive={**at.alive, LV: ns(newest)})

    def first(self) -> Scan:
        return self.hung(0.06, reads(LV, 1.0, 0.05), newest=0.05)

    def test_a_delay_that_passed_while_nobody_read_is_no_trip(self) -> None:
        """The next reading shows that the contactor opened long ago."""
        open_ = self.hung(0.8, reads(LV, 0.0, 0.75), newest=0.75)
        assert judged(self.row, self.first(), self.hung(0.7, newest=0.05), open_) == [False] * 3

    def test_a_failure_is_no_reading_that_tells(self) -> None:
        """That nobody answered shows neither an open contact nor a closed one."""
        failed = self.hung(0.8, fails(LV, 0.7), newest=0.05)
        assert judged(self.row, self.first(), failed) == [False, False]

    def test_one_reading_is_not_enough_where_the_next_should_have_come(self) -> None:
        """Also where an answer may take so long that it is not yet overdue."""
        slow = replace(shipped(), latencies_s={**shipped().latencies_s, LV: 1.0})
        protection = Protection(slow, (self.row,))
        assert acted(protection, self.first(), self.hung(0.7, newest=0.05)) == [None, None]

    def test_the_next_reading_tells_at_once(self) -> None:
        """It spans the delay with the first."""
        closed = self.hung(0.8, reads(LV, 1.0, 0.75), newest=0.75)
        assert judged(self.row, self.first(), self.hung(0.7, newest=0.05), closed) == [
            False,
            False,
            True,
        ]

    def test_while_readings_come_the_clock_tells(self) -> None:
        """Readings at 0.05, 0.25 and 0.45 s: over at 0.55 s, before the next."""
        more = [self.hung(t + 0.01, reads(LV, 1.0, t), newest=t) for t in (0.25, 0.45)]
        ends = self.hung(0.54, newest=0.45), self.hung(0.55, newest=0.45)
        assert judged(self.row, self.first(), *more, *ends) == [False] * 4 + [True]

    def test_nobody_waits_for_a_contact_that_is_stale(self) -> None:
        """Its last reading was of a closed contact: it may be live."""
        scans = self.first(), self.hung(1.05, newest=0.05), self.hung(1.06, newest=0.05)
        assert judged(self.row, *scans) == [False, False, True]


class TestChoice:
    def test_each_acts_once_a_run(self) -> None:
        """The stop that it began is not begun again."""
        scans = scan(1, volts(11, t=0.9)), scan(2, volts(11, t=1.9))
        assert judged(trip(), *scans) == [True, False]

    def test_the_most_urgent_acts(self) -> None:
        """Category 0 before 1, and among those the one that stops the heartbeat."""
        table = (trip("later", category=1), trip("at once"), trip("withheld", withholds=True))
        protection = Protection(shipped(), table)
        scans = [scan(n, volts(11, t=n - 0.1)) for n in (1, 2, 3)]
        assert acted(protection, *scans) == ["withheld", "at once", "later"]

    def test_of_equals_the_first_of_the_table_acts(self) -> None:
        """The order of the table says which of two names a fault gets."""
        protection = Protection(shipped(), (trip("first"), trip("second")))
        assert acted(protection, scan(1, volts(11, t=0.9))) == ["first"]

    def test_what_watches_no_channel_is_judged_once_a_scan(self) -> None:
        """It needs no reading to act."""
        row = trip(watch=None, exceeded=lambda _value, at: at.scan.now >= 2_000_000_000)
        assert judged(row, scan(1), scan(2)) == [False, True]


class TestOverRangeInProve:
    row = next(t for t in TRIPS if t.name == "lv_supply_current")

    def both(self, lv_position: float, loop_closed: float) -> list[bool]:
        outputs = (
            told(LV, 1.0)
            | told(LV_REGULATOR, lv_position)
            | told("loop_contactor", loop_closed, since=0.0)
        )
        return judged(
            self.row, scan(9, [over(LV_CURRENT, 8), over(LV_CURRENT, 9)], outputs=outputs)
        )

    def test_it_is_no_trip_while_the_loop_is_closed_at_half_the_impedance_voltage(self) -> None:
        """There it is the finding *aiding*, which the trip must not steal."""
        assert self.both(0.0174, 1.0) == [False]

    def test_it_is_one_with_the_loop_open(self) -> None:
        """Nothing that circulates explains it there."""
        assert self.both(0.0174, 0.0) == [True]

    def test_it_is_one_at_rated_voltage(self) -> None:
        """Above half the impedance voltage the supply carries a few per cent of rated."""
        assert self.both(0.87, 1.0) == [True]


Step = tuple[list[tuple[float | None, bool]], bool]


@given(
    steps=st.lists(
        st.tuples(
            st.lists(st.tuples(st.sampled_from([9.0, 11.0, None]), st.booleans()), max_size=4),
            st.booleans(),
        ),
        max_size=8,
    ),
    needed=st.integers(1, 3),
)
def test_it_counts_as_a_plain_count_does(steps: Sequence[Step], needed: int) -> None:
    """Any readings, in any scans, with commands in between: as counting one by one would have it.

    A step is a scan: its readings, each with whether it began before the last command, and whether
    a new command is given after it.
    """
    protection = Protection(shipped(), (trip(readings=needed, since=LV_REGULATOR),))
    now, command, row, acted_once = 0.0, 0.0, 0, False
    for number, (readings, commanded) in enumerate(steps, start=1):
        arrived, expected = [], False
        for i, (value, early) in enumerate(readings):
            t = now + (i + 1) / 10
            arrived.append(
                fails(CHANNEL, t)
                if value is None
                else reads(CHANNEL, value, t, began=command - 0.01 if early else t)
            )
            if value == 9.0:
                row = 0
            elif value == 11.0 and not early:
                row += 1
                expected = expected or row >= needed
        now = float(number)
        outputs = told(LV_REGULATOR, 0.1 + number / 100, since=command)
        found = protection.check(scan(now, arrived, outputs=outputs), Evidence())
        assert (found is not None) == (expected and not acted_once)
        acted_once = acted_once or expected
        if commanded:
            command, row = now, 0
