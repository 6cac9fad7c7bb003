"""Stops make the stand dead: current before voltage where there is time, at once where not."""

from collections.abc import Iterator
from typing import Any

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from drivers.reading import Reading
from sequences.run import State
from sequences.scan import (
    HV_CURRENT,
    LV_VOLTAGE,
    UPSTREAM_BREAKER,
    Move,
    Open,
    Request,
    Wait,
    WithholdHeartbeat,
)
from sequences.stopping import category_1_deadline_s
from tests.sequences.built import over, reads, scan, told
from tests.sequences.paper import shipped
from tests.sequences.story import Story, asking_for, dying, live, trip, waiting


class TestCategory1:
    def through(self, story: Story) -> Iterator[Request]:
        """Yield what the stop asks for, each done and seen by the next scan."""
        outputs, values = live()["outputs"], dict(live()["values"])
        for _ in range(20):
            request = story.step(outputs=dict(outputs), values=values)
            if story.run.ended:
                return
            yield request
            match request:
                case Move(output, to):
                    outputs |= told(output, to, since=story.now, rest=story.now + 0.5)
                    values[output] = to
                    if output == LOOP_REGULATOR:
                        values[HV_CURRENT] = 0.1
                case Open(output):
                    outputs |= told(output, 0.0, since=story.now, rest=story.now + 0.5)
                    values[output] = 0.0
                case _:
                    pass

    def test_current_goes_before_voltage(self) -> None:
        """Loop regulator, loop contactor, LV regulator, LV contactor, each seen."""
        story = Story(waiting())
        story.run.stop(trip(1), "seen", scan(0.5, **live()))
        asked = [r for r in self.through(story) if not isinstance(r, Wait)]
        assert asked == [Move(LOOP_REGULATOR, 0), Open(LOOP), Move(LV_REGULATOR, 0), Open(LV)]
        assert story.run.state is State.STOPPED
        assert not story.run.may_be_live

    def test_a_selector_is_told_to_let_go_and_not_waited_for(self) -> None:
        """Its d.c. may take minutes to die away; no main contactor closes before it is open."""
        story = Story(waiting())
        parts: dict[str, Any] = {"outputs": told(SELECTOR, 2.0), "values": {SELECTOR: 2.0}}
        story.run.stop(trip(1), "seen", scan(0.5, **parts))
        asked = [story.step(**parts) for _ in range(4)]
        assert asked == [Open(LOOP), Open(LV), Open(SELECTOR), Wait()]
        assert story.run.state is State.STOPPED

    def test_it_waits_for_the_current_to_be_gone(self) -> None:
        """The loop contactor breaks none that the regulator's zero would have ended."""
        story = Story(waiting())
        assert story.stop(trip(1), **live()) == Move(LOOP_REGULATOR, 0)
        parts = live(since=1.0, loop=0.0, rest=None)
        assert [story.step(**parts) for _ in range(5)] == [Wait()] * 5

    def test_what_circulates_by_itself_is_opened_all_the_same(self) -> None:
        """Three seconds after zero what still flows comes from the twins; the opening ends it."""
        story = Story(waiting())
        story.stop(trip(1), **live())
        parts = live(since=1.0, loop=0.0, rest=1.5)
        asked = [story.step(**parts) for _ in range(4)]
        assert asked == [Wait()] * 3 + [Open(LOOP)]

    def test_past_its_deadline_it_becomes_category_0(self) -> None:
        """A stop that does not end is cut."""
        story = Story(waiting())
        story.stop(trip(1), **live())
        began, parts = story.now, live(since=1.0, loop=0.0, rest=None)
        while story.run.state is State.STOPPING:
            story.step(**parts)
        assert story.run.state is State.ABORTING
        assert story.names("trip") == ["category_1", "stop_overdue"]
        deadline_s = category_1_deadline_s(shipped())
        assert deadline_s <= story.now - began < deadline_s + 1

    def test_a_trip_may_bring_a_deadline_of_its_own(self) -> None:
        """A stand that is run blind is ramped for two seconds and not for a minute."""
        story = Story(waiting())
        story.stop(trip(1, deadline_s=2.0), **live())
        assert self.aborts_after(story) == 2.0

    def test_a_later_trip_brings_its_deadline_into_a_stop_under_way(self) -> None:
        """A channel that goes stale during a stop ends it as soon as during the test."""
        story = Story(waiting())
        story.stop(trip(1), **live())
        story.stop(trip(1, deadline_s=2.0), **live())
        assert self.aborts_after(story) == 2.0

    def test_a_later_trip_never_moves_the_deadline_away(self) -> None:
        """A second operator stop buys no time."""
        story = Story(waiting())
        story.stop(trip(1, deadline_s=2.0), **live())
        story.stop(trip(1), **live())
        assert self.aborts_after(story) == 1.0

    def aborts_after(self, story: Story) -> float:
        began, parts = story.now, live(since=1.0, loop=0.0, rest=None)
        while story.run.state is State.STOPPING:
            story.step(**parts)
        return story.now - began

    def test_a_second_trip_is_recorded_and_the_first_stays_the_finding(self) -> None:
        """What ended the run is what is told of it."""
        story = Story(waiting())
        story.stop(trip(1), **live())
        story.stop(trip(0), **live())
        assert story.names("trip") == ["category_1", "category_0"]
        assert story.names("state") == ["stopping", "aborting"]
        assert story.run.finding is not None
        assert story.run.finding.name == "category_1"


class TestCategory0:
    def dead(self) -> dict[str, Any]:
        """Return the parts of a scan in which both contactors were seen open since."""
        return {"outputs": told(LV, 0.0, since=1.0, rest=1.1) | told(LOOP, 0.0, since=1, rest=1.1)}

    def test_it_ends_when_both_contactors_and_the_bus_are_seen(self) -> None:
        """Aborted, not live, and the heartbeat goes on."""
        story = Story(waiting())
        assert story.stop(trip(0), **live()) == Wait()
        assert story.step(**self.dead()) == Wait()
        assert story.run.state is State.ABORTED
        assert not story.run.may_be_live
        assert story.step(**self.dead()) == Wait()

    def test_a_contact_read_before_the_command_proves_nothing(self) -> None:
        """It says how it was."""
        story = Story(waiting())
        story.stop(trip(0), **live())
        late = told(LV, 0.0, since=9.0, rest=None) | told(LOOP, 0.0, since=9.0, rest=None)
        story.step(outputs=late)
        assert story.run.state is State.ABORTING

    def test_a_contactor_that_stays_closed_stops_the_heartbeat_after_two_seconds(self) -> None:
        """The second way out needs no bus."""
        story = Story(waiting())
        asked = [story.stop(trip(0), **live()), *(story.step(**dying()) for _ in range(3))]
        assert asked == [Wait(), Wait(), WithholdHeartbeat(), WithholdHeartbeat()]
        assert story.names("heartbeat.withheld") == [None]

    @pytest.mark.parametrize("bus", [reads(LV_VOLTAGE, 380.0, 2.0), over(LV_VOLTAGE, 2.0)])
    def test_a_bus_that_reads_live_stops_the_heartbeat(self, bus: Reading) -> None:
        """Contacts may lie; a voltage that stands is believed."""
        story = Story(waiting())
        story.stop(trip(0), **live())
        assert story.step(bus, **self.dead()) == WithholdHeartbeat()

    def test_a_bus_that_nobody_reads_holds_no_abort_up(self) -> None:
        """Contacts seen open are enough where no voltmeter contradicts them."""
        story = Story(waiting())
        story.stop(trip(0), **live())
        parts = self.dead() | {"values": {LV_VOLTAGE: None}}
        asked = [story.step(**parts) for _ in range(2)]
        assert asked == [Wait(), Wait()]
        assert story.run.state is State.ABORTED

    def test_behind_an_open_breaker_nothing_is_live(self) -> None:
        """Whatever is welded: aborted, not live, and no heartbeat ever again."""
        story = Story(waiting())
        story.stop(trip(0, withholds=True), **live())
        story.step(**dying(**{UPSTREAM_BREAKER: 0.0}))
        assert story.run.state is State.ABORTED
        assert not story.run.may_be_live
        assert [story.step(**dying()) for _ in range(3)] == [WithholdHeartbeat()] * 3

    def test_it_ends_ten_seconds_after_the_heartbeat_and_may_be_live(self) -> None:
        """A breaker that is not seen open is not open."""
        story = Story(waiting())
        assert story.stop(trip(0, withholds=True), **live()) == WithholdHeartbeat()
        began = story.now
        while not story.run.ended:
            assert story.step(**dying()) == WithholdHeartbeat()
        assert story.now - began == 10
        assert story.run.state is State.ABORTED
        assert story.run.may_be_live
        assert story.step(**dying()) == WithholdHeartbeat()

    def test_a_trip_that_withholds_does_so_in_an_abort_under_way(self) -> None:
        """It does not wait for the two seconds in which contactors may open."""
        story = Story(waiting())
        assert story.stop(trip(0), **live()) == Wait()
        assert story.stop(trip(0, withholds=True), **dying()) == WithholdHeartbeat()

    def test_a_second_one_does_not_begin_the_ten_seconds_anew(self) -> None:
        """The end comes at the latest ten seconds after the heartbeat stopped."""
        story = Story(waiting())
        story.stop(trip(0, withholds=True), **live())
        began = story.now
        for _ in range(5):
            story.step(**dying())
        story.stop(trip(0, withholds=True), **dying())
        while not story.run.ended:
            story.step(**dying())
        assert story.now - began == 10

    @pytest.mark.parametrize("category", [0, 1])
    def test_a_trip_after_the_end_is_recorded_and_changes_nothing(self, category: int) -> None:
        """An ended run has no state to go to."""
        story = Story(asking_for(Wait()))
        story.step()
        story.stop(trip(category), **live())
        assert story.run.state is State.COMPLETE
        assert story.names("trip") == [f"category_{category}"]
