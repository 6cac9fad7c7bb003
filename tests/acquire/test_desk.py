"""The desk of a run: what is typed to what is asked, and a screen that shows nothing more."""

import os
import sys
import time
from collections.abc import Iterator
from typing import Any

import pytest

from acquire.clock import WallClock
from acquire.configuration import load_scenario
from acquire.desk import Desk
from acquire.stand import expected_of
from acquire.terminal_operator import HOW
from sequences.prompt import OPERATOR_STOP, PREPARATION, Answer, confirm

PROMPT = confirm(PREPARATION[0], "both contactors open", 60.0)
ANOTHER = confirm(PREPARATION[1], "both contactors open", 60.0)
PATIENCE_S = 30.0


class Manned:
    """A desk on pipes: what is typed there, what it says, what it answers."""

    def __init__(self, desk: Desk, keys: int, said: pytest.CaptureFixture[str]) -> None:
        self.desk = desk
        self._keys = keys
        self._capture = said
        self._said = ""

    def type(self, keys: str) -> None:
        """Type keys."""
        os.write(self._keys, keys.encode())

    def says(self, words: str) -> None:
        """Wait until it says this, and forget what it has said so far."""
        until = time.monotonic() + PATIENCE_S
        while words not in self._said:
            assert time.monotonic() < until, f"{words!r} not in {self._said!r}"
            self._said += self._capture.readouterr().out
            time.sleep(0.005)
        self._said = ""

    def answer(self) -> Answer:
        """Wait for an answer."""
        until = time.monotonic() + PATIENCE_S
        while not (answers := self.desk.answers()):
            assert time.monotonic() < until
            time.sleep(0.005)
        (answer,) = answers
        return answer


@pytest.fixture(name="manned")
def _manned(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Iterator[Manned]:
    reading, writing = os.pipe()
    expected = expected_of(load_scenario("distribution_pair", "loss_test"))
    desk = Desk(expected, WallClock(), unattended=False, as_json=False)
    with os.fdopen(reading) as keys:
        monkeypatch.setattr(sys, "stdin", keys)
        with desk.manned():
            yield Manned(desk, writing, capsys)
            os.close(writing)


def put(manned: Manned, t: int, *, shown: bool) -> None:
    """Put a prompt, and have it shown or not yet."""
    prompt = PROMPT if t == 5 else ANOTHER
    manned.desk.put(prompt, t)
    if shown:
        manned.desk.observer(t, "prompt", prompt._asdict())
        manned.says(HOW)


def test_an_answer_counts_once_its_prompt_was_shown(manned: Manned) -> None:
    put(manned, 5, shown=False)
    manned.type("y Ada\n")
    manned.says("asked only since you began to type")
    manned.desk.observer(5, "prompt", PROMPT._asdict())
    manned.says(HOW)
    manned.type("y Ada\n")
    assert manned.answer().prompt == PROMPT.id


def test_what_was_typed_to_one_prompt_is_gone_with_the_next(manned: Manned) -> None:
    """Also what was said back; an Enter then answers nothing."""
    desk: Any = manned.desk
    put(manned, 5, shown=True)
    desk._typing.take("perhaps\ny Ada")
    assert desk._said.startswith("not understood")
    put(manned, 7, shown=True)
    assert (desk._typing.line, desk._said) == ("", "")
    manned.type("\n")
    manned.type("n Ada\n")
    answer = manned.answer()
    assert (answer.prompt, answer.value) == (ANOTHER.id, False)


def test_a_stop_half_typed_when_a_prompt_comes_is_still_a_stop(manned: Manned) -> None:
    desk: Any = manned.desk
    desk._typing.take("st")
    put(manned, 5, shown=False)
    manned.type("op\n")
    assert manned.answer().prompt == OPERATOR_STOP


def test_what_can_not_be_shown_is_a_terminal_that_is_lost(manned: Manned) -> None:
    """Whatever the reason is; it is in the record."""
    manned.desk.observer(5, "prompt", {"asked": "without who and what follows"})
    answer = manned.answer()
    assert (answer.prompt, answer.by) == (OPERATOR_STOP, "")
    assert answer.source.startswith("the terminal was lost")
    assert "KeyError" in answer.source


def test_so_is_an_output_that_nobody_reads_any_more(manned: Manned) -> None:
    desk: Any = manned.desk
    desk._console.quiet = True
    put(manned, 5, shown=False)
    manned.desk.observer(5, "prompt", PROMPT._asdict())
    assert "nobody reads it any more" in manned.answer().source
