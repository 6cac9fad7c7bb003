"""The only file that asks the time: stand time, and the UTC instants that anchor it."""

import heapq
from collections.abc import Callable
from datetime import UTC, datetime
from enum import IntEnum

S = 1_000_000_000


def utc_now() -> str:
    """Return the present UTC instant, ISO 8601."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class Order(IntEnum):
    """What comes first at one instant: publications and people's hands, polls, the scan."""

    PUBLICATION = 0
    POLL = 1
    SCAN = 2


class VirtualClock:
    """Stand time without waiting: one thread, what is due in order of its instant.

    What runs may wait ahead of the others (an instrument spends its latency on its own local
    time); the next one due sets the time back to its own instant. Instants are stand time in ns.
    """

    def __init__(self) -> None:
        self._now = 0
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
