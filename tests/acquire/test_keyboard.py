"""Lines from a keyboard: on a pseudo-terminal, from a pipe, and their end."""

import os
import pty
import termios
from queue import SimpleQueue

import pytest

from acquire.keyboard import Typing, listening, read

PATIENCE_S = 30.0


class Heard:
    """What was heard, in order; the loss of the terminal among it."""

    def __init__(self) -> None:
        self.queue: SimpleQueue[str] = SimpleQueue()
        self.typing = Typing(self.queue.put, lambda: self.queue.put("LOST"))

    def next(self) -> str:
        return self.queue.get(timeout=PATIENCE_S)


@pytest.mark.parametrize(
    ("keys", "line"),
    [
        ("y Ada\n", "y Ada"),
        ("x\x7fy Ada\r", "y Ada"),
        ("nonsense\x15n\n", "n"),
        ("\x7f\x7fy\x1b\x00\n", "y"),
    ],
)
def test_keys_make_a_line(keys: str, line: str) -> None:
    heard = Heard()
    heard.typing.take(keys)
    assert heard.next() == line
    assert heard.typing.line == ""


def test_what_is_being_typed_can_be_seen() -> None:
    heard = Heard()
    heard.typing.take("y Ad")
    assert heard.typing.line == "y Ad"


def test_a_line_is_begun_with_its_first_character_and_once() -> None:
    begun: list[str] = []
    typing = Typing(print, print, lambda: begun.append(typing.line))
    typing.take("\ny Ada\n\x7f\ny")
    assert begun == ["", ""]


def test_an_end_of_file_where_nothing_stands_is_a_loss_and_after_a_word_is_nothing() -> None:
    heard = Heard()
    heard.typing.take("y\x04")
    assert heard.queue.empty()
    heard.typing.take("\n\x04")
    assert [heard.next(), heard.next()] == ["y", "LOST"]


def test_a_pipe_is_read_to_its_end() -> None:
    heard = Heard()
    reading, writing = os.pipe()
    os.write(writing, b"y Ada\nn")
    os.close(writing)
    read(reading, heard.typing)
    os.close(reading)
    assert [heard.next(), heard.next()] == ["y Ada", "LOST"]


def test_a_terminal_shows_no_keys_meanwhile_and_is_as_before_afterwards() -> None:
    heard = Heard()
    far, near = pty.openpty()
    before = termios.tcgetattr(near)
    with listening(heard.typing, near):
        assert not termios.tcgetattr(near)[3] & termios.ECHO
        os.write(far, b"y Ada\n")
        assert heard.next() == "y Ada"
    assert termios.tcgetattr(near) == before
    os.close(far)
    assert heard.next() == "LOST"
    os.close(near)
