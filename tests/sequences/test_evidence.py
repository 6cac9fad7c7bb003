"""Evidence: what sets each field, what voids it, and what it never comes from."""

from dataclasses import replace

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from drivers.reading import Reading
from sequences.evidence import Evidence, Gap, Loop, Rest, together
from sequences.expected import Expected
from sequences.prompt import PREPARATION, Answer, confirm
from sequences.scan import (
    GUARD,
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    WATCHDOG,
    S,
)
from tests.sequences.paper import HALF_V, Paper, shipped, with_meter

RATED_A = 100_000 / 6600
LIMIT_R = 0.004  # min(0.5 %, 0.1 u_k, a quarter of the tap step) of the shipped pair
GAP_V = LIMIT_R * 2 * 6600
ONE_RANGE = with_meter(SERIES_VOLTAGE, ranges=(15000.0,))
TWO_RANGES = with_meter(SERIES_VOLTAGE, ranges=(300.0, 15000.0))
PROVEN = Evidence(
    seen_open=1,
    watchdog_up=True,
    watchdog_dropped=True,
    watchdog_acted=1,
    guard_shut=1,
    answered={"people_clear": 2},
    lv_before_closing_v=HALF_V,
    loop=Loop(35.0, 3),
    wattmeter=3,
    voltmeter_ranges=frozenset({15000}),
    voltmeter=3,
    proof_complete=4,
    gap=Gap(6.0, 400.0, 6.0 / 13200, 5),
    opposed=5,
)


@pytest.fixture(name="paper")
def _paper() -> Paper:
    """Return a stand on paper at the start of a run."""
    return Paper()


@pytest.fixture(name="closed")
def _closed() -> Paper:
    """Return one with LV at half the impedance voltage and the loop just closed."""
    paper = Paper(ONE_RANGE)
    paper.tell(LV, 1.0)
    paper.low()
    paper.after()
    paper.tell(LOOP, 1.0)
    return paper


@pytest.fixture(name="proving")
def _proving(closed: Paper) -> Paper:
    """Return one whose closed loop has shown that the pair is not aiding."""
    closed.after()
    assert closed.evidence.not_aiding is not None
    return closed


@pytest.fixture(name="rated")
def _rated() -> Paper:
    """Return one with the proof complete, LV at rated voltage and the loop open."""
    paper = Paper()
    paper.evidence = replace(PROVEN, gap=None, opposed=None)
    paper.tell(LV, 1.0)
    paper.low(400.0)
    return paper


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

    def test_it_stands_while_the_loop_is_told_closed(self, closed: Paper) -> None:
        assert closed.after({LV_VOLTAGE: 4.0}).lv_before_closing_v == HALF_V

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


class TestNotAiding:
    # An aiding pair would drive half of rated current; a fifth of that is the limit.
    LIMIT_A = 0.2 * 0.5 * RATED_A

    def test_no_current_at_closing_is_not_aiding(self, closed: Paper) -> None:
        assert closed.after({HV_CURRENT: 0.99 * self.LIMIT_A}).not_aiding == closed.asked_at()

    def test_current_at_closing_is(self, closed: Paper) -> None:
        assert closed.after({HV_CURRENT: 1.01 * self.LIMIT_A}).not_aiding is None

    def test_a_bus_that_falls_by_more_than_a_fifth_is(self, closed: Paper) -> None:
        assert closed.after({LV_VOLTAGE: 0.79 * HALF_V}).not_aiding is None
        assert closed.after({LV_VOLTAGE: 0.81 * HALF_V}).not_aiding is not None

    @pytest.mark.parametrize("channel", [HV_CURRENT, LV_CURRENT])
    def test_an_ammeter_over_range_is(self, closed: Paper, channel: str) -> None:
        assert closed.after({channel: None}).not_aiding is None

    def test_a_dead_bus_shows_nothing(self) -> None:
        for share, shown in ((0.59, False), (0.61, True)):
            paper = Paper()
            paper.tell(LV, 1.0)
            paper.low(share * HALF_V)
            paper.after()
            paper.tell(LOOP, 1.0)
            assert (paper.after().not_aiding is not None) is shown

    def test_it_is_shown_with_the_loop_regulator_at_zero_only(self, closed: Paper) -> None:
        closed.tell(LOOP_REGULATOR, 1.1 * closed.expected.loop_regulator.zero_band)
        assert closed.after().not_aiding is None

    def test_readings_from_before_the_closing_show_nothing(self, closed: Paper) -> None:
        assert closed.after(unread=[HV_CURRENT, LV_VOLTAGE, LV_CURRENT]).not_aiding is None

    def test_a_contact_that_reads_open_shows_nothing(self, closed: Paper) -> None:
        known = closed.after({LOOP: 0.0})
        assert known.loop_closed is None
        assert known.not_aiding is None

    def test_opening_voids_it(self, proving: Paper) -> None:
        proving.tell(LOOP, 0.0)
        known = proving.after()
        assert known.loop_closed is None
        assert known.not_aiding is None


class TestLoop:
    def test_current_that_follows_voltage_proves_loop_and_wattmeter(self, proving: Paper) -> None:
        proving.loop(0.25 * RATED_A)
        known = proving.after()
        measured = (proving.values[HV_VOLTAGE] or 0.0) / (0.25 * RATED_A)
        assert known.loop == Loop(measured, proving.asked_at())
        assert known.wattmeter == proving.asked_at()

    @pytest.mark.parametrize(
        ("follows", "proves"), [(0.84, False), (0.86, True), (1.14, True), (1.16, False)]
    )
    def test_it_follows_within_a_sixth(self, proving: Paper, follows: float, proves: bool) -> None:
        proving.values |= {"a.top_liquid": 20.0, "b.top_liquid": 20.0}
        proving.loop(0.25 * RATED_A, follows)
        assert (proving.after().loop is not None) is proves

    def test_a_fifth_of_rated_current_is_needed(self, proving: Paper) -> None:
        proving.loop(0.19 * RATED_A)
        assert proving.after().loop is None
        proving.loop(0.21 * RATED_A)
        assert proving.after().loop is not None

    def test_a_contradiction_voids_it(self, proving: Paper) -> None:
        proving.loop(0.25 * RATED_A)
        proving.after()
        proving.loop(0.25 * RATED_A, follows=0.5)
        known = proving.after()
        assert known.loop is None
        assert known.wattmeter is None

    def test_nothing_is_proven_above_half_the_impedance_voltage(self, proving: Paper) -> None:
        proving.tell(LV_REGULATOR, 0.02)
        proving.loop(0.25 * RATED_A)
        assert proving.after().loop is None

    def test_nothing_is_proven_unless_not_aiding_was(self, closed: Paper) -> None:
        closed.loop(0.25 * RATED_A)
        assert closed.after().loop is None

    @pytest.mark.parametrize("power_factor", [-0.5, 0.0, 1.06])
    def test_a_wattmeter_reads_forwards_and_no_more_than_volts_times_amperes(
        self, proving: Paper, power_factor: float
    ) -> None:
        proving.loop(0.25 * RATED_A)
        assert proving.after().wattmeter is not None
        proving.loop(0.25 * RATED_A, power_factor=power_factor)
        known = proving.after()
        assert known.loop is not None
        assert known.wattmeter is None


class TestVoltmeter:
    def test_one_that_follows_is_proven(self, proving: Paper) -> None:
        proving.loop(0.25 * RATED_A)
        assert proving.after().voltmeter == proving.asked_at()

    @pytest.mark.parametrize(("factor", "proves"), [(0.74, False), (0.76, True), (1.24, True)])
    def test_it_follows_within_a_quarter(self, proving: Paper, factor: float, proves: bool) -> None:
        proving.loop(RATED_A)
        across = proving.values[HV_VOLTAGE] or 0.0
        assert (proving.after({SERIES_VOLTAGE: factor * across}).voltmeter is not None) is proves

    def test_one_that_follows_no_more_is_proven_no_more(self, proving: Paper) -> None:
        proving.loop(RATED_A)
        proving.after()
        known = proving.after({SERIES_VOLTAGE: 0.0})
        assert known.voltmeter is None
        assert not known.voltmeter_ranges

    def test_a_voltage_that_both_errors_may_explain_proves_nothing(self, proving: Paper) -> None:
        proving.values |= {HV_VOLTAGE: 5.0, SERIES_VOLTAGE: 5.0}
        assert proving.after().voltmeter is None

    def test_a_range_that_was_not_shown_a_voltage_judges_nothing(self) -> None:
        paper = _with_loop_shown(TWO_RANGES)
        paper.loop(0.8 * RATED_A)
        known = paper.after()
        assert known.voltmeter_ranges == {15000.0}
        assert known.voltmeter is None
        paper.loop(0.25 * RATED_A)
        known = paper.after()
        assert known.voltmeter_ranges == {300.0, 15000.0}
        assert known.voltmeter == paper.asked_at()

    def test_a_range_that_fails_later_takes_the_proof_along(self) -> None:
        paper = _with_loop_shown(TWO_RANGES)
        paper.loop(0.25 * RATED_A)
        assert paper.after().voltmeter is not None
        known = paper.after({SERIES_VOLTAGE: 10.0})
        assert known.voltmeter is None
        assert 300.0 not in known.voltmeter_ranges


class TestProofComplete:
    def _opened(self, paper: Paper) -> Evidence:
        paper.tell(LOOP_REGULATOR, 0.0)
        paper.tell(LOOP, 0.0)
        paper.loop(0.0)
        return paper.after()

    def test_it_needs_the_loop_seen_open_since(self, proving: Paper) -> None:
        proving.loop(RATED_A)
        assert proving.after().proof_complete is None
        assert self._opened(proving).proof_complete == proving.asked_at()

    def test_it_needs_the_contact_and_not_the_command_alone(self, proving: Paper) -> None:
        proving.loop(RATED_A)
        proving.after()
        proving.tell(LOOP, 0.0, moving=True)
        assert proving.after({LOOP: 1.0}).proof_complete is None

    @pytest.mark.parametrize(
        "spoilt", [{HV_CURRENT: 0.0, HV_POWER: 0.0}, {HV_POWER: -1.0}, {SERIES_VOLTAGE: 0.0}]
    )
    def test_it_needs_loop_and_wattmeter_and_voltmeter(
        self, proving: Paper, spoilt: dict[str, float]
    ) -> None:
        proving.loop(RATED_A)
        proving.after(spoilt)
        assert self._opened(proving).proof_complete is None

    def test_a_loop_that_contradicts_it_later_voids_it(self, proving: Paper) -> None:
        proving.loop(RATED_A)
        proving.after()
        assert self._opened(proving).proof_complete is not None
        proving.tell(LOOP, 1.0)
        proving.after()
        proving.loop(RATED_A, follows=0.5)
        known = proving.after()
        assert known.proof_complete is None
        assert known.opposed is None


class TestOpposition:
    @pytest.mark.parametrize(("share", "opposed"), [(0.99, True), (1.01, False)])
    def test_r_within_its_limit_at_rated_is_opposition(
        self, rated: Paper, share: float, opposed: bool
    ) -> None:
        known = rated.after({SERIES_VOLTAGE: share * GAP_V})
        assert known.opposed == (rated.asked_at() if opposed else None)

    def test_it_is_dated_by_the_voltmeter_and_goes_on_being_shown(self, rated: Paper) -> None:
        first = rated.after({SERIES_VOLTAGE: 5.0}).opposed
        assert rated.after(unread=[SERIES_VOLTAGE]).opposed == first
        assert rated.after().opposed == rated.asked_at()

    def test_r_above_its_limit_voids_it_and_leaves_the_gap_known(self, rated: Paper) -> None:
        gap = rated.after({SERIES_VOLTAGE: 5.0}).gap
        known = rated.after({SERIES_VOLTAGE: 1.01 * GAP_V})
        assert known.opposed is None
        assert known.gap == gap

    def test_it_is_shown_near_rated_voltage_only(self, rated: Paper) -> None:
        for share, shown in ((0.94, False), (0.96, True)):
            rated.low(share * 400.0)
            assert (rated.after({SERIES_VOLTAGE: 1.0}).opposed is not None) is shown

    def test_it_is_shown_with_the_loop_open_only(self, rated: Paper) -> None:
        rated.tell(LOOP, 1.0)
        assert rated.after().opposed is None

    def test_it_needs_a_complete_proof(self, rated: Paper) -> None:
        rated.evidence = replace(rated.evidence, proof_complete=None, loop=None)
        assert rated.after().opposed is None

    def test_both_voltages_have_to_begin_after_rest(self, rated: Paper) -> None:
        rated.after(unread=[], values={SERIES_VOLTAGE: 2 * GAP_V})
        rated.tell(LV_REGULATOR, 400.0 / 460.0)
        assert rated.after({SERIES_VOLTAGE: 1.0}, unread=[LV_VOLTAGE]).opposed is None


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
        assert replace(revoked, revoked=False) == PROVEN

    def test_impedance_and_gap_are_the_nameplates_and_the_limits_until_measured(self) -> None:
        expected, none = shipped(), Evidence()
        assert none.loop_impedance_ohm(expected) == expected.loop_impedance_ohm
        assert none.gap_at(400.0, expected) == pytest.approx(GAP_V)
        assert PROVEN.loop_impedance_ohm(expected) == 35.0
        assert PROVEN.gap_at(200.0, expected) == pytest.approx(3.0)


def _with_loop_shown(expected: Expected) -> Paper:
    """Return a stand on paper with the loop closed and not aiding."""
    paper = Paper(expected)
    paper.tell(LV, 1.0)
    paper.low()
    paper.after()
    paper.tell(LOOP, 1.0)
    paper.after()
    assert paper.evidence.not_aiding is not None
    return paper


def test_a_reading_that_arrives_late_is_dated_by_its_question(paper: Paper) -> None:
    paper.after()
    late = Reading(GUARD, paper.now, paper.now - 9 * S, 1.0)
    paper.evidence = Evidence()
    scan = paper.scan(unread=[GUARD])
    scan = replace(scan, image={**scan.image, GUARD: late}, alive={**scan.alive, GUARD: late.t})
    assert paper.evidence.after(scan, paper.expected).guard_shut == late.began
