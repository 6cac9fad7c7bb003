"""What is typed, and signals, become answers that the next scan sees."""

import pytest

from acquire.terminal_operator import TerminalOperator, is_answer
from sequences.prompt import (
    OPERATOR_ABORT,
    OPERATOR_HOLD,
    OPERATOR_STOP,
    PREPARATION,
    Answer,
    asked_by,
    confirm,
)

PROMPT = confirm(PREPARATION[0], "both contactors open", 60.0)
ANOTHER = confirm(PREPARATION[1], "both contactors open", 60.0)


class Still:
    """A clock that stands."""

    def now(self) -> int:
        return 9

    def wait_until(self, t: int) -> None:
        raise AssertionError(t)


@pytest.fixture(name="operator")
def _operator() -> TerminalOperator:
    """Return an operator who has read a prompt."""
    operator = TerminalOperator(Still())
    operator.put(PROMPT, 5)
    operator.shown(5)
    operator.begun()
    return operator


def asked(operator: TerminalOperator) -> list[tuple[str, str]]:
    """Return what was asked for unasked, and by whom or what."""
    return [(a.prompt, asked_by(a.by, a.source)) for a in operator.answers()]


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


def test_no_answer_is_signed_with_the_name_of_the_one_before(operator: TerminalOperator) -> None:
    operator.heard("y Ada Example")
    operator.put(ANOTHER, 7)
    operator.shown(7)
    operator.begun()
    assert operator.heard("y").startswith("every answer needs its name")
    assert [a.by for a in operator.answers()] == ["Ada Example"]
    assert operator.asked is not None


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


def test_a_line_begun_for_one_prompt_does_not_answer_the_next(operator: TerminalOperator) -> None:
    operator.put(ANOTHER, 7)
    operator.shown(7)
    assert operator.heard("y Ada").startswith("asked only since you began")
    assert operator.answers() == []
    operator.begun()
    operator.heard("y Ada")
    assert [(a.prompt, a.saw) for a in operator.answers()] == [(ANOTHER.id, 7)]


def test_a_prompt_that_was_not_shown_yet_is_not_answered(operator: TerminalOperator) -> None:
    operator.put(ANOTHER, 7)
    operator.begun()
    operator.shown(7)
    operator.heard("y Ada")
    assert operator.answers() == []


def test_the_first_stop_by_hand_ramps_down_and_the_next_opens_everything(
    operator: TerminalOperator,
) -> None:
    operator.stop_by_hand("SIGINT came (Ctrl-C)")
    assert operator.heard("stop Ada") == "everything opens at once"
    assert asked(operator) == [
        (OPERATOR_STOP, "SIGINT came (Ctrl-C)"),
        (OPERATOR_ABORT, "asked at the terminal by Ada"),
    ]


def test_a_stop_typed_twice_says_what_each_does(operator: TerminalOperator) -> None:
    assert operator.heard("stop").startswith("stopping")
    assert operator.heard("stop") == "everything opens at once"
    unnamed = "asked at the terminal, no name given"
    assert asked(operator) == [(OPERATOR_STOP, unnamed), (OPERATOR_ABORT, unnamed)]


def test_signals_of_a_supervisor_never_open_everything_at_once(operator: TerminalOperator) -> None:
    """SIGTERM, SIGINT and SIGQUIT within one scan: each a stop, none of them one that insists."""
    for why in ("SIGTERM came", "SIGQUIT came", "SIGTERM came"):
        operator.stop(why)
    operator.stop_by_hand("SIGINT came (Ctrl-C)")
    assert {prompt for prompt, _ in asked(operator)} == {OPERATOR_STOP}


def test_hold_can_be_typed(operator: TerminalOperator) -> None:
    operator.heard("hold Ada")
    assert asked(operator) == [(OPERATOR_HOLD, "asked at the terminal by Ada")]


@pytest.mark.parametrize(
    ("line", "answer"),
    [("s", False), ("sto", False), ("Stop Ada", False), ("ho", False), ("", True), ("y A", True),
     ("stopp", True), (" ", True)],
)  # fmt: skip
def test_a_stop_half_typed_is_told_from_an_answer(line: str, answer: bool) -> None:
    assert is_answer(line) is answer


def test_a_terminal_that_is_lost_stops_the_run_once_and_never_aborts_it(
    operator: TerminalOperator,
) -> None:
    """And nobody is said to have asked for it, whoever answered last."""
    operator.heard("y Ada")
    operator.answers()
    operator.lost()
    operator.lost()
    assert asked(operator) == [(OPERATOR_STOP, "the terminal was lost")]


def test_unattended_a_lost_terminal_ends_nothing_and_a_signal_still_does() -> None:
    operator = TerminalOperator(Still(), unattended=True)
    operator.lost()
    assert operator.answers() == []
    operator.stop("SIGTERM came")
    assert asked(operator) == [(OPERATOR_STOP, "SIGTERM came")]
