"""The outputs' links as the scan uses them: a write may take its time-out, and nothing more."""

from threading import Event, Thread
from typing import Generic, Protocol, TypeVar

from drivers.link import Block, ConnectionLost, InstrumentFault, Refused, RegisterLink
from drivers.source import Source

AGAIN_S = 0.25


class Reopened(Protocol):
    """What is opened afresh after a fault."""

    def reopen(self) -> None:
        """Close and open it. Raises InstrumentFault."""
        ...

    def close(self) -> None:
        """Close it for good."""
        ...


Link = TypeVar("Link", bound=Reopened)


class OpenedAside(Generic[Link]):
    """A link whose every fault has it opened afresh in a thread, never in whoever writes.

    Until it is open a write fails at once: the hardware watchdog, which by then hears nothing, is
    the way out that needs no link.
    """

    def __init__(self, link: Link, name: str) -> None:
        self._link = link
        self._name = name
        self._lost = False
        self._closed = Event()

    def reopen(self) -> None:
        """Close and open the link, waiting for it. Raises InstrumentFault."""
        self._link.reopen()

    def close(self) -> None:
        """Close the link for good."""
        self._closed.set()
        if not self._lost:
            self._link.close()

    def _refuse_while_lost(self, asked: str) -> None:
        if self._lost:
            raise ConnectionLost(self._name, asked, "it is being opened again")

    def _open_again(self) -> None:
        self._lost = True
        Thread(target=self._until_open, name=f"{self._name} opening", daemon=True).start()

    def _until_open(self) -> None:
        while not self._closed.wait(AGAIN_S):
            try:
                self._link.reopen()
            except InstrumentFault:
                continue
            self._lost = False
            return
        self._link.close()


class ScanLink(OpenedAside[RegisterLink]):
    """The link of the unit that drives the outputs."""

    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        """Return the block's registers. Raises InstrumentFault."""
        self._refuse_while_lost(f"read {block}")
        try:
            return self._link.read(block, timeout_s)
        except Refused:
            raise
        except InstrumentFault:
            self._open_again()
            raise

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        """Write adjacent registers from `address` on. Raises InstrumentFault."""
        self._refuse_while_lost(f"write {values} at {address}")
        try:
            self._link.write(address, values, timeout_s)
        except Refused:
            # An answer: the link is there, and the next command goes over it.
            raise
        except InstrumentFault:
            self._open_again()
            raise


class ScanSource(OpenedAside[Source]):
    """A source that serves as a regulator."""

    def to(self, position: float) -> None:
        """Set its voltage. Raises InstrumentFault."""
        self._refuse_while_lost(f"position {position:.4f}")
        try:
            self._link.to(position)
        except Refused:
            raise
        except InstrumentFault:
            self._open_again()
            raise
