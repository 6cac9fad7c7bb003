"""The seam to the wires: text and registers, each call with its own time-out."""

from typing import Annotated, Literal, NamedTuple, Protocol

from annotated_types import Ge, Le

# A line of text, asked or answered, ends in a line feed (IEEE 488.2, from memory).
END = b"\n"
LONGEST_ANSWER = 20_000

# Modbus application protocol 1.1b3, 4.3; registers of 16 bits, coils and discrete inputs of one.
Table = Literal["holding", "input", "coil", "discrete"]
Register = Annotated[int, Ge(0), Le(65535)]


class InstrumentFault(Exception):
    """An instrument did not do what it was asked: which one, what was asked, what came back."""

    def __init__(self, instrument: str, asked: str, came_back: str) -> None:
        super().__init__(f"{instrument}: asked {asked!r}, {came_back}")
        self.instrument = instrument
        self.asked = asked
        self.came_back = came_back

    @property
    def without_name(self) -> str:
        """What was asked and what came back, where the instrument's name already stands."""
        return f"asked {self.asked!r}, {self.came_back}"


class NoAnswer(InstrumentFault):
    """Nothing came back within the time-out."""


class BadAnswer(InstrumentFault):
    """Something came back that is not an answer to the question."""


class ConnectionLost(InstrumentFault):
    """The link is gone: it has to be opened again."""


class Refused(InstrumentFault):
    """The instrument answered that it will not."""


class Block(NamedTuple):
    """Adjacent registers (or bits) of one table of a unit, read in one exchange."""

    address: int
    count: int  # type: ignore[assignment]  # the trade calls it count; a tuple has a method of that name
    table: Table = "holding"

    def __str__(self) -> str:
        """Return it in words: holding registers 0 to 8."""
        kind = {"coil": "coil", "discrete": "discrete input"}.get(
            self.table, f"{self.table} register"
        )
        if self.count == 1:
            return f"{kind} {self.address}"
        return f"{kind}s {self.address} to {self.address + self.count - 1}"


class TextLink(Protocol):
    """An instrument that is asked in lines of text. Raises InstrumentFault and nothing else."""

    def query(self, message: str, timeout_s: float) -> str:
        """Send one message and return its one answer, without its terminator."""
        ...

    def write(self, message: str, timeout_s: float) -> None:
        """Send one message that has no answer."""
        ...

    def reopen(self) -> None:
        """Close and open the link; proves nothing about who answers on it."""
        ...

    def close(self) -> None:
        """Close the link for good."""
        ...


class RegisterLink(Protocol):
    """A unit of 16-bit registers. Raises InstrumentFault and nothing else."""

    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        """Return the block's registers, exactly `block.count` of them, each 0 to 65535.

        Of coils and discrete inputs each is 0 or 1.
        """
        ...

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        """Write adjacent registers from `address` on."""
        ...

    def reopen(self) -> None:
        """Close and open the link; proves nothing about who answers on it."""
        ...

    def close(self) -> None:
        """Close the link for good."""
        ...


class Clock(Protocol):
    """Stand time, for those who are told when to wait: monotonic nanoseconds."""

    def now(self) -> int:
        """Return stand time in ns."""
        ...

    def wait_until(self, t: int) -> None:
        """Return when stand time has reached `t`."""
        ...
