"""Heat runs of a few minutes: what ends a soak, what holds it, a selector that does not act."""

from dataclasses import replace
from typing import Any

import pytest

from drivers.outputs import LOOP_REGULATOR, LV, SELECTOR
from sequences.prompt import (
    CONNECTED_COLD,
    CONNECTED_HOT,
    MAKING_SAFE,
    OPERATOR_HOLD,
    OPERATOR_STOP,
    Answer,
)
from sequences.schedule import Overload
from tests.stand.conftest import S, Watch, Watched
from tests.stand.hands import (
    Hand,
    asking_to_stop,
    heating,
    locking,
    open_soon,
    output,
    setting,
)
from tests.stand.heat import Witness, findings, marks, short, soak_of, states, switched_by_people

TOO_WARM_C = 45.0


def say(watched: Watched, prompt: str) -> None:
    """Have somebody say something that no prompt asked for."""
    now = watched.rehearsal.clock.now()
    operator: Any = watched.rehearsal.operator
    operator._answers.append(Answer(prompt, "somebody", "rehearsed", now, True, now))


def warm_room(watched: Watched, to_c: float | None = TOO_WARM_C) -> None:
    """Have the room's sensors show this; None: what they truly show."""
    for channel in ("ambient.1", "ambient.2", "ambient.3"):
        if to_c is None:
            watched.plant.temperatures_c.pop(channel)
        else:
            watched.plant.temperatures_c[channel] = to_c


def end_of(watched: Watched) -> str:
    """Run to the end; return the state that it ends in."""
    watched.go_on_to_the_end()
    return watched.state


class TestSelector:
    def test_one_that_jams_cold_stops_the_run_before_people_are_asked(self, watch: Watch) -> None:
        watched = watch(short())
        watched.plant.resistance_selector.jammed = True
        assert end_of(watched) == "stopped"
        assert findings(watched) == [f"{SELECTOR}_does_not_close"]
        assert not watched.told("prompt")
        assert not watched.plant.resistance_selector.commanded

    @pytest.mark.parametrize("positions", [1, 2])
    def test_one_that_jams_after_the_shutdown_is_a_finding(
        self, watch: Watch, positions: int
    ) -> None:
        """Losses and soak are not lost with it, and it follows no command later."""
        watched = watch(short(positions=positions))
        watched.until_stage("soak")
        watched.plant.resistance_selector.jammed = True
        assert end_of(watched) == "complete"
        assert findings(watched) == ["not_steady", f"{SELECTOR}_does_not_close"]
        assert not watched.plant.resistance_selector.commanded
        assert watched.rehearsal.cycle.run.returned is not None

    @pytest.mark.parametrize("positions", [1, 2])
    def test_one_that_does_not_open_after_the_curves_is_a_finding(
        self, watch: Watch, positions: int
    ) -> None:
        """People are told that d.c. may be in the windings; what was read counts."""
        watched = watch(short(positions=positions))
        watched.until(lambda _scan: bool(marks(watched, "hot")))
        watched.plant.resistance_selector.welded = True
        assert end_of(watched) == "complete"
        assert findings(watched) == ["not_steady", "selector_does_not_open"]
        assert "d.c." in watched.told("finding")[-1].facts["check"]
        assert watched.rehearsal.cycle.run.returned is not None

    def test_one_with_two_positions_goes_round_them_each_alone(self, watch: Watch) -> None:
        """It lets go before it moves on, every position is read cold once, hot again and again."""
        watched = watch(short(positions=2))
        witness = Witness(watched.plant)
        assert end_of(watched) == "complete"
        stood = [c.stands for c in witness.of("selector")]
        assert set(stood[1::2]) == {0}
        assert stood[::2][:2] == [1, 2]
        hot = stood[::2][2:]
        assert len(hot) >= 4
        assert hot == [1 + at % 2 for at in range(len(hot))]
        assert len(marks(watched, "cold")) == 2
        assert len(marks(watched, "hot")) == len(hot)
        assert not witness.d_c_on_live

    def test_no_position_is_begun_after_the_time_for_cooling(self, watch: Watch) -> None:
        scenario = short(positions=2)
        watched = watch(scenario)
        watched.go_on_to_the_end()
        (shutdown,) = marks(watched, "shutdown")
        until = shutdown + soak_of(scenario).cooling_s
        assert max(marks(watched, "hot")) < until + 2.0
        assert max(marks(watched, "hot_read")) <= until + 3.0

    @pytest.mark.parametrize("stage", ["prepare", "cool"])
    def test_a_stop_with_d_c_on_lets_go(self, watch: Watch, stage: str) -> None:
        watched = watch(short())
        watched.until_stage(stage)
        watched.until(lambda scan: scan.value(SELECTOR) == 1.0)
        say(watched, OPERATOR_STOP)
        assert end_of(watched) == "stopped"
        watched.plant.advance(watched.plant.t + 120 * S)
        assert not watched.plant.resistance_selector.closed


class TestResistanceMeter:
    def test_open_windings_read_over_range_and_that_is_alive(self, watch: Watch) -> None:
        """Nothing is connected at first: prepare goes on to the cold resistances."""
        watched = watch(short())
        scan = watched.until(lambda _scan: bool(marks(watched, "cold")))
        assert scan.now < 30 * S

    def test_a_meter_that_does_not_answer_is_not_alive(self, watch: Watch) -> None:
        watched = watch(short())
        watched.plant.silent.add("resistance_meter")
        assert end_of(watched) == "stopped"
        assert findings(watched) == ["instrument_without_reading"]
        assert not watched.told("command")

    def test_a_voltage_over_range_is_no_open_winding(self, watch: Watch) -> None:
        """Only where nothing may be connected is over range a reading."""
        watched = watch(short())
        voltmeter: Any = watched.plant.series_voltmeter
        voltmeter.value = lambda _true: None
        assert end_of(watched) == "stopped"
        assert findings(watched) == ["instrument_without_reading"]


class TestPeopleWhoSwitch:
    def test_come_to_a_stand_that_was_read_as_dead(self, watch: Watch) -> None:
        """Made safe before they connect the meter, and again, the meter off, before the end."""
        watched = watch(short(), procedure=switched_by_people)
        witness = Witness(watched.plant)
        assert end_of(watched) == "complete"
        asked = [e.facts["id"] for e in watched.told("prompt")]
        assert asked[0] == "resistance_meter_connected"
        at = asked.index("resistance_meter_connected_hot")
        safe = [row[0] for row in MAKING_SAFE]
        assert asked[at - 3 : at] == asked[-3:] == safe
        assert asked[at + 1 :] == ["resistance_meter_disconnected", *safe]
        earthing_s = watched.told("prompt")[-1].t / S
        assert witness.of("selector")[-1].stands == 0
        assert witness.of("selector")[-1].t_s < earthing_s

    @pytest.mark.parametrize("row", [CONNECTED_COLD, CONNECTED_HOT])
    def test_are_asked_whether_nothing_lies_across_what_is_measured(
        self, row: tuple[str, str, str, str]
    ) -> None:
        """Each winding alone: an earth at both ends of one would be measured with it."""
        before, _, _ = row[1].partition(" open: ")
        for words in ("parallel link", "loop", "earths across the windings measured"):
            assert words in before

    def test_do_not_come_to_one_that_reads_live(self, watch: Watch) -> None:
        """A voltmeter over range is no voltmeter at nought."""
        watched = watch(short(), procedure=switched_by_people)
        watched.until(lambda _scan: bool(marks(watched, "shutdown")))
        watched.until(lambda scan: not scan.outputs[LV].commanded)
        voltmeter: Any = watched.plant.series_voltmeter
        voltmeter.value = lambda _true: None
        before = len(watched.told("prompt"))
        assert end_of(watched) == "stopped"
        assert findings(watched)[-1] == "live_with_contactors_open"
        assert len(watched.told("prompt")) == before


class TestSoak:
    def test_a_time_limit_ends_it_with_a_finding_and_the_run_goes_on(self, watch: Watch) -> None:
        """Rates are in the words as far as they are known; curves are read all the same."""
        watched = watch(short())
        assert end_of(watched) == "complete"
        assert findings(watched) == ["not_steady"]
        assert "IEC 60076-2" in watched.told("finding")[0].facts["seen"]
        (soak,), (soaked,) = marks(watched, "soak"), marks(watched, "soaked")
        assert 60.0 <= soaked - soak <= 65.0
        assert len(marks(watched, "hot_read")) == 1

    def test_an_overload_step_carries_its_current_for_its_time(self, watch: Watch) -> None:
        """More than the cap for rated current would let through; then rated again."""
        watched = watch(short(overload=Overload(1.2, 0.05, rated_again_s=60.0)))
        watched.until_stage("overload", 60.0)
        for scan in watched.scans():
            if marks(watched, "overloaded"):
                break
            assert watched.plant.electrical(scan.now) is not None
            assert watched.plant.true_state().loop == pytest.approx(1.2, rel=0.006)
        (begun,), (ended,) = marks(watched, "overload"), marks(watched, "overloaded")
        assert 180.0 <= ended - begun <= 182.0
        watched.until_stage("shut_down")
        assert watched.plant.true_state().loop == pytest.approx(1.0, rel=0.006)
        assert end_of(watched) == "complete"

    @pytest.mark.parametrize(
        ("limit", "at_c"), [("hot_spot_limit_c", 60.0), ("top_liquid_limit_c", 30.0)]
    )
    def test_an_overload_step_ends_at_its_limit(
        self, watch: Watch, limit: str, at_c: float
    ) -> None:
        """By the hotter unit, long before its hour is over.

        22 K of hot-spot gradient at rated current are 29.5 K at 1.2 of it.
        """
        step = replace(Overload(1.2, 1.0, rated_again_s=30.0), **{limit: at_c})
        watched = watch(short(overload=step))
        watched.until_stage("overload", 60.0)
        assert not marks(watched, "overloaded")
        watched.plant.temperatures_c |= {"a.top_liquid": 25.0, "b.top_liquid": 29.5}
        watched.go_on(8.0)
        assert not marks(watched, "overloaded")
        watched.plant.temperatures_c["b.top_liquid"] = 31.0
        watched.go_on(8.0)
        assert marks(watched, "overloaded")
        assert end_of(watched) == "complete"


class TestHold:
    def held(self, watch: Watch, **soak: Any) -> Watched:
        """A run held since the room is too warm, with nobody there."""
        watched = watch(short(**{"hold_s": 60.0, "time_limit_h": 0.1, **soak}))
        watched.until_stage("soak", 5.0)
        watched.rehearsal.operator.absent = True
        warm_room(watched)
        watched.until(lambda _scan: watched.state == "held")
        return watched

    def test_set_points_are_kept_and_the_state_says_so(self, watch: Watch) -> None:
        watched = self.held(watch)
        before = watched.rehearsal.cycle.last.outputs
        watched.go_on(50.0)
        assert watched.state == "held"
        assert states(watched)[-2:] == ["holding", "held"]
        assert watched.rehearsal.cycle.last.outputs == before
        assert watched.plant.true_state().loop == pytest.approx(1.0, rel=0.006)

    def test_nobody_answering_stops_it(self, watch: Watch) -> None:
        """Category 1, once its time is over."""
        watched = self.held(watch)
        put = watched.told("prompt")[-1].t
        assert end_of(watched) == "stopped"
        assert not watched.rehearsal.cycle.run.may_be_live
        (trip,) = watched.told("trip")
        assert (trip.facts["name"], trip.facts["category"]) == ("prompt_unanswered", 1)
        assert 60.0 < (trip.t - put) / S <= 62.0

    def test_answered_it_goes_on_and_counts_anew(self, watch: Watch) -> None:
        """Restarting, then running, the same generator: the soak's own end still comes."""
        watched = self.held(watch)
        warm_room(watched, None)
        watched.rehearsal.operator.absent = False
        watched.until(lambda _scan: watched.state == "running")
        assert states(watched)[-4:] == ["holding", "held", "restarting", "running"]
        assert end_of(watched) == "complete"
        assert findings(watched) == ["not_steady"]

    def test_an_operator_may_hold_it(self, watch: Watch) -> None:
        """Asked for once, even while a regulator is on its way."""
        scenario = short(overload=Overload(1.2, 0.05, rated_again_s=60.0), time_limit_h=1 / 60)
        watched = watch(scenario)
        watched.until_stage("overload")
        moving = watched.until(lambda scan: scan.at_rest_since() is None)
        say(watched, OPERATOR_HOLD)
        scan = watched.until(lambda _scan: watched.state == "holding")
        assert scan.now > moving.now
        watched.until(lambda _scan: watched.state == "running")
        assert end_of(watched) == "complete"
        assert states(watched).count("held") == 1

    HANDS: tuple[tuple[str, Hand, str], ...] = (
        ("emergency_stop", setting("emergency_stop", False), "aborted"),
        ("guard", setting("guard", False), "aborted"),
        ("protection_contact", setting("protection_contact", False), "aborted"),
        ("supply_lost", setting("lv_supply_lost", True), "aborted"),
        ("loop_contactor_opened_by_itself", setting("loop_contactor.fallen_out", True), "aborted"),
        ("loop_voltage_runs_away", output(LOOP_REGULATOR, 0.85), "aborted"),
        ("operator_stop", asking_to_stop, "stopped"),
        ("over_temperature_a", heating(a=120.0), "stopped"),
        ("frequency", setting("frequency_hz", 49.0), "stopped"),
        ("record_not_written", locking, "stopped"),
    )

    @pytest.mark.parametrize(("trip", "hand", "end"), HANDS, ids=[h[0] for h in HANDS])
    def test_every_trip_is_live_while_it_holds(
        self, watch: Watch, trip: str, hand: Hand, end: str
    ) -> None:
        watched = self.held(watch, hold_s=600.0)
        hand(watched)
        watched.until(lambda _scan: bool(watched.told("trip")))
        assert watched.told("trip")[0].facts["name"] == trip
        if end == "aborted":
            assert open_soon(watched.plant)
        for _scan in watched.scans():
            pass
        assert watched.state == end
        assert not watched.plant.lv_contactor.closed
        assert not watched.plant.loop_contactor.closed
