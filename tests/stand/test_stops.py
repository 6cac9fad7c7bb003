"""Stops on the simulated plant: in time, in order, on the wire first, and for good."""

from collections.abc import Callable

import pytest

from acquire.clock import Order
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from sequences.scan import Scan
from sequences.stopping import category_1_deadline_s
from tests.stand.conftest import STAGES, S, Watch, Watched
from tests.stand.hands import asking_to_stop, meter, open_soon, setting, silencing
from tests.stand.held import Held, Place, loaded, no_load, opening


def held(watch: Watch, place: Place) -> tuple[Watched, Held]:
    """Return a run that was brought to a place and is held there."""
    holding = Held(place)
    watched = watch(procedure=holding)
    watched.until(lambda _scan: holding.reached)
    watched.go_on(5)
    return watched, holding


def now(watched: Watched) -> int:
    """Return the instant of the last scan."""
    return watched.rehearsal.cycle.last.now


def both_open(watched: Watched) -> bool:
    """Return whether the main contacts of both contactors are open in truth."""
    return not (watched.plant.lv_contactor.closed or watched.plant.loop_contactor.closed)


def until_open(watched: Watched) -> int:
    """Run until both contactors are told to open; they are open within their own time. When, ns."""
    plant = watched.plant
    watched.until(lambda _s: not (plant.lv_contactor.commanded or plant.loop_contactor.commanded))
    assert open_soon(plant)
    return now(watched)


def to_the_end(watched: Watched) -> str:
    """Run to the end with everything open, the record whole; return how it ended."""
    outcome = watched.finish()
    watched.plant.advance(now(watched) + S)
    assert both_open(watched)
    assert watched.archive.verify(outcome.run).faults == ()
    return outcome.end


class TestCategory1:
    @pytest.mark.parametrize("stage", STAGES)
    def test_an_operator_stop_ends_any_stage(self, watch: Watch, stage: str) -> None:
        """Stopped, with the current gone before the loop opens and the loop before LV."""
        watched = watch()
        plant = watched.plant
        watched.until_stage(stage, 2)
        asking_to_stop(watched)
        loop, current = plant.loop_contactor.closed, plant.true_state().loop
        for _scan in watched.scans():
            if loop and not plant.loop_contactor.closed:
                assert current < 0.05
                assert plant.lv_contactor.closed
            loop, current = plant.loop_contactor.closed, plant.true_state().loop
        finding = watched.rehearsal.cycle.run.finding
        assert finding is not None
        assert finding.name == "operator_stop"
        assert to_the_end(watched) == "stopped"

    def test_a_contactor_that_did_not_close_does_not_close_later(self, watch: Watch) -> None:
        """What kept it open goes away while the stop is under way: its command was dropped."""
        watched = watch()
        watched.until_stage("prove")
        plant = watched.plant
        plant.lv_contactor.jammed = True
        watched.until(lambda _scan: watched.state == "stopping")
        plant.lv_contactor.jammed = False
        for _scan in watched.scans():
            assert not plant.lv_contactor.closed
        assert watched.told("trip")[0].facts["name"] == "lv_contactor_will_not_close"

    def test_past_its_deadline_it_is_cut(self, watch: Watch) -> None:
        """A regulator that does not come down keeps the stand live for the deadline, no longer."""
        watched, _ = held(watch, loaded)
        watched.plant.loop_regulator.stuck = True
        asking_to_stop(watched)
        watched.until(lambda _scan: watched.state == "stopping")
        began = now(watched)
        took_s = (until_open(watched) - began) / S
        deadline_s = category_1_deadline_s(watched.rehearsal.expected)
        assert deadline_s <= took_s < deadline_s + 1
        assert to_the_end(watched) == "aborted"

    @pytest.mark.parametrize("instrument", ["lv_analyser", "hv_analyser", "contacts"])
    def test_a_stand_run_blind_is_cut_two_seconds_after_the_trip(
        self, watch: Watch, instrument: str
    ) -> None:
        """A stale channel's stop has two seconds, and one scan to see that they are over."""
        watched, _ = held(watch, loaded)
        silencing(instrument)(watched)
        watched.until(lambda _scan: watched.state == "stopping")
        began = now(watched)
        assert until_open(watched) - began <= 2 * S
        watched.plant.silent.clear()
        assert to_the_end(watched) == "aborted"

    def test_a_channel_going_stale_shortens_a_stop_under_way(self, watch: Watch) -> None:
        """An ordered ramp is none any more once nobody sees it."""
        watched, _ = held(watch, loaded)
        asking_to_stop(watched)
        silencing("hv_analyser")(watched)
        watched.until(lambda _scan: len(watched.told("trip")) > 1)
        began = now(watched)
        assert watched.told("trip")[1].facts["name"] == "stale_channel"
        assert until_open(watched) - began <= 2 * S
        assert to_the_end(watched) == "aborted"

    def test_a_second_trip_during_it_cuts_at_once(self, watch: Watch) -> None:
        """A guard that opens during a ramp down does not wait for the ramp."""
        watched, _ = held(watch, loaded)
        asking_to_stop(watched)
        watched.until(lambda _scan: watched.state == "stopping")
        watched.go_on(3)
        watched.hand(setting("guard", False))
        assert until_open(watched) - watched.hand_t <= 1.21 * S
        assert [e.facts["name"] for e in watched.told("trip")] == ["operator_stop", "guard"]
        assert to_the_end(watched) == "aborted"


class TestOpening:
    def test_lv_takes_the_loop_with_it_and_the_loop_goes_first(self, watch: Watch) -> None:
        """One request of a procedure, two commands in that scan, the loop's ahead."""
        watched, holding = held(watch, loaded)
        written = spied(watched)
        holding.do(opening(LV))
        began = now(watched)
        assert until_open(watched) - began == 1 * S
        assert [w for w in written if w[0] != "heartbeat"] == [(LOOP, 0), (LV, 0)]

    def test_category_0_opens_the_loop_then_lv_and_lowers_both(self, watch: Watch) -> None:
        """In that order, in the scan of the trip, whatever else there is to do."""
        watched, _ = held(watch, loaded)
        written = spied(watched)
        watched.plant.guard = False
        watched.until(lambda _scan: bool(watched.told("trip")))
        order = ((LOOP, 0), (LV, 0), ("resistance_selector", 0), (LV_REGULATOR, 0))
        first = [w for w in written if w[0] != "heartbeat"][:5]
        assert tuple(first) == (*order, (LOOP_REGULATOR, 0))

    @pytest.mark.parametrize(
        "ending",
        [
            lambda w: setattr(w.plant, "guard", False),
            lambda w: w.plant.silent.add("hv_analyser"),
        ],
        ids=["guard", "overdue"],
    )
    def test_is_on_the_wire_before_anybody_is_told(
        self, watch: Watch, ending: Callable[[Watched], None]
    ) -> None:
        """Neither the archive nor a viewer hears of a cut before it is made."""
        watched, _ = held(watch, loaded)
        plant, recorder = watched.plant, watched.rehearsal.recorder
        seen: list[tuple[int, str, bool]] = []
        commit = recorder.event

        def event(t: int, kind: str, facts: dict[str, object]) -> int:
            cut = not (plant.lv_contactor.commanded or plant.loop_contactor.commanded)
            seen.append((t, kind, cut))
            return commit(t, kind, facts)

        recorder.event = event  # type: ignore[method-assign,assignment]  # a spy on this run alone
        ending(watched)
        watched.until(lambda _scan: watched.state == "aborting")
        kinds = {kind for t, kind, _cut in seen if t == now(watched)}
        assert {"trip", "state"} <= kinds
        assert all(cut for t, _kind, cut in seen if t == now(watched))


def spied(watched: Watched) -> list[tuple[str, float]]:
    """Return the list to which every write to the outputs is appended from now on."""
    written: list[tuple[str, float]] = []
    write = watched.plant.write

    def spy(output: str, value: float) -> None:
        written.append((output, value))
        write(output, value)

    watched.plant.write = spy  # type: ignore[method-assign]  # a spy on this run alone
    return written


class TestForGood:
    def stays_open(self, watched: Watched, seconds: float) -> None:
        """Scan on, run ended or not, and see at every instant that nothing closes again."""
        clock, end = watched.rehearsal.clock, now(watched) + round(seconds * S)
        opened = False
        while now(watched) < end:
            clock.run_next()
            opened = opened or both_open(watched)
            assert both_open(watched) or not opened
        assert opened

    def test_a_watchdog_that_picks_up_again_closes_nothing(self, watch: Watch) -> None:
        """The relay drops by itself for a moment: what it opened stays open."""
        watched, _ = held(watch, loaded)
        watched.plant.watchdog.picked_up = False
        self.stays_open(watched, 10)
        assert watched.plant.watchdog.picked_up
        assert watched.plant.upstream_breaker.closed
        assert watched.state == "aborted"

    def test_a_program_that_stood_still_closes_nothing_when_it_goes_on(self, watch: Watch) -> None:
        """The relay dropped meanwhile; no heartbeat picks it up before the contacts are read."""
        watched, _ = held(watch, loaded)
        cycle, clock = watched.rehearsal.cycle, watched.rehearsal.clock
        scan, goes_on = cycle.scan, now(watched) + 5 * S
        # What still answers shows nothing of what the relay did.
        instruments = {i.name for i in watched.plant.stand.instrument}
        watched.plant.silent |= instruments - {"temperatures"}

        def standing_still(now: int) -> None:
            if now >= goes_on:
                scan(now)

        cycle.scan = standing_still  # type: ignore[method-assign]  # this run alone
        clock.at(goes_on + S // 2, Order.PUBLICATION, watched.plant.silent.clear)
        self.stays_open(watched, 25)
        assert watched.state == "aborted"

    def test_a_closing_that_was_cut_is_not_taken_up_again(self, watch: Watch) -> None:
        """After an emergency stop is pulled out again everything waits for a new run."""
        watched, _ = held(watch, loaded)
        watched.plant.emergency_stop = False
        watched.go_on_to_the_end()
        watched.plant.emergency_stop = True
        self.stays_open(watched, 10)


class TestSilentOutputs:
    def test_the_watchdog_cuts_when_no_command_arrives(self, watch: Watch) -> None:
        """A link that is silent takes the heartbeat with it: open after the relay's time."""
        watched, _ = held(watch, loaded)
        began = now(watched)
        silencing("outputs")(watched)
        watched.until(lambda _scan: both_open(watched))
        drop_s = watched.plant.stand.watchdog.drop_s
        assert now(watched) - began <= (drop_s + 1) * S
        assert watched.told("fault")[0].facts["instrument"] == "outputs"
        assert watched.finish().end == "aborted"
        assert "a command was not taken: outputs" in watched.told("trip")[0].facts["seen"]

    def test_an_opening_that_does_not_arrive_is_made_by_the_watchdog(self, watch: Watch) -> None:
        """The contactor does not open: heartbeat stopped, breaker dropped, aborted, not live."""
        watched, holding = held(watch, no_load)
        silencing("outputs")(watched)
        holding.do(opening(LV))
        outcome = watched.finish()
        assert outcome.end == "aborted"
        assert not outcome.may_be_live
        assert both_open(watched)
        assert not watched.plant.upstream_breaker.closed
        names = [e.facts["name"] for e in watched.told("trip")]
        assert names[0] == "command_lost"

    def test_a_link_that_comes_back_brings_no_heartbeat(self, watch: Watch) -> None:
        """What was not written stands as it was in the unit, so the relay must stay dropped."""
        watched, holding = held(watch, no_load)
        silencing("outputs")(watched)
        holding.do(opening(LV))
        watched.until(lambda _scan: both_open(watched))
        watched.plant.silent.clear()
        TestForGood().stays_open(watched, 20)
        assert not watched.plant.watchdog.picked_up

    def test_what_took_everything_is_said_once(self, watch: Watch) -> None:
        """One instrument or two are named by themselves; when all are gone it is no instrument."""
        watched, _ = held(watch, no_load)
        words: list[int] = []
        for instrument in ("temperatures", *(i.name for i in watched.plant.stand.instrument)):
            silencing(instrument)(watched)
        watched.go_on(1)
        words.append(len(watched.told("note")))
        silencing("outputs")(watched)
        watched.finish()
        words.append(len(watched.told("note")))
        assert words == [0, 1]
        assert "nothing of the stand answers" in watched.told("note")[0].facts["words"]

    def test_a_single_lost_write_is_a_silent_link(self, watch: Watch) -> None:
        """Whoever lost one command can't know what the unit holds: the stand is cut."""
        watched, _ = held(watch, no_load)
        silencing("outputs")(watched)
        watched.go_on(1)
        watched.plant.silent.clear()
        watched.until(lambda _scan: both_open(watched))
        assert watched.finish().end == "aborted"


def test_a_frozen_pair_of_lv_voltmeters_never_sees_the_bus_above_its_limit(watch: Watch) -> None:
    """The ramp moves on while nothing follows; the trip ends that long before rated voltage."""
    watched = watch()
    watched.until_stage("energise")
    for channel in ("lv.voltage.1", "lv.voltage_mean.1"):
        meter(channel, frozen=True)(watched)
    highest = 0.0
    for scan in watched.scans():
        highest = max(highest, _bus(watched, scan))
    assert [e.facts["name"] for e in watched.told("trip")] == ["lv_voltage_does_not_follow"]
    assert highest < 0.5


def _bus(watched: Watched, scan: Scan) -> float:
    watched.plant.advance(scan.now)
    return watched.plant.true_state().bus
