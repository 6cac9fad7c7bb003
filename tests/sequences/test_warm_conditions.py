"""Trips of temperatures and of the room: each limit from both of its sides."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import pytest

from acquire.configuration import load_scenario
from acquire.stand import expected_of
from sequences import warm_conditions as warm
from sequences.conditions import View
from sequences.evidence import Evidence, unit_c
from sequences.expected import Expected
from sequences.scan import TOP_LIQUID_A, TOP_LIQUID_B, WINDINGS
from sequences.schedule import Soak
from tests.sequences.built import scan
from tests.sequences.paper import Paper, shipped

WINDING_CHANNELS = tuple(f"{unit}.{place}" for unit in "ab" for place in WINDINGS)
A_MINUTE = 60
LIMIT_K_PER_MIN = 5.0  # the default of a schedule
EVEN = dict.fromkeys(WINDING_CHANNELS, 60.0)


@cache
def dry() -> Expected:
    """Return what the shipped dry-type pair leads one to expect: windings at most 155 degC."""
    return expected_of(load_scenario("dry_pair", "loss_test"))


def view(values: Mapping[str, float | None], expected: Expected) -> View:
    """Return what a trip looks at."""
    return View(scan(100.0, values=values), Evidence(), expected)


class TestWindings:
    def test_above_the_schedules_limit(self) -> None:
        at = view(EVEN, dry())
        assert not warm.winding_too_hot(155.0, at)
        assert warm.winding_too_hot(155.1, at)

    def test_twins_differ_by_the_means_of_their_windings(self) -> None:
        """One winding 20 K hotter is a mean of 10 K: the limit; a little more is over it."""
        for hot_c, differ in ((80.0, False), (80.2, True)):
            for channel in WINDING_CHANNELS:
                assert warm.twins_differ(0.0, view(EVEN | {channel: hot_c}, dry())) is differ

    def test_both_windings_of_a_unit_hotter_are_a_warmer_unit(self) -> None:
        for hot_c, differ in ((70.0, False), (70.1, True)):
            hot = {c: hot_c for c in WINDING_CHANNELS if c.startswith("a")}
            assert warm.twins_differ(0.0, view(EVEN | hot, dry())) is differ

    @pytest.mark.parametrize("channel", WINDING_CHANNELS)
    def test_a_unit_of_which_one_winding_is_not_read_is_not_compared(self, channel: str) -> None:
        """A mean of the others would be that of another place."""
        values: dict[str, float | None] = {**EVEN, "a.winding_lv": 140.0, channel: None}
        assert not warm.twins_differ(0.0, view(values, dry()))

    def test_a_dry_type_unit_is_as_warm_as_its_windings(self) -> None:
        values = dict(zip(WINDING_CHANNELS, (60.0, 70.0, 80.0, 90.0), strict=True))
        assert unit_c(scan(1.0, values=values), dry()) == 75.0
        assert unit_c(scan(1.0, values=values), dry(), "b") == 85.0


class TestAmbient:
    SOAK = Soak("IEC 60076-2", 16.0, ambient_from_c=10.0, ambient_to_c=40.0)

    @pytest.mark.parametrize(
        ("reads_c", "out"), [(9.9, True), (10.0, False), (40.0, False), (40.1, True)]
    )
    def test_outside_the_schedules_range(self, reads_c: float, out: bool) -> None:
        expected = replace(shipped(), schedule=replace(shipped().schedule, soak=self.SOAK))
        assert warm.ambient_out_of_range(reads_c, view({}, expected)) is out

    def test_a_loss_test_has_no_range(self) -> None:
        assert not warm.ambient_out_of_range(80.0, view({}, shipped()))


class TestRise:
    """5 K a minute over three to six minutes, and over one at the least."""

    RISES = staticmethod(warm.rises_too_fast(TOP_LIQUID_A))

    def view(self, paper: Paper, risen_k: float) -> View:
        """Return what is seen in the next second, so much warmer than at first."""
        seen = paper.scan({TOP_LIQUID_A: 20.0 + risen_k})
        return View(seen, paper.evidence.after(seen, paper.expected), paper.expected)

    def rises(self, paper: Paper, risen_k: float) -> bool:
        """Return whether it is over the limit in the next second."""
        at = self.view(paper, risen_k)
        return self.RISES(20.0 + risen_k, at)

    def test_nothing_is_known_at_first(self) -> None:
        at = View(Paper().scan(), Evidence(), shipped())
        assert not self.RISES(90.0, at)

    @pytest.mark.parametrize(("risen_k", "over"), [(5.0, False), (5.1, True)])
    def test_in_the_first_minute_a_minutes_rise_is_allowed(
        self, risen_k: float, over: bool
    ) -> None:
        """Two readings a second apart are no slope."""
        paper = Paper()
        paper.after()
        assert self.rises(paper, risen_k) is over

    @pytest.mark.parametrize("minutes", [2, 4, 6, 10, 25])
    def test_later_the_slope_since_three_to_six_minutes_ago_counts(self, minutes: int) -> None:
        """Steadily 4.9 K a minute is let go, and 5.1 is not, however long it lasts."""
        for rate, over in ((4.9, False), (5.1, True)):
            paper, fast = Paper(), []
            for second in range(minutes * A_MINUTE):
                at = self.view(paper, rate * second / A_MINUTE)
                paper.evidence = at.evidence
                fast.append(self.RISES(20.0 + rate * second / A_MINUTE, at))
            assert any(fast[A_MINUTE + 1 :]) is over
            assert fast[-1] is over

    def test_a_jump_after_hours_of_rest_is_over_within_its_reading(self) -> None:
        """The longest memory is six minutes: 30 K."""
        paper = Paper()
        for _ in range(20 * A_MINUTE):
            paper.after()
        assert self.rises(paper, 31.0)

    def test_a_fall_is_no_rise(self) -> None:
        paper = Paper()
        for _ in range(5 * A_MINUTE):
            paper.after()
        assert not self.rises(paper, -60.0)

    def test_what_was_not_read_for_long_has_had_its_time_to_rise(self) -> None:
        """An hour without a sensor, and 40 K warmer after it: no fault."""
        paper = Paper()
        for _ in range(8 * A_MINUTE):
            paper.after()
        paper.now += 3600 * 1_000_000_000
        assert not self.rises(paper, 40.0)

    def test_each_channel_has_a_memory_of_its_own(self) -> None:
        paper = Paper()
        for _ in range(5 * A_MINUTE):
            paper.after()
        at = self.view(paper, 40.0)
        assert not warm.rises_too_fast(TOP_LIQUID_B)(20.0, at)
        assert set(at.evidence.warmed) == {TOP_LIQUID_A, TOP_LIQUID_B}

    def test_a_reading_without_a_value_leaves_what_was_known(self) -> None:
        paper = Paper()
        paper.after()
        before = paper.evidence.warmed
        assert paper.after({TOP_LIQUID_A: None, TOP_LIQUID_B: None}).warmed == before
