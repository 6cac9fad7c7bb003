"""What is typed, and signals, become answers that the next scan sees."""

import pytest

from acquire.terminal_operator import TerminalOperator
from sequences.prompt import (
    OPERATOR_ABORT,
    OPERATOR_HOLD,
    OPERATOR_STOP,
    PREPARATION,
    Answer,
    confirm,
)

PROMPT = confirm(PREPARATION[0], "both contactors open", 60.0)


class Still:
    """A clock that stands."""

    def now(self) -> int:
        return 9

    def wait_until(self, t: int) -> None:
        raise AssertionError(t)


@pytest.fixture(name="operator")
def _operator() -> TerminalOperator:
    operator = TerminalOperator(Still())
    operator.put(PROMPT, 5)
    return operator


@pytest.mark.parametrize(
    ("line", "value"), [("y Ada Example", True), ("N  Ada Example ", False), ("YES Ada Example", 1)]
)
def test_an_answer_names_its_prompt_who_gave_it_and_what_was_seen(
    operator: TerminalOperator, line: str, value: bool
) -> None:
    assert operator.heard(line) == ""
    expected = Answer(PROMPT.id, "Ada Example", "terminal", 9, bool(value), 5)
    assert operator.answers() == [expected]
    assert operator.answers() == []


def test_a_name_once_given_stands_for_later_answers(operator: TerminalOperator) -> None:
    operator.heard("y Ada Example")
    operator.put(PROMPT, 7)
    operator.heard("y")
    assert [a.by for a in operator.answers()] == ["Ada Example", "Ada Example"]


@pytest.mark.parametrize("line", ["y", "n", "", "perhaps", "ada y", "yy Ada"])
def test_what_is_no_answer_with_a_name_answers_nothing(
    operator: TerminalOperator, line: str
) -> None:
    operator.heard(line)
    assert operator.answers() == []
    assert operator.asked is not None


def test_nothing_is_answered_twice_or_unasked(operator: TerminalOperator) -> None:
    operator.heard("y Ada")
    assert operator.heard("y Ada") == "nothing is asked"
    assert len(operator.answers()) == 1


def test_the_first_stop_ramps_down_and_the_next_opens_everything(
    operator: TerminalOperator,
) -> None:
    operator.stop("Ctrl-C")
    operator.stop("SIGTERM")
    said = [(a.prompt, a.source) for a in operator.answers()]
    assert said == [(OPERATOR_STOP, "Ctrl-C"), (OPERATOR_ABORT, "SIGTERM")]


def test_stop_and_hold_can_be_typed(operator: TerminalOperator) -> None:
    operator.heard("hold Ada")
    operator.heard("stop")
    assert [a.prompt for a in operator.answers()] == [OPERATOR_HOLD, OPERATOR_STOP]


def test_a_terminal_that_is_lost_stops_the_run_once_and_never_aborts_it(
    operator: TerminalOperator,
) -> None:
    operator.lost()
    operator.lost()
    assert [a.prompt for a in operator.answers()] == [OPERATOR_STOP]


def test_unattended_a_lost_terminal_ends_nothing_and_a_signal_still_does() -> None:
    operator = TerminalOperator(Still(), unattended=True)
    operator.lost()
    assert operator.answers() == []
    operator.stop("SIGTERM")
    assert [a.prompt for a in operator.answers()] == [OPERATOR_STOP]
