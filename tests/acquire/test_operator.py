"""The rehearsed operator: quick and right, or slow, away, twice, too late, against it."""

from pathlib import Path
from typing import NamedTuple

import pytest

from acquire.clock import S, VirtualClock
from acquire.operator import RehearsedOperator
from drivers.simulated.circuit import Wiring
from drivers.simulated.hands import Hands
from drivers.simulated.stand import SimulatedStand
from sequences.prompt import INTERCHANGE, PREPARATION, Answer, Prompt, confirm
from tests.acquire.rehearsing import quick, rehearsing

PROMPT = confirm(PREPARATION[0], "nothing", 90.0)
INTERCHANGING = confirm(INTERCHANGE, "aiding", 900.0)


class Desk(NamedTuple):
    """An operator, the plant and the clock."""

    operator: RehearsedOperator
    plant: SimulatedStand
    clock: VirtualClock

    def said(self, until_s: float) -> list[Answer]:
        """Let time pass, asking once a second for what was answered."""
        answers = []
        for second in range(1, round(until_s) + 1):
            while not self.clock.is_next(second * S):
                self.clock.run_next()
            self.clock.wait_until(second * S)
            answers += self.operator.answers()
        return answers


@pytest.fixture(name="desk")
def _desk() -> Desk:
    scenario, clock = quick(), VirtualClock()
    plant = SimulatedStand(scenario.stand, scenario.pair.nameplate, scenario.truth, 1)
    return Desk(RehearsedOperator(plant, clock, Hands()), plant, clock)


def yes(prompt: Prompt, t_s: float, saw: int = 0) -> Answer:
    """Return the answer yes at a stand time in s."""
    return Answer(prompt.id, prompt.who, "rehearsed", round(t_s * S), True, saw)


def test_says_yes_after_four_seconds(desk: Desk) -> None:
    """Once, by whom it was asked of, to what was put when it was put."""
    desk.operator.put(PROMPT, 0)
    assert desk.said(30) == [yes(PROMPT, 4)]


def test_interchanges_behind_the_opened_guard_and_then_says_so(desk: Desk) -> None:
    """Guard, leads, guard, answer."""
    desk.operator.put(INTERCHANGING, 0)
    assert desk.said(363) == []
    assert desk.plant.wiring == Wiring().interchanged()
    assert desk.plant.guard
    assert desk.said(364) == [yes(INTERCHANGING, 364)]


def test_slow_uses_two_thirds_of_the_time(desk: Desk) -> None:
    """Late, and in time."""
    desk.operator.slow = True
    desk.operator.put(PROMPT, 0)
    assert desk.said(89) == [yes(PROMPT, 60)]


def test_absent_says_nothing_and_answers_when_back(desk: Desk) -> None:
    """Nobody hears the prompt before; then it takes the usual time."""
    desk.operator.absent = True
    desk.operator.put(PROMPT, 0)
    assert desk.said(30) == []
    desk.operator.absent = False
    assert desk.said(60) == [yes(PROMPT, 34)]


def test_who_goes_away_before_answering_answers_when_back(desk: Desk) -> None:
    """Heard, and not said."""
    desk.operator.put(PROMPT, 0)
    desk.operator.absent = True
    assert desk.said(30) == []
    desk.operator.absent = False
    assert len(desk.said(60)) == 1


def test_nobody_answers_a_prompt_that_another_has_replaced(desk: Desk) -> None:
    """Who comes back is asked what is asked now."""
    desk.operator.absent = True
    desk.operator.put(PROMPT, 0)
    other = confirm(PREPARATION[1], "nothing", 90.0)
    desk.operator.put(other, 1)
    desk.operator.absent = False
    assert [a.prompt for a in desk.said(30)] == [other.id]


def test_twice_says_the_same_again(desk: Desk) -> None:
    """A second and a half later."""
    desk.operator.twice = True
    desk.operator.put(PROMPT, 0)
    assert desk.said(30) == [yes(PROMPT, 4), yes(PROMPT, 5.5)]


def test_stale_answers_what_was_seen_before_and_rightly_when_that_is_over(desk: Desk) -> None:
    """The interchange is made once all the same."""
    desk.operator.stale = True
    desk.operator.put(INTERCHANGING, 10 * S)
    (answer,) = desk.said(400)
    assert answer.saw == 9 * S
    desk.operator.stale = False
    (answer,) = desk.said(1000)
    assert answer.saw == 10 * S
    assert desk.plant.wiring.aiding


def test_no_means_no_and_moves_no_lead(desk: Desk) -> None:
    """Asked to interchange, nobody goes in."""
    desk.operator.says = False
    desk.operator.put(INTERCHANGING, 0)
    (answer,) = desk.said(400)
    assert not answer.value
    assert not desk.plant.wiring.aiding


class TestInARun:
    def test_two_answers_count_once(self, tmp_path: Path) -> None:
        """The second finds another prompt open, or none, and closes nothing."""
        with rehearsing(tmp_path, ["operator_answers_twice"]) as run:
            run.until_stage("prove")
        prompts, answers = run.of("prompt"), run.of("answer")
        assert [p.facts["id"] for p in prompts] == [row[0] for row in PREPARATION]
        assert len(answers) > len(prompts)

    def test_a_stale_answer_leaves_the_prompt_open_and_its_time_running(
        self, tmp_path: Path
    ) -> None:
        """Put once, answered wrongly, and the run stops when its time is over."""
        with rehearsing(tmp_path, ["operator_answers_stale"], quick(30.0)) as run:
            outcome = run.finish()
        assert outcome.end == "stopped"
        assert len(run.of("prompt")) == 1
        assert run.of("answer")
        trip = run.of("trip")[0]
        assert trip.facts["name"] == "prompt_unanswered"
        assert trip.t_s - run.of("prompt")[0].t_s == pytest.approx(31.0)

    def test_who_is_away_for_a_while_holds_the_test_up(self, tmp_path: Path) -> None:
        """And nothing else."""
        with rehearsing(tmp_path, ["operator_absent@prepare+10:60"]) as run:
            run.until_stage("prove")
            late = run.rehearsal.cycle.last.now
        with rehearsing(tmp_path / "without") as run:
            run.until_stage("prove")
            assert 55 * S < late - run.rehearsal.cycle.last.now < 65 * S

    def test_no_ends_it_before_anything_closes(self, tmp_path: Path) -> None:
        """The answer is in the record, and who gave it."""
        with rehearsing(tmp_path, ["operator_answers_no"]) as run:
            outcome = run.finish()
        assert outcome.finding is not None
        assert outcome.finding["name"] == "answered_no"
        assert not run.of("intent")
