"""Evidence at its limits: what just is shown, and what just is not."""

from dataclasses import replace

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV_REGULATOR, OutputState
from drivers.reading import Quality, Reading
from sequences.criteria import aiding_seen, is_lv_sound, shows_voltmeter, voltmeter_error_v
from sequences.evidence import Evidence, Gap, is_answer_to, is_closed, is_open, unit_c
from sequences.following import Rest
from sequences.prompt import Answer
from sequences.scan import (
    GUARD,
    HV_POWER,
    HV_VOLTAGE,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    TOP_LIQUID_A,
    TOP_LIQUID_B,
    S,
)
from tests.sequences.paper import PROVEN, Paper, shipped


@pytest.fixture(name="paper")
def _paper() -> Paper:
    """Return a stand on paper at the start of a run."""
    return Paper()


class TestContacts:
    def test_half_a_contact_is_neither_open_nor_closed(self, paper: Paper) -> None:
        scan = paper.scan({GUARD: 0.5})
        assert not is_open(scan, GUARD)
        assert not is_closed(scan, GUARD)

    def test_an_unread_guard_is_left_to_its_trip_with_the_loop_closed_alone(
        self, paper: Paper
    ) -> None:
        paper.after()
        paper.evidence = PROVEN
        paper.tell(LOOP, 1.0)
        assert paper.after(unread=[GUARD]).proof_complete == PROVEN.proof_complete

    def test_with_no_prompt_open_nothing_is_its_answer(self, paper: Paper) -> None:
        assert not is_answer_to(Answer("people_clear", "a", "b", 1, True, 0), paper.scan())


class TestLiquid:
    @pytest.mark.parametrize(
        ("a", "b", "mean"), [(20.0, 30.0, 25.0), (None, 30.0, 30.0), (None, None, 75.0)]
    )
    def test_the_mean_of_what_is_read_or_the_reference(
        self, paper: Paper, a: float | None, b: float | None, mean: float
    ) -> None:
        scan = paper.scan({TOP_LIQUID_A: a, TOP_LIQUID_B: b})
        assert unit_c(scan, shipped()) == mean


class TestCriteria:
    """Figures of the shipped pair: the share of the pair at 8 V is 0.18 A."""

    def test_a_sound_bus_has_half_its_promise_and_draws_no_more_than_20_shares(self) -> None:
        expected = shipped()
        assert is_lv_sound(expected, 8.0, 4.0, 1.0)
        assert not is_lv_sound(expected, 8.0, 3.99, 1.0)
        assert is_lv_sound(expected, 8.0, 8.0, 3.6 * (1 - 1e-9))
        assert not is_lv_sound(expected, 8.0, 8.0, 3.61)

    def test_aiding_is_a_fifth_of_what_it_would_drive_or_a_bus_that_falls(self) -> None:
        # At 8 V an aiding pair would drive half of rated current, 7.58 A.
        expected, most = shipped(), 0.2 * 0.5 * 100_000 / 6600
        assert not aiding_seen(expected, 8.0, most - 1e-6, 8.0)
        assert aiding_seen(expected, 8.0, most + 1e-6, 8.0)
        assert not aiding_seen(expected, 8.0, 0.0, 6.41)
        assert aiding_seen(expected, 8.0, 0.0, 6.39)

    def test_a_voltage_that_may_lie_on_either_range_shows_nothing(self) -> None:
        # The series voltmeter changes its range at 150 V; the HV analyser is 0.5 V off there.
        expected = shipped()
        for volts, shows in ((140.0, True), (149.8, False), (150.2, False)):
            assert shows_voltmeter(expected, volts, volts) is shows
        assert shows_voltmeter(expected, 200.0, 200.0)

    def test_near_the_end_of_a_range_the_next_ones_error_counts(self) -> None:
        # 0.1 % of reading and 0.02 % of 150 or 15000 V; of the HV analyser 0.05 % and 0.5 V.
        expected = shipped()
        assert voltmeter_error_v(expected, 100.0, 100.0) == pytest.approx(0.55 + 0.13055)
        assert voltmeter_error_v(expected, 149.8, 149.8) > 3.0


class TestOpposition:
    def test_the_gap_is_known_with_both_voltages_and_when(self, paper: Paper) -> None:
        paper.evidence = PROVEN
        paper.low(400.0)
        known = paper.after({SERIES_VOLTAGE: 26.4})
        assert known.gap is not None
        assert known.gap._replace(ratio=0.0) == Gap(26.4, 400.0, 0.0, paper.asked_at())
        assert known.gap.ratio == pytest.approx(0.002)
        assert known.opposed == paper.asked_at()

    def test_it_is_shown_with_the_loop_told_open_only(self, paper: Paper) -> None:
        paper.evidence = PROVEN
        paper.low(400.0)
        before = paper.evidence.opposed
        paper.outputs[LOOP] = OutputState(1.0, paper.now, paper.now, 1)
        assert paper.after({SERIES_VOLTAGE: 26.4, LOOP: 0.0}).opposed == before

    def test_the_proof_is_not_complete_with_the_loop_told_closed(self, paper: Paper) -> None:
        paper.evidence = PROVEN._replace(proof_complete=None)
        paper.outputs[LOOP] = OutputState(1.0, paper.now, paper.now, 1)
        assert paper.after({LOOP: 0.0}).proof_complete is None
        paper.tell(LOOP, 0.0)
        assert paper.after().proof_complete == paper.asked_at()


class TestLoop:
    """Not aiding was shown, the loop is closed and carries what 20 % of rated needs or more."""

    def _proving(self, paper: Paper) -> Paper:
        paper.low()
        paper.tell(LOOP, 1.0)
        paper.evidence = PROVEN._replace(loop_closed=1, not_aiding=2)
        return paper

    def test_a_current_without_a_voltage_is_judged_by_its_checks_alone(self, paper: Paper) -> None:
        self._proving(paper).loop(4.0)
        assert paper.after({HV_VOLTAGE: 0.0}).loop == PROVEN.loop

    def test_a_voltage_that_explains_no_current_voids_the_loop(self, paper: Paper) -> None:
        self._proving(paper).loop(4.0)
        known = paper.after({HV_VOLTAGE: 0.5})
        assert (known.loop, known.wattmeter) == (None, None)

    def test_any_power_forwards_shows_the_sense_of_the_wattmeter(self, paper: Paper) -> None:
        self._proving(paper).loop(4.0)
        assert paper.after({HV_POWER: 0.5}).wattmeter == paper.asked_at()

    def test_without_a_temperature_the_reference_is_taken(self, paper: Paper) -> None:
        self._proving(paper).loop(4.0)
        known = paper.after({TOP_LIQUID_A: None, TOP_LIQUID_B: None})
        assert known.loop is not None
        assert known.loop.t == paper.asked_at()


class TestRest:
    def test_a_new_reading_at_the_same_rest_keeps_the_rest_before(self, paper: Paper) -> None:
        paper.low(8.0)
        paper.after()
        paper.low(100.0)
        paper.after()
        known = paper.after({LV_VOLTAGE: 90.0})
        assert known.rest[LV_REGULATOR] == (Rest(8.0 / 460.0, 8.0), Rest(100.0 / 460.0, 90.0))

    @pytest.mark.parametrize("why", ["moving", "unread", "early"])
    def test_one_supply_hides_none_of_the_other(self, paper: Paper, why: str) -> None:
        if why == "moving":
            paper.tell(LV_REGULATOR, 0.1, moving=True)
        elif why == "early":
            paper.outputs[LV_REGULATOR] = OutputState(0.1, 0, 0, paper.now + S)
        known = paper.after({LV_VOLTAGE: None if why == "unread" else 5.0, HV_VOLTAGE: 7.0})
        assert known.rest[LOOP_REGULATOR] == (None, Rest(0.0, 7.0))
        assert LV_REGULATOR not in known.rest

    @pytest.mark.parametrize(("short", "kept"), [(0, True), (1, False)])
    def test_a_voltage_is_of_a_rest_after_the_averaging(
        self, paper: Paper, short: int, kept: bool
    ) -> None:
        began = paper.now + S - round(0.3 * S)
        rest = began - shipped().averaging_ns + short
        paper.outputs[LV_REGULATOR] = OutputState(0.1, 0, 0, rest)
        known = paper.after({LV_VOLTAGE: 46.0})
        assert (LV_REGULATOR in known.rest) is kept


class TestRecent:
    def _rest(self, paper: Paper, ago_ns: int) -> None:
        began = paper.now + S - round(0.3 * S)
        for output, state in paper.outputs.items():
            paper.outputs[output] = state._replace(at_rest_since=began - ago_ns)

    @pytest.mark.parametrize(("ago", "kept"), [(3 * S, True), (3 * S - 1, False)])
    def test_a_voltage_counts_3_s_after_rest(self, paper: Paper, ago: int, kept: bool) -> None:
        self._rest(paper, ago)
        known = paper.after({LV_VOLTAGE: 100.0})
        assert (LV_VOLTAGE in known.recent) is kept

    def test_one_that_is_not_read_adds_nothing(self, paper: Paper) -> None:
        self._rest(paper, 5 * S)
        paper.after({LV_VOLTAGE: 100.0})
        before = paper.evidence.recent[LV_VOLTAGE]
        assert paper.after({LV_VOLTAGE: None}).recent[LV_VOLTAGE] == before
        assert len(before) == 1

    def test_the_same_reading_counts_once(self, paper: Paper) -> None:
        self._rest(paper, 5 * S)
        for _ in range(3):
            paper.after({LV_VOLTAGE: 100.0})
        paper.after(unread=[LV_VOLTAGE])
        assert len(paper.evidence.recent[LV_VOLTAGE]) == 3

    def test_what_is_exactly_ten_seconds_old_is_kept(self, paper: Paper) -> None:
        self._rest(paper, 5 * S)
        for _ in range(12):
            paper.after({LV_VOLTAGE: 100.0})
        kept = [t for t, _ in paper.evidence.recent[LV_VOLTAGE]]
        assert kept[-1] - kept[0] == 10 * S

    def test_what_began_with_the_new_rest_is_kept(self, paper: Paper) -> None:
        """A move that began and ended between two scans leaves what is of its own rest."""
        paper.after()
        t = paper.now
        readings = tuple((t - n * S, 100.0) for n in (3, 2, 1))
        paper.evidence = Evidence(recent={LV_VOLTAGE: readings})
        state = paper.outputs[LV_REGULATOR]
        paper.outputs[LV_REGULATOR] = state._replace(at_rest_since=t - 2 * S)
        assert paper.after(unread=[LV_VOLTAGE]).recent.get(LV_VOLTAGE) == readings[1:]


def test_a_scan_that_brings_nothing_new_changes_nothing(paper: Paper) -> None:
    """What changed is what is told: a live display redraws no more than that."""
    paper.after()
    known = paper.evidence
    scan = paper.scan(unread=list(paper.values))
    fresh = {c: r._replace(t=scan.now, began=r.began) for c, r in scan.image.items()}
    scan = replace(scan, image=fresh, alive=dict.fromkeys(scan.alive, scan.now))
    after = known.after(scan, shipped())
    assert after._replace(recent={}) == known._replace(recent={})


def test_a_bad_reading_is_of_no_contact(paper: Paper) -> None:
    scan = paper.scan()
    bad = Reading(GUARD, scan.now, scan.now, None, Quality.BAD, "silent")
    scan = replace(scan, image={**scan.image, GUARD: bad})
    assert not is_open(scan, GUARD)
    assert not is_closed(scan, GUARD)
