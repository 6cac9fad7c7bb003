"""A serial line of several units, of which one is talked to at a time."""

from collections.abc import Callable
from threading import Lock
from time import monotonic, sleep
from typing import Any, ClassVar, Generic, TypeVar

from drivers.connection import OPENING_S, Connection
from drivers.link import ConnectionLost, InstrumentFault, NoAnswer, Refused
from drivers.resource import device_of

Client = TypeVar("Client")
Result = TypeVar("Result")

# The longest RTU frame, 256 bytes of 11 bits (Modbus over serial line 1.02, 2.5.1; from memory).
LONGEST_FRAME_BITS = 256 * 11


class SharedLine(Generic[Client]):
    """A serial line of several units, of which one is talked to at a time.

    An RTU answer doesn't say which question it answers. So after a time-out or anything unreadable
    the line is closed and kept quiet for longer than any answer may take, and then opened afresh.
    """

    _all: ClassVar[dict[str, "SharedLine[Any]"]] = {}
    _all_lock: ClassVar[Lock] = Lock()

    def __init__(
        self,
        device: str,
        baud: int,
        parity: str,
        open_client: Callable[[str, int, str], Client],
        close_client: Callable[[Client], None],
    ) -> None:
        self.settings = (baud, parity)
        self.opened = 0
        self._device = device_of(device)
        self._units = 0
        self._turn = Lock()
        self._quiet_until = 0.0
        self._slowest_s = 0.0
        self._frame_s = LONGEST_FRAME_BITS / baud
        self._client: Client | None = None
        self._connection: Connection[Client] = Connection(
            device, lambda: open_client(device, baud, parity), close_client
        )

    @classmethod
    def joined(
        cls,
        device: str,
        baud: int,
        parity: str,
        open_client: Callable[[str, int, str], Client],
        close_client: Callable[[Client], None],
    ) -> "SharedLine[Client]":
        """Return the one line on a device, with a unit more. Raises ValueError for two speeds."""
        with cls._all_lock:
            known_as = device_of(device)
            line = cls._all.get(known_as)
            if line is None:
                line = cls(device, baud, parity, open_client, close_client)
                cls._all[known_as] = line
            if line.settings != (baud, parity):
                speed = f"{line.settings[0]} baud and parity {line.settings[1]}"
                raise ValueError(f"{device} has {speed}")
            line._units += 1
            return line

    def leave(self) -> None:
        """Close the line when the last of its units leaves it."""
        with self._all_lock:
            self._units -= 1
            if self._units == 0:
                del self._all[self._device]
                self._connection.close()

    def exchange(
        self, name: str, asked: str, timeout_s: float, talk: Callable[[Client, float], Result]
    ) -> Result:
        """Return what comes of talking on the line, in at most the time-out with all waiting."""
        began = monotonic()
        self._slowest_s = max(self._slowest_s, timeout_s)
        if not self._turn.acquire(timeout=timeout_s):
            raise NotAsked(name, asked, "the line was busy all the time")
        try:
            client = self._ready(name, asked, began + timeout_s)
            return talk(client, self._left_s(name, asked, began + timeout_s, timeout_s))
        except (Refused, NotAsked):
            raise
        except InstrumentFault:
            self._break_off()
            raise
        finally:
            self._turn.release()

    def _left_s(self, name: str, asked: str, deadline: float, timeout_s: float) -> float:
        """Return the time for an answer. Too little of it would end in silence for everybody."""
        left = deadline - monotonic()
        if left < min(self._frame_s, timeout_s / 2):
            raise NotAsked(name, asked, "the line was busy too long")
        return left

    def renew(self, name: str, unless_after: int) -> None:
        """Open the line where it is closed, or has not been opened since it was `unless_after`."""
        if not self._turn.acquire(timeout=OPENING_S):
            raise NotAsked(name, "reopen", "the line was busy all the time")
        try:
            if self._client is not None and self.opened == unless_after:
                self._break_off()
            self._ready(name, "reopen", self._quiet_until + 1.0)
        finally:
            self._turn.release()

    def _ready(self, name: str, asked: str, deadline: float) -> Client:
        if self._client is None:
            left = self._quiet_until - monotonic()
            if left > 0 and self._quiet_until >= deadline:
                raise NotAsked(name, asked, f"the line is kept quiet for {left:.1f} s")
            sleep(max(left, 0.0))
            try:
                self._connection.reopen()
            except ConnectionLost as lost:
                raise ConnectionLost(name, asked, lost.came_back) from lost
            self._client = self._connection.begin(asked)
            self._connection.end()
            self.opened += 1
        return self._client

    def _break_off(self) -> None:
        self._client = None
        self._connection.fault()
        self._quiet_until = monotonic() + 2 * self._slowest_s + self._frame_s


class NotAsked(NoAnswer):
    """Nothing was asked, since the line was busy or kept quiet: no fault of the unit's."""
