"""Soak on paper: corrections, what ends it, what holds it, warm-up and overload.

Constructed readings throughout.
"""

from collections.abc import Mapping
from dataclasses import replace
from math import exp

import pytest

from drivers.outputs import LOOP_REGULATOR, LV_REGULATOR
from sequences.prompt import GO_ON, OPERATOR_HOLD
from sequences.scan import HV_CURRENT, Ask, Move, S, Stop
from sequences.schedule import Overload, WarmUp
from sequences.soak import EXCUSED_S
from tests.sequences.night import AMBIENTS, AT, RATED_A, Night, constant, frozen, said, with_soak

HOUR_S = 3600.0
RULE_S = 4 * HOUR_S  # IEC 60076-2: an hour's slope, and three hours of it below 1 K/h
SLACK_S = 240.0  # whole minutes, told some seconds later, and a scan every half of one


def rising(seconds: float) -> dict[str, float]:
    """Return units that warm by 2 K/h and never stop."""
    return {c: v + 2.0 * seconds / HOUR_S for c, v in constant(seconds).items()}


class TestCorrections:
    @pytest.mark.parametrize("share", [0.9952, 1.0048])
    @pytest.mark.parametrize("regulator", [LV_REGULATOR, LOOP_REGULATOR])
    def test_nothing_moves_within_the_dead_band(self, regulator: str, share: float) -> None:
        night = Night()
        night.fed[regulator] = share
        night.go_on(2 * HOUR_S)
        assert night.moves == []

    @pytest.mark.parametrize("share", [0.9948, 1.0052])
    @pytest.mark.parametrize("regulator", [LV_REGULATOR, LOOP_REGULATOR])
    def test_outside_it_that_regulator_alone_moves_back(self, regulator: str, share: float) -> None:
        """At the next look, a minute later at the most; to within the ramp's 0.2 %."""
        night = Night()
        night.go_on(600.0)
        night.fed[regulator] = share
        changed_s = night.now_s
        night.go_on(600.0)
        assert {move.output for _t, move in night.moves} == {regulator}
        assert night.moves[0][0] - changed_s <= night.plan.correction_s + 60.0
        assert night.outputs[regulator].commanded / AT[regulator] * share == pytest.approx(
            1.0, abs=0.002
        )

    def test_what_drifts_slowly_is_corrected_seldom(self) -> None:
        """3 % in an hour are six dead bands: one correction for each, not one a look."""
        night = Night()
        for _ in range(120):
            night.fed[LOOP_REGULATOR] *= 1 - 0.03 / 120
            night.step()
        assert 5 <= len(night.moves) <= 8
        assert night.record.movements == len(night.moves)

    def test_what_reads_nothing_is_not_corrected(self) -> None:
        night = Night()
        night.values[HV_CURRENT] = None
        night.fed[LOOP_REGULATOR] = 0.9
        night.go_on(600.0)
        assert night.moves == []

    def test_movements_of_the_soak_are_in_its_facts(self) -> None:
        night = Night(with_soak(time_limit_h=0.5))
        night.fed[LOOP_REGULATOR] = 0.99
        night.to_the_end()
        assert night.facts("soaked")["movements"] == len(night.moves) > 0


class TestItsEnd:
    def test_steady_by_the_rule_ends_it(self) -> None:
        night = Night()
        took_s = night.to_the_end()
        assert RULE_S <= took_s <= RULE_S + SLACK_S
        assert night.findings == []
        facts = night.facts("soaked")
        assert facts["a"]["steady_at_s"] == pytest.approx(night.began_s + RULE_S, abs=SLACK_S)
        assert facts["b"]["rise_k"] == pytest.approx(42.0)

    def test_what_was_steady_before_the_load_counts_for_nothing(self) -> None:
        """Hours at rest, cold resistances and losses were read before it began."""
        night = Night(minutes_before=400.0)
        assert RULE_S <= night.to_the_end() <= RULE_S + SLACK_S

    def test_both_units_have_to_be_steady(self) -> None:
        def temperatures(seconds: float) -> Mapping[str, float]:
            return constant(seconds) | {"b.top_liquid": rising(seconds)["b.top_liquid"]}

        night = Night(with_soak(time_limit_h=6.0), temperatures)
        night.to_the_end()
        assert [f.name for f in night.findings] == ["not_steady"]
        facts = night.facts("soaked")
        assert facts["a"]["steady_at_s"] is not None
        assert facts["b"]["steady_at_s"] is None

    def test_the_time_limit_ends_it_with_the_rates_in_words(self) -> None:
        night = Night(with_soak(time_limit_h=2.5), rising)
        assert night.to_the_end() == pytest.approx(2.5 * HOUR_S, abs=SLACK_S)
        (finding,) = night.findings
        assert finding.name == "not_steady"
        assert "unit A +2.00 K/h, unit B +2.00 K/h" in finding.seen

    @pytest.mark.parametrize(("ambient_c", "steady"), [(20.0, True), (None, False)])
    def test_a_rise_over_an_ambient_that_nobody_reads_is_not_known(
        self, ambient_c: float | None, steady: bool
    ) -> None:
        night = Night(with_soak(time_limit_h=5.0))
        night.values |= dict.fromkeys(AMBIENTS, ambient_c)
        night.to_the_end()
        assert (night.findings == []) is steady

    def test_one_ambient_sensor_that_fails_leaves_the_mean_of_the_others(self) -> None:
        night = Night()
        night.values["ambient.2"] = None
        assert night.to_the_end() <= RULE_S + SLACK_S


class TestFrozen:
    def test_sensors_that_say_the_same_for_an_hour_stop_it(self) -> None:
        """They would be steady by every rule, at whatever they last read."""
        night = Night(temperatures=frozen)
        with pytest.raises(Stop, match="temperatures_frozen"):
            night.to_the_end()
        assert night.now_s - night.began_s == pytest.approx(3600.0, abs=300.0)

    def test_one_that_stirs_is_enough(self) -> None:
        night = Night()
        night.to_the_end()
        assert night.findings == []


class TestHold:
    @pytest.mark.parametrize(
        ("reads_c", "holds"), [(10.0, False), (9.9, True), (40.0, False), (40.1, True)]
    )
    @pytest.mark.parametrize("channel", AMBIENTS)
    def test_ambient_out_of_its_range_holds(
        self, channel: str, reads_c: float, holds: bool
    ) -> None:
        night = Night()
        night.go_on(600.0)
        night.ambient[channel] = reads_c
        night.go_on(120.0)
        assert night.holds is holds
        if holds:
            ((_t, prompt),) = night.asks
            assert prompt.id == GO_ON[0]
            assert f"{channel} reads {reads_c:.1f}" in prompt.seen
            assert prompt.expires_s == night.plan.hold_s

    def test_nothing_moves_while_it_holds(self) -> None:
        """Set-points are kept, even if what they give has drifted: somebody is being asked."""
        night = held()
        night.fed[LOOP_REGULATOR] = 0.97
        night.go_on(600.0)
        assert night.holds
        assert night.moves == []
        assert len(night.asks) == 1

    def test_only_a_yes_to_this_putting_of_the_prompt_goes_on(self) -> None:
        night = held()
        assert night.asked is not None
        night.answer(saw=night.asked[1] - 1)
        assert night.holds
        night.step(answers=(said("somebody_else", night.now_s, saw=night.asked[1]),))
        assert night.holds
        night.answer()
        assert not night.holds

    def test_a_no_ends_the_run(self) -> None:
        """Or it would hold for ever with its time begun anew at every no."""
        night = held()
        with pytest.raises(Stop, match="answered no"):
            night.answer(value=False)

    def test_it_counts_anew_from_the_answer(self) -> None:
        """Three hours and more of steadiness before it are worth nothing."""
        night = Night()
        night.go_on(3.5 * HOUR_S)
        night.ambient["ambient.1"] = 41.0
        night.go_on(60.0)
        night.ambient["ambient.1"] = 20.0
        night.go_on(600.0)
        night.answer()
        answered_s = night.now_s
        night.to_the_end()
        assert RULE_S <= night.now_s - answered_s <= RULE_S + SLACK_S

    def test_what_was_answered_for_is_asked_again_after_a_while(self) -> None:
        night = held()
        night.answer()
        answered_s = night.now_s
        night.go_on(EXCUSED_S - 60.0)
        assert len(night.asks) == 1
        night.go_on(120.0)
        assert len(night.asks) == 2
        assert night.asks[1][0] - answered_s == pytest.approx(EXCUSED_S, abs=60.0)

    def test_an_operator_holds_it_at_any_time_even_when_just_excused(self) -> None:
        night = held()
        night.answer()
        night.step(answers=(said(OPERATOR_HOLD, night.now_s),))
        night.step()
        night.step()
        assert night.holds
        assert night.asks[-1][1].seen == "the operator asked to hold"

    def test_an_operator_is_heard_while_a_regulator_moves(self) -> None:
        """What was begun is brought to its end first; the hold is asked for once."""
        night = Night()
        night.go_on(600.0)
        night.fed[LOOP_REGULATOR] = 0.98
        while not isinstance(night.step(), Move):
            pass
        night.step(answers=(said(OPERATOR_HOLD, night.now_s),))
        at_once = night.holds
        night.go_on(300.0)
        assert (at_once, night.holds) == (False, True)
        night.answer()
        night.go_on(600.0)
        assert len(night.asks) == 1

    def test_a_hold_is_one_ask_after_the_other(self) -> None:
        """Any other request would take the prompt away."""
        night = held()
        for _ in range(20):
            assert isinstance(night.step(), Ask)


class TestWarmUp:
    @staticmethod
    def exponential(seconds: float) -> dict[str, float]:
        """Return liquids that rise by 60 K at the step's current, time constant 2 h."""
        rise_k = 60.0 * (1 - exp(-max(seconds - 600.0, 0.0) / 7200.0))
        return {"a.top_liquid": 20.0 + rise_k, "b.top_liquid": 20.0 + rise_k}

    def test_the_hot_spot_ends_it(self) -> None:
        """22 K at rated current are 29.5 K at 1.2 of it: over 90 degC from 60.5 on."""
        plan = WarmUp(1.2, hot_spot_limit_c=90.0)
        night = Night(with_soak(warm_up=plan, time_limit_h=8.0), self.exponential)
        while not any(name == "warmed_up" for name, _ in night.marks):
            last_c = self.exponential(night.now_s)["a.top_liquid"]
            night.step()
        assert last_c == pytest.approx(90.0 - 22.0 * 1.2**1.6, abs=1.5)

    def test_it_flows_its_current_and_then_rated_current(self) -> None:
        plan = WarmUp(1.1, hot_spot_limit_c=90.0)
        night = Night(with_soak(warm_up=plan, time_limit_h=8.0), self.exponential)
        night.go_on(900.0)
        assert current(night) == pytest.approx(1.1, rel=0.003)
        while not any(name == "warmed_up" for name, _ in night.marks):
            night.step()
        night.go_on(900.0)
        assert current(night) == pytest.approx(1.0, rel=0.003)

    def test_the_soaks_time_limit_ends_it_where_no_forecast_comes(self) -> None:
        """A unit whose sensor reads nothing has no forecast and no hot-spot."""
        night = Night(with_soak(warm_up=WarmUp(1.1), time_limit_h=1.0))
        night.values["b.top_liquid"] = None
        assert night.to_the_end() == pytest.approx(HOUR_S, abs=SLACK_S)
        assert [name for name, _ in night.marks] == ["soak", "warmed_up", "soaked"]
        assert [f.name for f in night.findings] == ["not_steady"]

    def test_steadiness_counts_from_its_end(self) -> None:
        night = Night(with_soak(warm_up=WarmUp(1.1, hot_spot_limit_c=60.0), time_limit_h=8.0))
        night.to_the_end()
        warmed_s = night.facts("warmed_up")["at_s"]
        assert RULE_S <= night.now_s - warmed_s <= RULE_S + SLACK_S


class TestOverload:
    STEP = Overload(1.2, 0.5, rated_again_s=900.0)

    def test_it_comes_after_the_soak_and_is_followed_by_rated_current(self) -> None:
        night = Night(with_soak(overload=self.STEP, time_limit_h=0.2))
        while night.stages[-1:] != ["overload"]:
            night.step()
        night.go_on(600.0)
        assert current(night) == pytest.approx(1.2, rel=0.003)
        night.to_the_end()
        assert current(night) == pytest.approx(1.0, rel=0.003)
        begun, ended = night.facts("overload")["at_s"], night.facts("overloaded")["at_s"]
        assert ended - begun == pytest.approx(1800.0, abs=SLACK_S)
        assert night.now_s - ended == pytest.approx(900.0, abs=SLACK_S)

    @pytest.mark.parametrize(
        ("limits", "ends"),
        # The hotter unit reads 62 degC: its hot-spot is at 91.5 at 1.2 of rated current.
        [
            ({"hot_spot_limit_c": 91.4}, True),
            ({"hot_spot_limit_c": 91.6}, False),
            ({"top_liquid_limit_c": 61.9}, True),
            ({"top_liquid_limit_c": 62.1}, False),
        ],
    )
    def test_hot_spot_and_liquid_bound_it(self, limits: Mapping[str, float], ends: bool) -> None:
        step = replace(self.STEP, **limits)
        night = Night(with_soak(overload=step, time_limit_h=0.2))
        night.to_the_end()
        begun, ended = night.facts("overload")["at_s"], night.facts("overloaded")["at_s"]
        assert (ended - begun < SLACK_S) is ends


def held() -> Night:
    """Return a soak that holds, the room a little too warm."""
    night = Night()
    night.go_on(600.0)
    night.ambient["ambient.1"] = 41.0
    night.go_on(60.0)
    assert night.holds
    night.step()
    return night


def current(night: Night) -> float:
    """Return what the loop carries, per unit of rated."""
    state = night.outputs[LOOP_REGULATOR]
    assert state.at_rest_since is not None
    assert night.now_s * S >= state.at_rest_since
    return state.commanded / AT[LOOP_REGULATOR] * night.fed[LOOP_REGULATOR] * RATED_A / RATED_A
