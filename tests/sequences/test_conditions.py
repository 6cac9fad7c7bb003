"""When trips are armed and what they tolerate: each limit from both of its sides.

Limits are those of the design, in figures of the shipped pair: 400 V, 50 Hz, 15.15 A in the loop,
no-load current 4.5 A a unit, r limit 0.4 %, ratio 16.5.
"""

from collections.abc import Mapping
from dataclasses import replace
from math import inf

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, OutputState
from sequences import conditions as when
from sequences import warm_conditions as warm
from sequences.conditions import View
from sequences.evidence import Evidence, Gap, Loop
from sequences.following import Rest
from sequences.prompt import OPERATOR_ABORT, OPERATOR_STOP, PREPARATION, Answer, confirm
from sequences.scan import (
    FREQUENCY,
    HV_CURRENT,
    HV_VOLTAGE,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    TOP_LIQUID_A,
    TOP_LIQUID_B,
    Scan,
)
from tests.sequences.built import ns, scan, told
from tests.sequences.paper import shipped

NOTHING = Evidence()
HALF = 8.0 / 460.0  # of the LV regulator's travel: half the impedance voltage
RATED_A = 100_000 / 6600
ALMOST = 1e-6


def view(
    values: Mapping[str, float | None] | None = None,
    *,
    outputs: Mapping[str, OutputState] | None = None,
    evidence: Evidence = NOTHING,
    now: float = 100.0,
) -> View:
    """Return what a trip looks at, a healthy stand but for what is given."""
    return View(scan(now, values=values, outputs=outputs), evidence, shipped())


def closed(*contactors: str) -> dict[str, OutputState]:
    """Return contactors that were told to close, and are at rest since the start."""
    return {o: s for c in contactors for o, s in told(c, 1.0).items()}


class TestContacts:
    @pytest.mark.parametrize("value", [0.0, 1.0])
    def test_a_contact_reads_open_or_closed(self, value: float) -> None:
        assert when.opened(value, view()) is (value == 0.0)
        assert when.closed(value, view()) is (value == 1.0)

    def test_half_a_contact_is_neither(self) -> None:
        assert not when.opened(0.5, view())
        assert not when.closed(0.5, view())

    @pytest.mark.parametrize(
        ("armed", "contactor"), [(when.lv_closed, LV), (when.loop_closed, LOOP)]
    )
    def test_a_contactor_is_closed_by_its_contact_or_by_its_command(
        self, armed: when.Armed, contactor: str
    ) -> None:
        other = LOOP if contactor == LV else LV
        assert not armed(view())
        assert armed(view({contactor: 1.0}))
        assert armed(view(outputs=closed(contactor)))
        assert not armed(view({other: 1.0}, outputs=closed(other)))
        assert not armed(view({contactor: 0.5}, outputs=told(contactor, 0.5)))

    @pytest.mark.parametrize("contactor", [LV, LOOP])
    def test_any_closed_is_either(self, contactor: str) -> None:
        assert not when.any_closed(view())
        assert when.any_closed(view({contactor: 1.0}))

    @pytest.mark.parametrize("contactor", [LV, LOOP])
    def test_told_and_held(self, contactor: str) -> None:
        open_, closed_ = view(), view(outputs=closed(contactor))
        on_its_way = view(outputs=told(contactor, 1.0, rest=None))
        assert when.told_open(contactor)(open_)
        assert not when.told_open(contactor)(closed_)
        assert not when.told_closed(contactor)(open_)
        assert when.told_closed(contactor)(closed_)
        assert when.held_closed(contactor)(closed_)
        assert not when.held_closed(contactor)(open_)
        assert not when.held_closed(contactor)(on_its_way)

    @pytest.mark.parametrize("what", [{LV: 1.0}, {LOOP: 1.0}])
    def test_a_closed_contact_is_energised(self, what: Mapping[str, float]) -> None:
        assert when.energised(view(what))
        assert not when.energised(view())

    @pytest.mark.parametrize("contactor", [LV, LOOP])
    def test_a_command_to_close_is_energised(self, contactor: str) -> None:
        assert when.energised(view(outputs=told(contactor, 1.0, rest=None)))

    @pytest.mark.parametrize("channel", [LV_VOLTAGE, HV_VOLTAGE, SERIES_VOLTAGE])
    def test_more_than_50_v_anywhere_is_energised(self, channel: str) -> None:
        assert not when.energised(view({channel: 50.0}))
        assert when.energised(view({channel: 50.1}))
        assert not when.energised(view({channel: None}))

    def test_the_loop_is_told_open_when_told_and_read_so(self) -> None:
        assert when.loop_told_open(view())
        assert not when.loop_told_open(view({LOOP: 1.0}))
        assert not when.loop_told_open(view(outputs=closed(LOOP)))


class TestVoltageAndFlux:
    def test_lv_above_1_1_of_rated(self) -> None:
        assert not when.above_rated_lv(440.0, view())
        assert when.above_rated_lv(440.1, view())

    @pytest.mark.parametrize("frequency", [50.0, 40.0])
    def test_flux_above_1_1_of_rated(self, frequency: float) -> None:
        most = 8.8 * frequency
        assert not when.too_much_flux(most - 0.1, view({FREQUENCY: frequency}))
        assert when.too_much_flux(most + 0.1, view({FREQUENCY: frequency}))

    @pytest.mark.parametrize("frequency", [None, 0.0])
    def test_flux_without_a_frequency_is_not_judged(self, frequency: float | None) -> None:
        assert when.too_much_flux(440.0, view({FREQUENCY: frequency})) is False

    @pytest.mark.parametrize(("value", "off"), [(50.5, False), (50.51, True), (49.49, True)])
    def test_frequency_off_by_more_than_1_percent(self, value: float, off: bool) -> None:
        assert when.off_frequency(value, view()) is off

    def test_frequency_is_judged_above_half_of_rated_lv(self) -> None:
        assert not when.lv_above_half(view({LV_VOLTAGE: 200.0}))
        assert when.lv_above_half(view({LV_VOLTAGE: 200.1}))
        assert not when.lv_above_half(view({LV_VOLTAGE: None}))


class TestLvSupply:
    """More than two unloaded twins and their exchange can draw; in prove, 1.25 of rated."""

    HIGH = told(LV_REGULATOR, 400 / 460)

    @pytest.mark.parametrize(
        ("lv_v", "loop_a", "most_a"),
        # 3 shares of the pair at this voltage, at least 4 times I0 of a unit; 1.5 % of n I.
        [
            (400.0, 0.0, 27.0),
            (350.0, 0.0, 23.625),
            (100.0, 0.0, 18.0),
            (None, 0.0, 18.0),
            (400.0, 10.0, 27.0 + 0.015 * 16.5 * 10.0),
            (400.0, None, 27.0),
        ],
    )
    def test_above_what_unloaded_units_draw(
        self, lv_v: float | None, loop_a: float | None, most_a: float
    ) -> None:
        at = view({LV_VOLTAGE: lv_v, HV_CURRENT: loop_a}, outputs=self.HIGH)
        assert not when.lv_supply_over(most_a - ALMOST, at)
        assert when.lv_supply_over(most_a + ALMOST, at)

    def test_in_prove_with_the_loop_closed_above_1_25_of_rated(self) -> None:
        at = view(outputs=told(LV_REGULATOR, HALF) | closed(LOOP))
        assert not when.lv_supply_over(312.5, at)
        assert when.lv_supply_over(312.6, at)

    def test_prove_lasts_3_s_after_the_loop_opened(self) -> None:
        low = told(LV_REGULATOR, HALF)
        for since, proving in ((97.1, True), (97.0, False)):
            outputs = low | told(LOOP, 0.0, since=since)
            assert when.proving_with_loop(view(outputs=outputs)) is proving
        assert when.proving_with_loop(view(outputs=low | closed(LOOP)))
        assert when.proving_with_loop(view({LOOP: 1.0}, outputs=low))
        high = told(LV_REGULATOR, 1.03 * HALF)
        assert not when.proving_with_loop(view(outputs=high | closed(LOOP)))

    @pytest.mark.parametrize(
        ("position", "contactor", "rest", "armed"),
        [
            (41 / 460, LV, 97.9, True),
            (40 / 460, LV, 97.9, False),
            (41 / 460, LOOP, 97.9, False),
            (41 / 460, LV, 98.0, False),
            (41 / 460, LV, None, False),
        ],
    )
    def test_its_loss_is_judged_above_a_tenth_at_rest_for_2_s(
        self, position: float, contactor: str, rest: float | None, armed: bool
    ) -> None:
        outputs = closed(contactor) | told(LV_REGULATOR, position, rest=rest)
        assert when.lv_set_up(view(outputs=outputs)) is armed

    def test_it_is_lost_below_half_of_the_promise(self) -> None:
        at = view(outputs=told(LV_REGULATOR, 0.5))
        assert not when.lv_gone(115.0, at)
        assert when.lv_gone(114.9, at)


class TestLoop:
    def test_current_above_1_15_of_rated(self) -> None:
        assert not when.loop_over(1.15 * RATED_A - ALMOST, view())
        assert when.loop_over(1.15 * RATED_A + ALMOST, view())

    def test_current_with_the_loop_open_above_5_percent(self) -> None:
        assert not when.loop_current_flows(0.05 * RATED_A - ALMOST, view())
        assert when.loop_current_flows(0.05 * RATED_A + ALMOST, view())

    OPPOSED = NOTHING._replace(gap=Gap(30.0, 400.0, 0.0023, 5))

    @pytest.mark.parametrize(
        ("values", "outputs", "evidence", "armed"),
        [
            ({LV_VOLTAGE: 380.1}, {}, OPPOSED, True),
            ({LV_VOLTAGE: 380.0}, {}, OPPOSED, False),
            ({LV_VOLTAGE: None}, {}, OPPOSED, False),
            ({LV_VOLTAGE: 400.0}, {}, NOTHING, False),
            ({LV_VOLTAGE: 400.0, LOOP: 1.0}, {}, OPPOSED, False),
            ({LV_VOLTAGE: 400.0}, closed(LOOP), OPPOSED, False),
        ],
    )
    def test_opposition_may_be_lost_where_it_was_shown(
        self,
        values: Mapping[str, float | None],
        outputs: Mapping[str, OutputState],
        evidence: Evidence,
        armed: bool,
    ) -> None:
        assert when.opposition_shown(view(values, outputs=outputs, evidence=evidence)) is armed

    @pytest.mark.parametrize("lv_v", [400.0, 390.0])
    def test_r_above_1_25_of_its_limit(self, lv_v: float) -> None:
        most = 1.25 * 0.004 * 2 * 16.5 * lv_v
        assert not when.not_opposed(most - ALMOST, view({LV_VOLTAGE: lv_v}))
        assert when.not_opposed(most + ALMOST, view({LV_VOLTAGE: lv_v}))
        assert when.not_opposed(most, view({LV_VOLTAGE: None})) is False

    PROVEN = NOTHING._replace(loop=Loop(35.0, 3, 21.0))
    LOADED: Mapping[str, float | None] = {HV_CURRENT: 3.8, HV_VOLTAGE: 133.0, LV_VOLTAGE: 400.0}

    def test_its_residual_is_judged_above_a_quarter_of_rated(self) -> None:
        up = closed(LV, LOOP)
        for current, loaded in ((3.8, True), (3.78, False)):
            at = view({**self.LOADED, HV_CURRENT: current}, outputs=up, evidence=self.PROVEN)
            assert when.loop_loaded(at) is loaded

    def test_its_residual_is_judged_of_a_proven_closed_loop_at_rest(self) -> None:
        up = closed(LV, LOOP)
        assert when.loop_loaded(view(self.LOADED, outputs=up, evidence=self.PROVEN))
        assert not when.loop_loaded(view(self.LOADED, outputs=up))
        assert not when.loop_loaded(view(self.LOADED, evidence=self.PROVEN))
        moving = up | told(LOOP_REGULATOR, 0.5, rest=None)
        assert not when.loop_loaded(view(self.LOADED, outputs=moving, evidence=self.PROVEN))

    @pytest.mark.parametrize("channel", [HV_CURRENT, HV_VOLTAGE, LV_VOLTAGE])
    def test_its_residual_is_judged_by_three_readings(self, channel: str) -> None:
        at = view({**self.LOADED, channel: None}, outputs=closed(LOOP), evidence=self.PROVEN)
        assert not when.loop_loaded(at)

    @pytest.mark.parametrize(("rest", "loaded"), [(99.8, True), (99.801, False)])
    def test_its_residual_is_judged_after_rest_and_averaging(
        self, rest: float, loaded: bool
    ) -> None:
        up = closed(LOOP) | told(LOOP_REGULATOR, 0.5, rest=rest)
        assert when.loop_loaded(view(self.LOADED, outputs=up, evidence=self.PROVEN)) is loaded

    @pytest.mark.parametrize("side", [-1.0, 1.0])
    @pytest.mark.parametrize(
        ("gap", "gap_v", "lv_v"),
        # Shown at 400 V with r 0.1 %; not shown, by the limit of r.
        [(Gap(13.2, 400.0, 0.001, 5), 13.2, 400.0), (None, 52.8, 400.0), (None, 26.4, 200.0)],
    )
    def test_a_residual_above_gap_uncertainty_and_warming(
        self, side: float, gap: Gap | None, gap_v: float, lv_v: float
    ) -> None:
        expected = shipped()
        values = {HV_CURRENT: 15.0, LV_VOLTAGE: lv_v}
        at = view(values, evidence=NOTHING._replace(loop=Loop(35.0, 3, 21.0), gap=gap))
        # Copper warms by 0.39 % a kelvin, by 30 K; R counts in Z by R/Z.
        warming = 15.0 * expected.loop_resistance_ohm**2 / 35.0 * 0.0039 * 30.0
        # 0.05 % of reading and of range 1000 V and 20 A, twice their sum.
        for beyond, over in ((-0.2, False), (0.2, True)):
            volts = 525.0 + side * (gap_v + warming)
            unsure = 2 * ((0.0005 * volts + 0.5) + 35.0 * (0.0005 * 15.0 + 0.01))
            assert when.residual_over(volts + side * (unsure + beyond), at) is over

    def test_a_voltage_over_range_is_a_residual(self) -> None:
        assert when.residual_over(inf, view())

    def test_nothing_read_besides_is_as_zero(self) -> None:
        at = view({HV_CURRENT: None, LV_VOLTAGE: None})
        assert not when.residual_over(0.9, at)
        assert when.residual_over(4.0, at)


class TestRegulators:
    @pytest.mark.parametrize(("output", "full_v"), [(LV_REGULATOR, 460), (LOOP_REGULATOR, 700)])
    @pytest.mark.parametrize(
        ("part", "followed", "deaf"),
        # Of full voltage: the raise, and how much of it the voltage followed.
        [
            (0.1, 0.24, True),
            (0.1, 0.26, False),
            (0.021, 0.24, True),
            (0.019, 0.0, False),
            (-0.1, 0.0, False),
        ],
    )
    def test_deaf_when_less_than_a_quarter_of_a_raise_follows(
        self, output: str, full_v: float, part: float, followed: float, deaf: bool
    ) -> None:
        start_v = 0.15 * full_v
        now_v = start_v + followed * part * full_v
        rests = (Rest(0.2, start_v), Rest(0.2 + part, now_v))
        at = view(evidence=NOTHING._replace(rest={output: rests}))
        assert when.deaf(output)(0.0, at) is deaf

    @pytest.mark.parametrize("rests", [{}, {LV_REGULATOR: (None, Rest(0.5, 0.0))}])
    def test_not_deaf_without_two_rests(
        self, rests: Mapping[str, tuple[Rest | None, Rest]]
    ) -> None:
        at = view(evidence=NOTHING._replace(rest=rests))
        assert when.deaf(LV_REGULATOR)(0.0, at) is False

    @pytest.mark.parametrize("output", [LV_REGULATOR, LOOP_REGULATOR])
    @pytest.mark.parametrize(
        ("value", "rest", "wandered"),
        [(0.521, 1.0, True), (0.519, 1.0, False), (0.479, 1.0, True), (0.9, None, False)],
    )
    def test_wandered_by_more_than_2_percent_at_rest(
        self, output: str, value: float, rest: float | None, wandered: bool
    ) -> None:
        at = view(outputs=told(output, 0.5, rest=rest))
        assert when.wandered(output)(value, at) is wandered

    @pytest.mark.parametrize(
        ("before", "value", "drifted"),
        # By more than a tenth, and by more than 2 % of 400 V.
        [
            ((200.0,), 220.5, True),
            ((200.0,), 219.5, False),
            ((200.0,), 179.5, True),
            ((200.0, 215.0), 221.0, True),
            ((10.0,), 17.9, False),
            ((10.0,), 18.1, True),
            ((), 400.0, False),
        ],
    )
    def test_drifted_by_a_tenth_of_what_it_was(
        self, before: tuple[float, ...], value: float, drifted: bool
    ) -> None:
        recent = {LV_VOLTAGE: tuple((ns(t), v) for t, v in enumerate(before))}
        at = view(evidence=NOTHING._replace(recent=recent))
        assert when.drifted(LV_VOLTAGE, when.rated_lv)(value, at) is drifted
        assert when.drifted(HV_VOLTAGE, when.rated_loop)(value, at) is False

    def test_full_voltages(self) -> None:
        assert when.rated_lv(shipped()) == 400.0
        # 2 x 4 % of 6600 V, and the branch leads: 0.8 % more.
        assert 528.0 < when.rated_loop(shipped()) < 1.02 * 528.0

    @pytest.mark.parametrize(
        ("armed", "contactor"), [(when.lv_closed_proven, LV), (when.loop_closed_proven, LOOP)]
    )
    def test_voltages_have_to_follow_once_the_proof_is_complete(
        self, armed: when.Armed, contactor: str
    ) -> None:
        proven = NOTHING._replace(proof_complete=4)
        assert armed(view(outputs=closed(contactor), evidence=proven))
        assert not armed(view(outputs=closed(contactor)))
        assert not armed(view(evidence=proven))


class TestWatching:
    def test_a_record_older_than_two_commits_and_than_10_s(self) -> None:
        # The shipped rehearsal commits every 60 s.
        assert not when.record_late(0.0, _committed(120.0))
        assert when.record_late(0.0, _committed(120.1))
        for commit_s, allowed_s in ((1.0, 10.0), (5.5, 11.0)):
            expected = replace(shipped(), commit_interval_s=commit_s)
            assert not when.record_late(0.0, _committed(allowed_s)._replace(expected=expected))
            late = _committed(allowed_s + 0.1)._replace(expected=expected)
            assert when.record_late(0.0, late)

    def test_top_liquid_above_the_schedules_limit(self) -> None:
        assert not warm.too_hot(105.0, view())
        assert warm.too_hot(105.1, view())

    @pytest.mark.parametrize("hot", [TOP_LIQUID_A, TOP_LIQUID_B])
    def test_twins_further_apart_than_10_k(self, hot: str) -> None:
        cold = TOP_LIQUID_B if hot == TOP_LIQUID_A else TOP_LIQUID_A
        assert not warm.twins_differ(0.0, view({hot: 60.0, cold: 50.0}))
        assert warm.twins_differ(0.0, view({hot: 60.1, cold: 50.0}))
        assert warm.twins_differ(0.0, view({hot: None, cold: 50.0})) is False
        assert "60.1" in warm.twins_words(view({hot: 60.1, cold: 50.0}))

    def test_a_prompt_that_stands_longer_than_it_may(self) -> None:
        prompt = confirm(PREPARATION[0], "nothing", 60.0)
        for since, expired in ((40.0, False), (39.9, True)):
            at = view()
            at = at._replace(scan=_with(at.scan, asked=(prompt, ns(since))))
            assert when.prompt_open(at)
            assert when.prompt_expired(0.0, at) is expired
            assert prompt.id in when.prompt_words(at)
        assert not when.prompt_open(view())
        assert when.prompt_expired(0.0, view()) is False

    def test_the_operator_asks_to_stop(self) -> None:
        for prompt, asked in ((OPERATOR_STOP, True), ("people_clear", False)):
            at = view()
            answer = Answer(prompt, "somebody", "paper", 1, True, 0)
            at = at._replace(scan=_with(at.scan, answers=(answer,)))
            assert when.stop_asked(0.0, at) is asked
        assert not when.stop_asked(0.0, view())

    def test_the_operator_asks_for_everything_to_open(self) -> None:
        for prompt, asked in ((OPERATOR_ABORT, True), (OPERATOR_STOP, False)):
            at = view()
            answer = Answer(prompt, "somebody", "paper", 1, True, 0)
            at = at._replace(scan=_with(at.scan, answers=(answer,)))
            assert when.abort_asked(0.0, at) is asked

    @pytest.mark.parametrize(
        ("by", "source", "words"),
        [
            ("Ada", "terminal", "asked at the terminal by Ada"),
            ("", "SIGTERM came", "SIGTERM came"),
        ],
    )
    def test_words_say_who_asked_or_what_came(self, by: str, source: str, words: str) -> None:
        at = view()
        answers = [
            Answer("people_clear", "Bob", "terminal", 1, True, 0),
            Answer(OPERATOR_STOP, by, source, 1, True, 0),
        ]
        at = at._replace(scan=_with(at.scan, answers=answers))
        assert when.asked_words(OPERATOR_STOP)(at) == words

    def test_words_say_channel_value_and_limit(self) -> None:
        words = when.reads(LV_VOLTAGE, "above the limit")
        assert words(view({LV_VOLTAGE: 441.23})) == f"{LV_VOLTAGE} reads 441.2, above the limit"
        assert words(view({LV_VOLTAGE: None})) == f"{LV_VOLTAGE} (silent), above the limit"
        assert when.saying("this")(view()) == "this"


def _with(of: Scan, **changes: object) -> Scan:
    """Return a scan with other fields."""
    fields = {name: getattr(of, name) for name in Scan.__slots__}
    return Scan(**(fields | changes))


def _committed(ago_s: float) -> View:
    at = view(now=1000.0)
    return at._replace(scan=_with(at.scan, last_commit=ns(1000.0 - ago_s)))
