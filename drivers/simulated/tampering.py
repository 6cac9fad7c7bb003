"""What comes between a simulated instrument and whoever asks it.

Each of these changes answers on their way; several stand one behind the other. An answer of None
is one that does not come within the time-out.
"""

from collections.abc import Mapping
from random import Random
from typing import Any

from drivers.link import Block, ConnectionLost

IDENTITY_QUESTION = "*IDN?"
# One question in so many is answered too late.
LATE_ONE_IN = 10
UNREADABLE = "#$%&?@~ABCDEFxyz"

Registers = tuple[int, ...]


class Tampering:
    """As it stands it changes nothing."""

    def text(self, _asked: str, answer: str) -> str | None:
        """Return what arrives of an answer in text."""
        return answer

    def registers(self, _asked: Block, answer: Registers) -> Registers | None:
        """Return what arrives of the registers of a block."""
        return answer

    def reopened(self) -> None:
        """The link was closed and opened: what was on its way is gone."""


class Garbage(Tampering):
    """Every answer is noise of the same length."""

    def __init__(self, noise: Random) -> None:
        self._noise = noise

    def text(self, _asked: str, answer: str) -> str:
        """Return characters of which no number is made."""
        return "".join(self._noise.choices(UNREADABLE, k=max(len(answer), 1)))

    def registers(self, _asked: Block, answer: Registers) -> Registers:
        """Return as many registers, of any content."""
        return tuple(self._noise.randrange(0x10000) for _ in answer)


class Truncated(Tampering):
    """Every answer loses its second half; the end of the message arrives all the same."""

    def text(self, _asked: str, answer: str) -> str:
        """Return the first half of the characters."""
        return answer[: len(answer) // 2]

    def registers(self, _asked: Block, answer: Registers) -> Registers:
        """Return the first half of the registers."""
        return answer[: len(answer) // 2]


class Frozen(Tampering):
    """Every question gets the answer that it got first."""

    def __init__(self) -> None:
        self._first: dict[Any, Any] = {}

    def text(self, asked: str, answer: str) -> str:
        """Return the first answer to this question."""
        first: str = self._first.setdefault(asked, answer)
        return first

    def registers(self, asked: Block, answer: Registers) -> Registers:
        """Return the block as it was read first."""
        first: Registers = self._first.setdefault(asked, answer)
        return first


class Late(Tampering):
    """One answer in ten comes after its time-out, and is there when the next question is asked.

    From then on every question gets the answer to the one before, until the link is opened anew.
    """

    def __init__(self) -> None:
        self._questions = 0
        self._waiting: Any = None

    def text(self, _asked: str, answer: str) -> str | None:
        """Return the answer to this question or to the one before, None where there is none yet."""
        arrived: str | None = self._next(answer)
        return arrived

    def registers(self, _asked: Block, answer: Registers) -> Registers | None:
        """Return the registers of this question or of the one before, None where none are there."""
        arrived: Registers | None = self._next(answer)
        return arrived

    def reopened(self) -> None:
        """Lose the answer that waits."""
        self._waiting = None

    def _next(self, answer: Any) -> Any:
        self._questions += 1
        before, behind = self._waiting, self._waiting is not None
        if behind or self._questions % LATE_ONE_IN == 1:
            self._waiting = answer
            return before
        return answer


class Marked(Tampering):
    """Every value is the mark for something that is no value: above range, or not a number."""

    def __init__(self, mark: str, registers: Mapping[int, int]) -> None:
        self._mark = mark
        self._registers = registers

    def text(self, asked: str, answer: str) -> str:
        """Return the mark in place of every value of a list."""
        if asked == IDENTITY_QUESTION:
            return answer
        return ",".join([self._mark] * (answer.count(",") + 1))

    def registers(self, asked: Block, answer: Registers) -> Registers:
        """Return the block with its values overwritten."""
        return _overwritten(asked, answer, self._registers)


class Exchanged(Tampering):
    """Another instrument stands in its place: the connection is lost, another name is given."""

    def __init__(self, instrument: str, registers: Mapping[int, int]) -> None:
        self._instrument = instrument
        self._registers = registers
        self._connected = False

    def text(self, asked: str, answer: str) -> str:
        """Answer as the other instrument. Raises ConnectionLost until the link is opened anew."""
        if not self._connected:
            raise ConnectionLost(self._instrument, asked, "the connection was closed")
        return "NOBODY,ANOTHER INSTRUMENT,0,0" if asked == IDENTITY_QUESTION else answer

    def registers(self, asked: Block, answer: Registers) -> Registers:
        """Return the block with another identity."""
        return _overwritten(asked, answer, self._registers)

    def reopened(self) -> None:
        """Be connected, to the other one."""
        self._connected = True


def _overwritten(asked: Block, answer: Registers, registers: Mapping[int, int]) -> Registers:
    return tuple(registers.get(address, was) for address, was in enumerate(answer, asked.address))
