"""The keyboard of a run in the foreground: lines as they are typed, and that nobody types more."""

import os
import sys
import termios
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from threading import Thread

ERASE = frozenset({"\x7f", "\b"})
CLEAR = "\x15"
END = "\x04"
LONGEST = 200


class Typing:
    """What is being typed, character by character; `line` is what stands there so far.

    `begun` is told of each line's first character, before it.
    """

    def __init__(
        self,
        heard: Callable[[str], object],
        lost: Callable[[], object],
        begun: Callable[[], object] = lambda: None,
    ) -> None:
        self.line = ""
        self._heard = heard
        self._lost = lost
        self._begun = begun

    def take(self, text: str) -> None:
        """Take characters; whole lines are heard, an end where nothing stands yet is a loss."""
        for character in text:
            if character in "\r\n":
                line, self.line = self.line, ""
                self._heard(line)
            elif character in ERASE:
                self.line = self.line[:-1]
            elif character == CLEAR:
                self.line = ""
            elif character == END:
                if not self.line:
                    self._lost()
            elif character.isprintable() and len(self.line) < LONGEST:
                if not self.line:
                    self._begun()
                self.line += character

    def end(self) -> None:
        """Nothing will be typed any more."""
        self._lost()


def read(descriptor: int, typing: Typing) -> None:
    """Take what is typed until the other side is gone; a terminal that hung up is gone too."""
    data = b"-"
    while data:
        data = b""
        with suppress(OSError):
            data = os.read(descriptor, 1024)
        typing.take(data.decode("utf-8", "replace"))
    typing.end()


@contextmanager
def listening(typing: Typing, descriptor: int | None = None) -> Iterator[None]:
    """Have a thread listen to the keyboard; a terminal shows no keys by itself meanwhile.

    Without a `descriptor` it is the one of standard input.
    """
    listened = sys.stdin.fileno() if descriptor is None else descriptor
    thread = Thread(target=read, args=(listened, typing), name="keyboard", daemon=True)
    before = termios.tcgetattr(listened) if os.isatty(listened) else None
    if before is not None:
        # Ctrl-C stays a signal.
        tty.setcbreak(listened)
    thread.start()
    try:
        yield
    finally:
        if before is not None:
            with suppress(termios.error):
                termios.tcsetattr(listened, termios.TCSADRAIN, before)
