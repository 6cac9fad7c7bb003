"""Permissives at their limits: what is just enough, and what just is not."""

from dataclasses import replace
from typing import Any

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from sequences.evidence import Evidence, Gap, Loop
from sequences.permissives import PERMISSIVES, Situation
from sequences.prompt import PREPARE_PROMPTS
from sequences.scan import (
    GUARD,
    HV_CURRENT,
    HV_VOLTAGE,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    Close,
    Move,
    S,
    Scan,
)
from sequences.schedule import Overload, Soak, WarmUp
from tests.sequences.paper import HALF_V, Paper, shipped

NOTHING = Evidence()
RATED_A = 100_000 / 6600
# At 1.15 of |2 Z_e| and the source's own resistance, V for each ampere.
OHM = 1.15 * shipped().loop_impedance_ohm + 1.3


@pytest.fixture(name="paper")
def _paper() -> Paper:
    """Return a stand on paper, everything open and at zero."""
    return Paper()


def met(name: str, request: Close | Move, scan: Scan, evidence: Evidence = NOTHING) -> bool:
    """Return whether the named permissive of a request's output is met."""
    row = next(p for p in PERMISSIVES[request.output] if p.name == name)
    return row.met(Situation(scan, evidence, shipped(), request))


def without(evidence: Evidence, field: str) -> Evidence:
    """Return evidence that lacks one field."""
    lacking: dict[str, Any] = {field: None}
    return evidence._replace(**lacking)


def to_lv(volts: float) -> Move:
    return Move(LV_REGULATOR, volts / 460.0)


def to_loop(volts: float) -> Move:
    return Move(LOOP_REGULATOR, volts / 700.0)


class TestContactsAndPositions:
    def test_a_reading_as_old_as_it_may_be_is_young_enough(self, paper: Paper) -> None:
        scan = paper.scan(earlier=())
        evidence = NOTHING._replace(guard_shut=1)
        for age, enough in ((S, True), (S + 1, False)):
            reading = scan.image[GUARD]._replace(t=scan.now - age)
            scan.image = {**scan.image, GUARD: reading}
            assert met("guard shut", Close(LV), scan, evidence) is enough

    def test_half_a_contact_is_neither_open_nor_closed(self, paper: Paper) -> None:
        evidence = NOTHING._replace(guard_shut=1)
        assert not met("guard shut", Close(LV), paper.scan({GUARD: 0.5}), evidence)
        half = paper.scan({SELECTOR: 0.5})
        assert not met("resistance selector open", Close(LV), half)
        assert not met("resistance selector open", Close(LV), paper.scan({SELECTOR: 1.0}))

    @pytest.mark.parametrize(
        ("output", "regulator", "name"),
        [
            (LV, LV_REGULATOR, "LV regulator at zero"),
            (LOOP, LOOP_REGULATOR, "loop regulator at zero"),
        ],
    )
    def test_zero_is_within_the_stands_zero_band(
        self, paper: Paper, output: str, regulator: str, name: str
    ) -> None:
        assert met(name, Close(output), paper.scan({regulator: 0.002}))
        assert not met(name, Close(output), paper.scan({regulator: 0.0021}))

    def test_each_regulator_has_a_zero_band_of_its_own(self, paper: Paper) -> None:
        loose = replace(shipped().loop_regulator, zero_band=0.01)
        expected = replace(shipped(), loop_regulator=loose)
        for output, regulator, name, at_zero in (
            (LV, LV_REGULATOR, "LV regulator at zero", False),
            (LOOP, LOOP_REGULATOR, "loop regulator at zero", True),
        ):
            row = next(p for p in PERMISSIVES[output] if p.name == name)
            scan = paper.scan({regulator: 0.009})
            assert row.met(Situation(scan, NOTHING, expected, Close(output))) is at_zero

    def test_main_contactors_are_open_only_when_both_are_told_to_be(self, paper: Paper) -> None:
        for told in ((LV,), (LOOP,), (LV, LOOP)):
            stand = Paper()
            for output in told:
                stand.tell(output, 1.0, moving=True)
            assert not met("main contactors open", Close(SELECTOR), stand.scan())
        assert met("main contactors open", Close(SELECTOR), paper.scan())

    @pytest.mark.parametrize("channel", [LV_VOLTAGE, SERIES_VOLTAGE, HV_VOLTAGE])
    def test_a_voltage_is_gone_below_50_v(self, paper: Paper, channel: str) -> None:
        assert met("voltages gone", Close(SELECTOR), paper.scan({channel: 49.9}))
        assert not met("voltages gone", Close(SELECTOR), paper.scan({channel: 50.0}))


class TestPrompts:
    @pytest.mark.parametrize("missing", PREPARE_PROMPTS)
    def test_every_prompt_is_needed(self, paper: Paper, missing: str) -> None:
        answered = {p: 6 for p in PREPARE_PROMPTS if p != missing}
        evidence = NOTHING._replace(guard_shut=0, answered=answered)
        assert not met("prompts answered", Close(LV), paper.scan(), evidence)

    def test_put_when_the_guard_was_read_shut_is_soon_enough(self, paper: Paper) -> None:
        for t, enough in ((5, True), (4, False)):
            evidence = NOTHING._replace(guard_shut=5, answered=dict.fromkeys(PREPARE_PROMPTS, t))
            assert met("prompts answered", Close(LV), paper.scan(), evidence) is enough


class TestLvRaise:
    PROOF = "proof complete, or half the impedance voltage"
    LOOP_OPEN = "loop open, or opposed at rated"
    READ = "LV read since the last move"
    SHOWN = NOTHING._replace(proof_complete=4, opposed=5)

    def test_above_half_the_impedance_voltage_the_proof_is_complete(self, paper: Paper) -> None:
        scan, proven = paper.scan(), NOTHING._replace(proof_complete=4)
        for volts, low in ((1.02 * HALF_V - 0.01, True), (1.02 * HALF_V + 0.01, False)):
            assert met(self.PROOF, to_lv(volts), scan) is low
            assert met(self.PROOF, to_lv(volts), scan, proven)

    def test_low_or_the_loop_told_and_seen_open_or_opposed(self, paper: Paper) -> None:
        assert met(self.LOOP_OPEN, to_lv(400.0), paper.scan())
        paper.tell(LOOP, 1.0, moving=True)
        assert not met(self.LOOP_OPEN, to_lv(400.0), paper.scan())
        paper.tell(LOOP, 0.0, moving=True)
        assert not met(self.LOOP_OPEN, to_lv(400.0), paper.scan({LOOP: 1.0}))
        assert met(self.LOOP_OPEN, to_lv(HALF_V), paper.scan())
        assert met(self.LOOP_OPEN, to_lv(400.0), paper.scan(), self.SHOWN)
        for field in ("proof_complete", "opposed"):
            less = without(self.SHOWN, field)
            assert not met(self.LOOP_OPEN, to_lv(400.0), paper.scan(), less)

    def test_a_bus_that_nobody_reads_explains_no_drop(self, paper: Paper) -> None:
        paper.tell(LV_REGULATOR, 0.8)
        scan = paper.scan({LV_VOLTAGE: None})
        assert met("LV within 1.1 of rated", to_lv(439.9), scan)
        assert not met("LV within 1.1 of rated", to_lv(440.5), scan)

    def test_it_was_read_since_the_regulator_came_to_rest(self, paper: Paper) -> None:
        averaging = shipped().averaging_ns
        for rest_before, enough in ((averaging, True), (averaging - 1, False), (None, False)):
            scan = paper.scan()
            state = scan.outputs[LV_REGULATOR]
            began = scan.image[LV_VOLTAGE].began
            rest = None if rest_before is None else began - rest_before
            scan.outputs = {**scan.outputs, LV_REGULATOR: state._replace(at_rest_since=rest)}
            assert met(self.READ, to_lv(HALF_V), scan) is enough
        assert not met(self.READ, to_lv(HALF_V), paper.scan({LV_VOLTAGE: None}))


class TestLoopClose:
    NAME = "LV low, or opposed at rated"
    # Two polls of the series voltmeter and its latency.
    AGE = shipped().two_polls_ns(SERIES_VOLTAGE)

    def test_at_rated_opposition_is_shown_by_a_proven_meter_and_fresh(self, paper: Paper) -> None:
        paper.tell(LV_REGULATOR, 400 / 460)
        scan = paper.scan()
        shown = NOTHING._replace(proof_complete=4, voltmeter=3, opposed=scan.now - self.AGE)
        assert met(self.NAME, Close(LOOP), scan, shown)
        for field in ("proof_complete", "voltmeter", "opposed"):
            assert not met(self.NAME, Close(LOOP), scan, without(shown, field))
        old = shown._replace(opposed=scan.now - self.AGE - 1)
        assert not met(self.NAME, Close(LOOP), scan, old)

    @pytest.mark.parametrize(("told", "contact"), [(0.0, 1.0), (0.5, 1.0), (1.0, 0.5)])
    def test_lv_is_closed_by_command_and_contact(
        self, paper: Paper, told: float, contact: float
    ) -> None:
        paper.tell(LV, 1.0)
        assert met("LV contactor closed", Close(LOOP), paper.scan())
        paper.tell(LV, told)
        assert not met("LV contactor closed", Close(LOOP), paper.scan({LV: contact}))


class TestLoopRaise:
    QUARTER = "loop proven, or a quarter of rated current"
    CAP = "voltage within its cap"
    READ = "loop read since the last move"
    GAP = Gap(13.2, 400.0, 0.001, 5)

    def test_not_aiding_was_shown(self, paper: Paper) -> None:
        name, shown = "not aiding since this closing", NOTHING._replace(not_aiding=3)
        assert met(name, to_loop(10.0), paper.scan(), shown)
        assert not met(name, to_loop(10.0), paper.scan())

    def test_unproven_it_gets_what_a_quarter_needs(self, paper: Paper) -> None:
        scan, most = paper.scan(), OHM * 0.25 * RATED_A
        assert met(self.QUARTER, to_loop(most - 0.01), scan)
        assert not met(self.QUARTER, to_loop(most + 0.01), scan)
        assert met(self.QUARTER, to_loop(600.0), scan, NOTHING._replace(loop=Loop(35.0, 3, 20.0)))

    @pytest.mark.parametrize(
        ("gap", "lv_v", "gap_v"),
        [
            (None, 400.0, 0.0),
            (GAP, 400.0, 13.2),
            (GAP, 200.0, 6.6),
            (GAP, 0.0, 0.0),
            (GAP, None, 0),
        ],
    )
    def test_proven_it_gets_what_rated_current_needs_and_the_gap(
        self, paper: Paper, gap: Gap | None, lv_v: float | None, gap_v: float
    ) -> None:
        scan = paper.scan({LV_VOLTAGE: lv_v})
        evidence = NOTHING._replace(loop=Loop(34.0, 3, 20.0), gap=gap)
        most = (1.15 * 34.0 + 1.3) * RATED_A + gap_v
        assert met(self.CAP, to_loop(most - 0.01), scan, evidence)
        assert not met(self.CAP, to_loop(most + 0.01), scan, evidence)

    def test_a_schedule_with_more_than_rated_current_gets_what_that_needs(
        self, paper: Paper
    ) -> None:
        """Its step of overload or of a shortened warm-up, whichever is larger, and no more."""
        evidence = NOTHING._replace(loop=Loop(34.0, 3, 20.0))
        soak = Soak("IEC 60076-2", 16.0, warm_up=WarmUp(1.1), overload=Overload(1.2, 1.0))
        schedule = replace(shipped().schedule, soak=soak)
        expected = replace(shipped(), schedule=schedule)
        row = next(p for p in PERMISSIVES[LOOP_REGULATOR] if p.name == self.CAP)
        most = (1.15 * 34.0 + 1.3) * 1.2 * RATED_A
        for volts, is_met in ((most - 0.01, True), (most + 0.01, False)):
            at = Situation(paper.scan(), evidence, expected, to_loop(volts))
            assert row.met(at) is is_met

    @pytest.mark.parametrize("channel", [HV_VOLTAGE, HV_CURRENT])
    def test_both_its_meters_were_read_since_it_came_to_rest(
        self, paper: Paper, channel: str
    ) -> None:
        scan = paper.scan()
        assert met(self.READ, to_loop(10.0), scan)
        old = scan.image[channel]._replace(began=0)
        moved = scan.outputs[LOOP_REGULATOR]._replace(at_rest_since=S)
        scan.outputs = {**scan.outputs, LOOP_REGULATOR: moved}
        assert met(self.READ, to_loop(10.0), scan)
        scan.image = {**scan.image, channel: old}
        assert not met(self.READ, to_loop(10.0), scan)
