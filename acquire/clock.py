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


def stand_time_of_now(anchor: tuple[int, str], left_t: int, ran: float, goes: float) -> int:
    """Return the stand time (ns) that it is now, on a stand that was left at `left_t`.

    From the anchor to there it ran `ran` times as fast as the wall's clock, since then `goes`
    times. A clock on the wall that was set back takes nothing off `left_t`.
    """
    t, utc = anchor
    passed_s = (datetime.now(UTC) - datetime.fromisoformat(utc)).total_seconds()
    since_s = passed_s - (left_t - t) / S / ran
    return left_t + max(round(since_s * goes * S), 0)


class Anchors:
    """Which UTC instant belongs to which stand time: at the start, and when they drift apart."""

    def __init__(self, utc: "Utc | WallUtc", t: int) -> None:
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


def since_boot_ns() -> int:
    """Return the time since the computer was started, ns, with that in which it was suspended.

    Python's monotonic clock stands still meanwhile (on Linux), and a computer that wakes would take
    what it read before for fresh. Where the system has no such clock it is the monotonic one.
    """
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic_ns() if boot is None else time.clock_gettime_ns(boot)


class WallClock:
    """Stand time on the wall: monotonic, so that nobody who sets a clock disturbs a duration.

    It is `begin` (ns) at its making and goes `speed` times as fast as the wall's. Any thread may
    ask it. `monotonic_ns` and `sleep` are the system's.
    """

    def __init__(
        self,
        begin: int = 0,
        *,
        speed: float = 1.0,
        monotonic_ns: Callable[[], int] = since_boot_ns,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.speed = speed
        self._begin = begin
        self._monotonic_ns = monotonic_ns
        self._sleep = sleep
        self._made = monotonic_ns()

    def now(self) -> int:
        """Return stand time, ns."""
        return self._begin + int(self.passed_ns() * self.speed)

    def passed_ns(self) -> int:
        """Return how long ago this was made, ns on the wall."""
        return self._monotonic_ns() - self._made

    def until_s(self, t: int) -> float:
        """Return how long it is on the wall until stand time `t` (ns), s; 0 once it is past."""
        return max(t - self.now(), 0) / S / self.speed

    def wait_until(self, t: int) -> None:
        """Return when stand time has reached `t`."""
        while (left_s := self.until_s(t)) > 0:
            self._sleep(left_s)


class WallUtc:
    """UTC as the system has it, beside stand time on the wall."""

    def __init__(self, clock: WallClock, time_ns: Callable[[], int] = time.time_ns) -> None:
        self._clock = clock
        self._time_ns = time_ns

    def text(self, t: int) -> str:
        """Return the UTC instant that belongs to stand time `t` (ns), ISO 8601."""
        ago_s = (self._clock.now() - t) / S / self._clock.speed
        return _text(datetime.fromtimestamp(self._time_ns() / S - ago_s, UTC))

    def ahead_ns(self) -> int:
        """Return how far UTC is ahead of stand time, ns, against an instant of its own."""
        return self._time_ns() - self._clock.passed_ns()
