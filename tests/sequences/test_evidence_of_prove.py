"""Evidence of the prove stage and of opposition: what shows it, what voids it."""

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from sequences.evidence import Evidence, Loop
from sequences.expected import Expected
from sequences.scan import (
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
)
from tests.sequences.paper import HALF_V, PROVEN, Paper, with_meter

RATED_A = 100_000 / 6600
LIMIT_R = 0.004  # min(0.5 %, 0.1 u_k, a quarter of the tap step) of the shipped pair
GAP_V = LIMIT_R * 2 * 6600
ONE_RANGE = with_meter(SERIES_VOLTAGE, ranges=(15000.0,))
TWO_RANGES = with_meter(SERIES_VOLTAGE, ranges=(300.0, 15000.0))


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
    paper.evidence = PROVEN._replace(gap=None, opposed=None)
    paper.tell(LV, 1.0)
    paper.low(400.0)
    return paper


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
        for share, shown in ((0.44, False), (0.46, True)):
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
        assert known.loop == Loop(measured, proving.asked_at(), 20.0)
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
        rated.evidence = rated.evidence._replace(proof_complete=None, loop=None)
        assert rated.after().opposed is None

    def test_both_voltages_have_to_begin_after_rest(self, rated: Paper) -> None:
        rated.after(unread=[], values={SERIES_VOLTAGE: 2 * GAP_V})
        rated.tell(LV_REGULATOR, 400.0 / 460.0)
        assert rated.after({SERIES_VOLTAGE: 1.0}, unread=[LV_VOLTAGE]).opposed is None


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
