"""A regulator's motor, switched by a raise and a lower relay."""

from collections.abc import Callable
from typing import NamedTuple

from drivers.reading import Quality, Reading
from drivers.wiring import MotorRelays, Regulator

RAISE, REST, LOWER = 1, 0, -1
# A motor that goes on raising for longer than its way needs isn't followed by its position.
MOST_OF_WAY = 1.3
MORE_S = 1.0
# Nearer than that, in steps it can hold, nothing is gained by another.
NEAR = 0.6
S = 1_000_000_000


class Limits(NamedTuple):
    """Whether the limit contacts are seen made; one that can't be read stops a raise."""

    lower: bool = False
    upper: bool = False


class Motor:
    """Runs a motor to a position: by its rate and its newest position, and to zero by its contact.

    Relays are switched at scans, so what it holds is no finer than its rate times the scan period.
    It raises only from a position that is known, and for no longer than the way takes at its rate,
    so that a position that reads low doesn't raise for ever. To zero it lowers until the lower
    limit contact is made. `write` takes register and value and never raises.
    """

    def __init__(
        self, output: str, wired: Regulator, relays: MotorRelays, write: Callable[[int, int], None]
    ) -> None:
        self._channels = (output, f"{output}.lower_limit", f"{output}.upper_limit")
        self._rate = wired.rate_per_s / S
        self._near = NEAR * wired.resolution
        self._zero_band = wired.zero_band
        self._relays = relays
        self._write = write
        self._target = 0.0
        self._runs = REST
        self._since = 0
        self._position: Reading | None = None
        self._limits = Limits()
        self._raising_left: float | None = None
        self._last = 0

    def to(self, target: float, now: int) -> None:
        """Send it to a position, 0 to 1, at stand time `now`, ns; its relays are written anew."""
        if target != self._target:
            self._target = target
            self._raising_left = None
        self._switch(self._wanted(now), now)

    def go_on(self, now: int) -> None:
        """Switch its relays where they have to change; once a scan."""
        if self._runs == RAISE and self._raising_left is not None:
            self._raising_left -= now - self._last
        wanted = self._wanted(now)
        self._last = now
        if wanted != self._runs:
            self._switch(wanted, now)

    def take(self, reading: Reading) -> None:
        """Take its position and its limit contacts from what is read."""
        position, lower, upper = self._channels
        if reading.channel == position:
            self._position = reading
        elif reading.channel == lower:
            self._limits = self._limits._replace(lower=reading.value == 1)
        elif reading.channel == upper:
            self._limits = self._limits._replace(upper=reading.value != 0)

    def rests(self, reading: Reading) -> bool:
        """Return whether this position shows it at rest where it was sent."""
        if self._runs != REST or reading.began < self._since or reading.value is None:
            return False
        if self._target <= 0:
            return self._limits.lower and reading.value <= self._zero_band
        return abs(reading.value - self._target) <= self._near

    def _wanted(self, now: int) -> int:
        if self._target <= 0:
            return REST if self._limits.lower else LOWER
        where = self._where(now)
        if where is None:
            return REST
        way = self._target - where
        toward = RAISE if way > 0 else LOWER
        if self._runs not in (REST, toward):
            return REST
        # What it does until the next scan can't be taken back: it stops half of that before.
        ahead = self._rate * (now - self._last) / 2
        if abs(way) <= (self._near if self._runs == REST else ahead):
            return REST
        if toward == LOWER:
            return REST if self._limits.lower else LOWER
        if self._raising_left is None:
            self._raising_left = MOST_OF_WAY * way / self._rate + MORE_S * S
        return REST if self._limits.upper or self._raising_left <= 0 else RAISE

    def _where(self, now: int) -> float | None:
        """Return where it is by its newest position; None where that isn't known."""
        newest = self._position
        if newest is None or newest.quality is not Quality.GOOD or newest.value is None:
            return None
        if self._runs == REST:
            return newest.value if newest.began >= self._since else None
        return newest.value + self._runs * self._rate * (now - max(newest.t, self._since))

    def _switch(self, runs: int, now: int) -> None:
        """Write both relays, the one that opens first."""
        if runs != self._runs:
            self._runs, self._since = runs, now
        relays = self._relays
        for direction in (LOWER, RAISE) if runs == RAISE else (RAISE, LOWER):
            self._write(
                relays.raise_at if direction == RAISE else relays.lower_at, int(runs == direction)
            )
