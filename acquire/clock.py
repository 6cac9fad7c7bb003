"""The only file that asks the time: stand time, and the UTC instants that anchor it."""

import heapq
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from enum import IntEnum

S = 1_000_000_000
APART_NS = S  # what stand time and UTC may be apart before they are anchored anew


def utc_now() -> str:
    """Return the present UTC instant, ISO 8601."""
    return _text(datetime.now(UTC))


def _text(instant: datetime) -> str:
    return instant.isoformat(timespec="milliseconds")


class Order(IntEnum):
    """What comes first at one instant: people's hands, publications, polls, the scan.

    Hands are no part of the program: they go on when it has ended.
    """

    HANDS = 0
    PUBLICATION = 1
    POLL = 2
    SCAN = 3


class VirtualClock:
    """Stand time without waiting: one thread, what is due in order of its instant.

    What runs may wait ahead of the others (an instrument spends its latency on its own local
    time); the next one due sets the time back to its own instant. Instants are stand time in ns;
    `begin` is the first.
    """

    def __init__(self, begin: int = 0) -> None:
        self._now = begin
        self._due: list[tuple[int, int, int, Callable[[], None]]] = []
        self._sequence = 0

    def now(self) -> int:
        """Return the stand time of whoever runs, ns."""
        return self._now

    def wait_until(self, t: int) -> None:
        """Let whoever runs reach `t` on its own local time."""
        self._now = max(self._now, t)

    def at(self, t: int, order: Order, action: Callable[[], None]) -> None:
        """Have `action` run at stand time `t`."""
        self._sequence += 1
        heapq.heappush(self._due, (t, order, self._sequence, action))

    def is_next(self, t: int) -> bool:
        """Return whether nothing else is due before or at `t`."""
        return not self._due or self._due[0][0] > t

    def run_next(self) -> None:
        """Run what is due next. Raises IndexError when nothing is."""
        self._now, _order, _sequence, action = heapq.heappop(self._due)
        action()

    def without_program(self, until: int) -> None:
        """Forget all that the program was going to do and let time pass; hands go on meanwhile."""
        self._due = [due for due in self._due if due[1] == Order.HANDS]
        heapq.heapify(self._due)
        while not self.is_next(until):
            self.run_next()
        self._now = until


class StandTime:
    """Stand time on the wall: what monotonic time has passed since its making, `speed` times."""

    def __init__(self, speed: float = 1.0) -> None:
        self._speed = speed
        self._begun = time.monotonic_ns()

    def now(self) -> int:
        """Return stand time, ns."""
        return int((time.monotonic_ns() - self._begun) * self._speed)


class Utc:
    """UTC beside virtual stand time: the instant of its making is `begin`, and what passed since.

    `stepped_s` is for hands: by how much somebody has set the clock on the wall.
    """

    def __init__(self, begin: int = 0) -> None:
        self.stepped_s = 0.0
        self._begun = datetime.now(UTC) - timedelta(seconds=begin / S)

    def text(self, t: int) -> str:
        """Return the UTC instant that belongs to stand time `t` (ns), ISO 8601."""
        return _text(self._begun + timedelta(seconds=t / S + self.stepped_s))

    def ahead_ns(self) -> int:
        """Return how far UTC is ahead of stand time, ns, against the instant of its making."""
        return round(self.stepped_s * S)


class Anchors:
    """Which UTC instant belongs to which stand time: at the start, and when they drift apart."""

    def __init__(self, utc: Utc, t: int) -> None:
        self.dropped: list[tuple[int, str]] = [(t, utc.text(t))]
        self._utc = utc
        self._ahead = utc.ahead_ns()

    def drift_ns(self) -> int:
        """Return how far UTC has gone off the last anchor, ns; 0 while that is nothing."""
        drift = self._utc.ahead_ns() - self._ahead
        return drift if abs(drift) >= APART_NS else 0

    def drop(self, t: int) -> None:
        """Drop an anchor at stand time `t` (ns)."""
        self._ahead = self._utc.ahead_ns()
        self.dropped.append((t, self._utc.text(t)))
