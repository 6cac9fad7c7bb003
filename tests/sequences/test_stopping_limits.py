"""What a stop waits for, and for how long: each condition from both of its sides."""

from dataclasses import replace
from inspect import getgeneratorstate

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, OutputState
from drivers.reading import Reading
from sequences.run import State
from sequences.scan import (
    HV_CURRENT,
    LV_VOLTAGE,
    Finding,
    Move,
    Open,
    Procedure,
    Request,
    Scan,
    Wait,
    WithholdHeartbeat,
)
from sequences.stopping import category_0, category_1, category_1_deadline_s
from tests.sequences.built import fails, reads, scan, told
from tests.sequences.paper import shipped
from tests.sequences.story import Story, asking_for, dying, live, trip, waiting

RATED_A = 100_000 / 6600


def answer(stop: Procedure[object], at: Scan) -> Request:
    """Return what a stop that has just begun asks for in this scan."""
    next(stop)
    return stop.send(at)


class TestCategory1:
    def first(
        self,
        *arrived: Reading,
        outputs: dict[str, OutputState],
        values: dict[str, float | None] | None = None,
    ) -> Request:
        at = scan(10.0, arrived, outputs=outputs, values=values)
        return answer(category_1(at, shipped()), at)

    def test_its_deadline_is_1_3_of_both_travels_and_10_s(self) -> None:
        quick = replace(shipped().lv_regulator, rate_per_s=0.1)
        expected = replace(shipped(), lv_regulator=quick)  # the loop's takes 25 s
        assert category_1_deadline_s(expected) == pytest.approx(1.3 * 35.0 + 10.0)

    @pytest.mark.parametrize(
        ("commanded", "contact", "asked"),
        [
            (0.0, 0.0, Open(LOOP)),
            (0.0, 1.0, Move(LOOP_REGULATOR, 0.0)),
            (1.0, 1.0, Move(LOOP_REGULATOR, 0.0)),
        ],
    )
    def test_a_loop_that_may_be_closed_is_ramped_down_first(
        self, commanded: float, contact: float, asked: Request
    ) -> None:
        assert self.first(outputs=told(LOOP, commanded), values={LOOP: contact}) == asked

    def test_it_waits_until_an_opened_contactor_is_seen_open(self) -> None:
        at = scan(10.0, outputs=told(LOOP, 1.0), values={LOOP: 1.0})
        stop = category_1(at, shipped())
        next(stop)
        asked = [stop.send(at) for _ in range(4)]
        assert asked == [Move(LOOP_REGULATOR, 0.0), Open(LOOP), Wait(), Wait()]
        assert stop.send(scan(11.0)) == Open(LV)

    def test_regulators_left_up_behind_open_contactors_go_to_zero(self) -> None:
        outputs = told(LV_REGULATOR, 0.5) | told(LOOP_REGULATOR, 0.4)
        at = scan(10.0, outputs=outputs)
        stop = category_1(at, shipped())
        next(stop)
        asked = [stop.send(at) for _ in range(4)]
        moves = [Move(LV_REGULATOR, 0.0), Move(LOOP_REGULATOR, 0.0)]
        assert asked == [Open(LOOP), Open(LV), *moves]

    def test_regulators_at_zero_are_left_there(self) -> None:
        at = scan(10.0)
        stop = category_1(at, shipped())
        next(stop)
        assert [stop.send(at) for _ in range(2)] == [Open(LOOP), Open(LV)]
        with pytest.raises(StopIteration):
            stop.send(at)

    def _after_zero(
        self, now: float, *arrived: Reading, rest: float = 9.0, due: float = 0.0
    ) -> Request:
        """Return what follows when the loop regulator, told at 8 s, has come to rest."""
        up = told(LOOP, 1.0) | told(LOOP_REGULATOR, 0.5)
        stop = category_1(scan(8.0), shipped())
        next(stop)
        assert stop.send(scan(8.0, outputs=up, values={LOOP: 1.0})) == Move(LOOP_REGULATOR, 0.0)
        down = told(LOOP, 1.0) | told(LOOP_REGULATOR, 0.0, since=8.0, rest=rest, due=due)
        return stop.send(scan(now, arrived, outputs=down, values={LOOP: 1.0}))

    @pytest.mark.parametrize(("part", "asked"), [(0.0199, Open(LOOP)), (0.0201, Wait())])
    def test_current_is_gone_below_2_percent_of_rated(self, part: float, asked: Request) -> None:
        current = reads(HV_CURRENT, part * RATED_A, 10.0, began=9.5)
        assert self._after_zero(10.0, current) == asked

    @pytest.mark.parametrize(("rest", "asked"), [(7.0, Wait()), (6.99, Open(LOOP))])
    def test_what_flows_3_s_after_zero_is_opened(self, rest: float, asked: Request) -> None:
        current = reads(HV_CURRENT, 5.0, 10.0, began=9.5)
        assert self._after_zero(10.0, current, rest=rest) == asked

    @pytest.mark.parametrize(
        ("due", "asked"), [(9.0, Wait()), (8.99, Open(LOOP))], ids=["3 s", "longer"]
    )
    @pytest.mark.parametrize("unread", [fails(HV_CURRENT, 11.9), reads(HV_CURRENT, 0.0, 8.9)])
    def test_without_a_current_it_waits_for_3_s_after_the_travel(
        self, unread: Reading, due: float, asked: Request
    ) -> None:
        assert self._after_zero(12.0, unread, due=due) == asked

    def test_a_current_asked_for_when_it_came_to_rest_counts(self) -> None:
        assert self._after_zero(10.0, reads(HV_CURRENT, 0.0, 9.5, began=9.0)) == Open(LOOP)


class TestCategory0:
    OPEN = told(LV, 0.0, since=1.0, rest=1.1) | told(LOOP, 0.0, since=1.0, rest=1.1)

    def _ends(self, at: Scan) -> bool | None:
        """Return what the stop ends with in this scan; None: it does not."""
        stop = category_0(at, shipped(), withhold=False)
        next(stop)
        try:
            stop.send(at)
        except StopIteration as end:
            return bool(end.value)
        return None

    @pytest.mark.parametrize(("bus_v", "ends"), [(0.0, False), (49.9, False), (50.0, None)])
    def test_a_bus_below_50_v_is_dead(self, bus_v: float, ends: bool | None) -> None:
        assert self._ends(scan(5.0, outputs=self.OPEN, values={LV_VOLTAGE: bus_v})) is ends

    @pytest.mark.parametrize(("began", "ends"), [(1.3, False), (1.2999, None)])
    def test_the_bus_is_read_after_rest_and_averaging(
        self, began: float, ends: bool | None
    ) -> None:
        bus = reads(LV_VOLTAGE, 0.0, 1.8, began=began)
        assert self._ends(scan(2.0, [bus], outputs=self.OPEN)) is ends

    @pytest.mark.parametrize("output", [LV, LOOP])
    def test_both_contactors_have_to_be_at_rest(self, output: str) -> None:
        outputs = self.OPEN | told(output, 0.0, since=1.0, rest=None)
        assert self._ends(scan(2.0, outputs=outputs)) is None

    @pytest.mark.parametrize("output", [LV, LOOP])
    def test_both_contactors_are_told_and_read_open(self, output: str) -> None:
        assert self._ends(scan(2.0, outputs=self.OPEN, values={output: 1.0})) is None
        outputs = self.OPEN | told(output, 1.0, since=1.0, rest=1.1)
        assert self._ends(scan(2.0, outputs=outputs)) is None

    @pytest.mark.parametrize("output", [LV, LOOP])
    def test_a_contact_asked_at_the_command_is_of_after_it(self, output: str) -> None:
        for began, ends in ((1.0, False), (0.9999, None)):
            contact = reads(output, 0.0, 1.5, began=began)
            assert self._ends(scan(2.0, [contact], outputs=self.OPEN)) is ends


class TestRun:
    def test_nothing_has_happened_at_first(self) -> None:
        run = Story(waiting()).run
        assert (run.state, run.stage, run.attempts) == (State.RUNNING, "", 0)
        assert (run.finding, run.may_be_live, run.returned) == (None, False, None)

    def test_its_procedure_is_primed_once_and_sent_every_scan(self) -> None:
        got: list[Scan] = []

        def listening() -> Procedure[None]:
            while True:
                scan = yield Wait()
                got.append(scan)

        story = Story(listening())
        steps = []
        for _ in range(3):
            story.step()
            steps.append(story.last)
        assert all(a is b for a, b in zip(got, steps, strict=True))
        assert story.run.state is State.RUNNING

    def test_what_the_stand_has_is_possible(self) -> None:
        wanted = (Wait(), Move(LV_REGULATOR, 0.2), Open(LV), WithholdHeartbeat())
        story = Story(asking_for(Wait(), *wanted))
        assert tuple(story.step() for _ in wanted) == wanted
        assert story.run.state is State.RUNNING

    def test_what_it_has_not_is_named(self) -> None:
        story = Story(asking_for(Wait(), Open("tea_kettle")))
        story.step()
        assert story.run.finding is not None
        assert "tea_kettle" in story.run.finding.seen

    def test_every_prepare_is_an_attempt(self) -> None:
        stages = ("prepare", "prove", "prepare")
        story = Story(asking_for(Wait(), *(Wait(stage=s) for s in stages), Wait()))
        for _ in stages:
            story.step()
        assert story.told == [
            ("attempt", {"number": 1}),
            ("stage", {"stage": "prepare"}),
            ("stage", {"stage": "prove"}),
            ("attempt", {"number": 2}),
            ("stage", {"stage": "prepare"}),
        ]
        assert (story.run.stage, story.run.attempts) == ("prepare", 2)

    def test_a_finding_that_ends_nothing_is_noted_and_a_later_trip_is_what_ended_it(self) -> None:
        finding = Finding("aiding", "12 A", "connection")
        story = Story(asking_for(Wait(), Wait(finding=finding), Wait()))
        story.step()
        assert story.run.finding == finding
        assert ("finding", finding._asdict()) in story.told
        story.stop(trip(1))
        assert story.run.finding == Finding("category_1", "seen", "check")

    def test_a_trip_is_recorded_with_all_that_is_known_of_it(self) -> None:
        story = Story(waiting())
        story.stop(trip(0))
        facts = {"name": "category_0", "category": 0, "seen": "seen", "check": "check"}
        assert ("trip", facts) in story.told

    @pytest.mark.parametrize("left", [LV, LOOP])
    def test_it_may_not_end_with_either_contactor_closed(self, left: str) -> None:
        story = Story(asking_for(Wait()))
        story.step(values={left: 1.0})
        assert story.run.state is State.STOPPING
        assert story.run.finding is not None
        assert "contactor not open" in story.run.finding.seen

    def test_an_overdue_stop_says_how_long_it_took(self) -> None:
        story = Story(waiting())
        story.step()
        story.stop(trip(1, deadline_s=3.0), **live())
        while story.run.state is State.STOPPING:
            story.step(**live(since=1.0, loop=0.0, rest=None))
        overdue = [f for k, f in story.told if k == "trip"][-1]
        assert overdue["name"] == "stop_overdue"
        assert "after 3 s" in overdue["seen"]

    def test_a_withheld_heartbeat_is_recorded_in_words(self) -> None:
        story = Story(waiting())
        story.stop(trip(0, withholds=True), **dying())
        facts = next(f for k, f in story.told if k == "heartbeat.withheld")
        assert "breaker" in facts["words"]

    def test_its_generator_is_closed_when_it_stops(self) -> None:
        story = Story(waiting())
        story.step()
        story.stop(trip(1), **live())
        assert getgeneratorstate(story.procedure) == "GEN_CLOSED"
