"""Evidence: what sets each field, what voids it, and what it never comes from."""

from dataclasses import replace

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from drivers.reading import Reading
from sequences.evidence import Evidence, together
from sequences.following import Rest
from sequences.prompt import PREPARATION, Answer, confirm
from sequences.scan import (
    GUARD,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_VOLTAGE,
    TOP_LIQUID_A,
    TOP_LIQUID_B,
    WATCHDOG,
    S,
)
from tests.sequences.paper import HALF_V, PROVEN, ROOM_C, Paper, shipped

GAP_V = 52.8  # the limit of r, 0.4 %, of 2 x 6600 V


@pytest.fixture(name="paper")
def _paper() -> Paper:
    """Return a stand on paper at the start of a run."""
    return Paper()


class TestGuard:
    def test_a_shut_guard_is_noted_once_by_when_it_was_asked(self, paper: Paper) -> None:
        first = paper.after().guard_shut
        assert first == paper.asked_at()
        assert paper.after().guard_shut == first

    def test_an_open_guard_leaves_nothing(self, paper: Paper) -> None:
        paper.evidence = PROVEN
        assert paper.after({GUARD: 0.0}) == Evidence()

    def test_what_a_trip_revoked_stays_revoked_behind_an_open_guard(self, paper: Paper) -> None:
        paper.evidence = PROVEN.revoke()
        assert paper.after({GUARD: 0.0}) == Evidence(revoked=True)

    def test_a_guard_opened_and_shut_between_two_scans_leaves_nothing(self, paper: Paper) -> None:
        paper.after()
        paper.evidence = PROVEN
        opened = paper.reading(GUARD, 0.0)
        assert paper.after(earlier=[opened]) == Evidence()

    def test_a_guard_that_nobody_reads_may_have_been_open(self, paper: Paper) -> None:
        paper.after()
        paper.evidence = PROVEN
        assert paper.after(unread=[GUARD]) == Evidence()

    def test_while_a_contactor_is_closed_an_unread_guard_is_left_to_its_trip(
        self, paper: Paper
    ) -> None:
        paper.after()
        paper.evidence = PROVEN
        paper.tell(LV, 1.0)
        assert paper.after(unread=[GUARD]).proof_complete == PROVEN.proof_complete


class TestContactorsAndWatchdog:
    def test_both_contactors_have_to_be_seen_open(self, paper: Paper) -> None:
        assert paper.after({LOOP: 1.0}).seen_open is None
        assert paper.after({LOOP: 0.0}).seen_open == paper.asked_at()

    def test_the_watchdog_acts_by_dropping_and_picking_up_again(self, paper: Paper) -> None:
        for level in (1.0, 0.0):
            assert paper.after({WATCHDOG: level}).watchdog_acted is None
        assert paper.after({WATCHDOG: 1.0}).watchdog_acted == paper.asked_at()

    def test_a_relay_that_only_picks_up_has_not_acted(self, paper: Paper) -> None:
        for level in (0.0, 1.0, 1.0):
            assert paper.after({WATCHDOG: level}).watchdog_acted is None

    def test_what_it_does_before_the_contactors_are_seen_open_counts_for_nothing(
        self, paper: Paper
    ) -> None:
        for level in (1.0, 0.0, 1.0):
            assert paper.after({WATCHDOG: level, LV: 1.0}).watchdog_acted is None


class TestAnswers:
    PROMPT = confirm(PREPARATION[-1], "nothing", 60.0)

    def _answer(self, paper: Paper, value: bool = True, late_by: int = 0) -> Answer:
        put = paper.now
        return Answer(self.PROMPT.id, "somebody", "paper", put + 5, value, put - late_by)

    def test_a_yes_counts_with_the_instant_of_its_prompt(self, paper: Paper) -> None:
        put = paper.now
        known = paper.after(answers=(self._answer(paper),), asked=(self.PROMPT, put))
        assert known.answered == {self.PROMPT.id: put}

    def test_a_no_is_no_evidence(self, paper: Paper) -> None:
        answer = self._answer(paper, value=False)
        assert not paper.after(answers=(answer,), asked=(self.PROMPT, paper.now)).answered

    def test_an_answer_to_an_earlier_putting_is_no_evidence(self, paper: Paper) -> None:
        answer = self._answer(paper, late_by=1)
        assert not paper.after(answers=(answer,), asked=(self.PROMPT, paper.now)).answered

    def test_an_answer_to_nothing_is_no_evidence(self, paper: Paper) -> None:
        assert not paper.after(answers=(self._answer(paper),)).answered

    @pytest.mark.parametrize("column", [1, 2, 3])
    def test_other_words_under_the_same_name_are_another_prompt(
        self, paper: Paper, column: int
    ) -> None:
        name, asked, who, follows = PREPARATION[-1]
        row = [name, asked, who, follows]
        row[column] = "Do you like tea?"
        other = confirm((row[0], row[1], row[2], row[3]), "nothing", 60.0)
        assert not paper.after(answers=(self._answer(paper),), asked=(other, paper.now)).answered


class TestComparing:
    """Readings of two instruments are compared only when both began after everything rested."""

    def test_everything_at_rest_is_comparable(self, paper: Paper) -> None:
        scan = paper.scan({LV_VOLTAGE: 1.0, HV_VOLTAGE: 2.0})
        assert together(scan, paper.expected, LV_VOLTAGE, HV_VOLTAGE) == (1.0, 2.0)

    def test_nothing_is_while_something_moves(self, paper: Paper) -> None:
        paper.tell(LOOP_REGULATOR, 0.5, moving=True)
        assert together(paper.scan(), paper.expected, LV_VOLTAGE) is None

    def test_a_reading_has_to_begin_after_rest_and_averaging_time(self, paper: Paper) -> None:
        began = paper.now + S - round(0.3 * S)
        averaging = paper.expected.averaging_ns
        for rest, comparable in ((began - averaging, True), (began - averaging + 1, False)):
            paper.outputs[LV] = paper.outputs[LV]._replace(at_rest_since=rest)
            scan = paper.scan()
            assert (together(scan, paper.expected, LV_VOLTAGE) is not None) is comparable
            paper.now -= S

    def test_one_that_began_before_spoils_the_others(self, paper: Paper) -> None:
        paper.after()
        paper.tell(LV_REGULATOR, 0.0)
        scan = paper.scan(unread=[HV_VOLTAGE])
        assert together(scan, paper.expected, LV_VOLTAGE) is not None
        assert together(scan, paper.expected, LV_VOLTAGE, HV_VOLTAGE) is None

    def test_a_bad_one_spoils_the_others(self, paper: Paper) -> None:
        scan = paper.scan({HV_VOLTAGE: None})
        assert together(scan, paper.expected, LV_VOLTAGE, HV_VOLTAGE) is None


class TestBeforeClosing:
    def test_lv_is_noted_at_rest_with_the_loop_open(self, paper: Paper) -> None:
        paper.low()
        assert paper.after().lv_before_closing_v == HALF_V

    def test_it_is_not_while_the_regulator_moves(self, paper: Paper) -> None:
        paper.low()
        paper.tell(LV_REGULATOR, 0.017, moving=True)
        assert paper.after().lv_before_closing_v is None

    def test_it_stands_while_the_loop_is_told_closed(self, paper: Paper) -> None:
        paper.low()
        paper.after()
        paper.tell(LOOP, 1.0)
        assert paper.after({LV_VOLTAGE: 4.0}).lv_before_closing_v == HALF_V

    @pytest.mark.parametrize(
        ("voltage_v", "current_a", "sound"),
        # 20 times the pair's share of 0.18 A at 8 V, and half of what is promised.
        [
            (8.0, 3.59, True),
            (8.0, 3.61, False),
            (8.0, None, False),
            (4.01, 1.0, True),
            (3.99, 1.0, False),
        ],
    )
    def test_a_short_or_overloaded_bus_is_none(
        self, paper: Paper, voltage_v: float, current_a: float | None, sound: bool
    ) -> None:
        paper.low()
        paper.after()
        known = paper.after({LV_VOLTAGE: voltage_v, LV_CURRENT: current_a})
        assert known.lv_before_closing_v == (voltage_v if sound else None)


class TestWhatTripsUse:
    def test_the_last_two_rests_of_a_regulator_are_kept(self, paper: Paper) -> None:
        paper.low(8.0)
        paper.after()
        paper.low(100.0)
        known = paper.after()
        assert known.rest[LV_REGULATOR] == (Rest(8.0 / 460.0, 8.0), Rest(100.0 / 460.0, 100.0))

    def test_voltages_are_kept_ten_seconds_from_three_after_rest(self, paper: Paper) -> None:
        paper.low(100.0)
        for _ in range(20):
            paper.after()
        recent = [t for t, _v in paper.evidence.recent[LV_VOLTAGE]]
        assert len(recent) == 11
        paper.tell(LV_REGULATOR, 0.3, moving=True)
        assert paper.after().recent[LV_VOLTAGE] == ()

    def test_revoked_evidence_keeps_what_armed_trips_use(self) -> None:
        revoked = PROVEN.revoke()
        assert revoked._replace(revoked=False) == PROVEN

    def test_impedance_and_gap_are_the_nameplates_and_the_limits_until_measured(
        self, paper: Paper
    ) -> None:
        expected, none, scan = shipped(), Evidence(), paper.scan()
        assert none.loop_impedance_ohm(scan, expected) == expected.loop_impedance_ohm
        assert none.gap_at(400.0, expected) == pytest.approx(GAP_V)
        assert PROVEN.loop_impedance_ohm(scan, expected) == 35.0
        assert PROVEN.gap_at(200.0, expected) == pytest.approx(3.0)

    def test_a_measured_impedance_is_carried_to_how_warm_the_units_are(self, paper: Paper) -> None:
        """70 K of copper are 27 % more I²R; the reactance stays."""
        expected = shipped()
        paper.values |= {TOP_LIQUID_A: 81.0, TOP_LIQUID_B: 101.0}
        now = PROVEN.loop_impedance_ohm(paper.scan(), expected)
        warm, cold = expected.loop_impedance_at(91.0), expected.loop_impedance_at(ROOM_C)
        assert now == pytest.approx(35.0 * warm / cold)
        assert 1.03 < warm / cold < 1.08


def test_a_reading_that_arrives_late_is_dated_by_its_question(paper: Paper) -> None:
    paper.after()
    late = Reading(GUARD, paper.now, paper.now - 9 * S, 1.0)
    paper.evidence = Evidence()
    scan = paper.scan(unread=[GUARD])
    scan = replace(scan, image={**scan.image, GUARD: late}, alive={**scan.alive, GUARD: late.t})
    assert paper.evidence.after(scan, paper.expected).guard_shut == late.began
