"""Minute means of readings, live and out of an archive alike."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import inf, isfinite, nan

import numpy as np

from calculation.errors import ImpossibleReading
from calculation.heat_readings import Floats, History

MINUTE_S = 60.0
# A reading is published after the middle of its exchange, so one of the minute before may still
# be on its way when the next begins. No exchange lasts this long.
LATEST_S = 10.0


@dataclass(slots=True)
class _Channel:
    """The means of the minutes that are over, from `first` on, and the sum of the present one."""

    first: int
    minute: int
    total: float = 0.0
    count: int = 0
    means: list[float] = field(default_factory=list)

    def mean_of(self, minute: int) -> float:
        """The mean of a minute, NaN where nothing was read."""
        if minute == self.minute:
            return self.total / self.count
        return (
            self.means[minute - self.first] if 0 <= minute - self.first < len(self.means) else nan
        )


class MinuteMeans:
    """Means over whole minutes of stand time, channel by channel.

    A minute counts as over `LATEST_S` after its end, by the newest reading of any channel. What
    comes out depends on the readings alone, not on when or in what order of channels they were
    fed: so a live run and its archive give identical rows (of what is told minute by minute this
    holds as long as no reading is published later than `LATEST_S`). The present minute is not in
    them.
    """

    def __init__(self) -> None:
        self._channels: dict[str, _Channel] = {}
        self._newest_s = -inf
        self._told: int | None = None

    def add(self, channel: str, t_s: float, value: float) -> None:
        """Take one reading (its middle, s of stand time; channels in any order).

        Raises:
            ImpossibleReading: a channel whose time runs back into an earlier minute, or a minute
                with a value that is not a finite number (seen when the next one begins).
        """
        minute = int(t_s // MINUTE_S)
        kept = self._channels.get(channel)
        if kept is None:
            kept = self._channels[channel] = _Channel(minute, minute)
        elif minute != kept.minute:
            _begin(channel, kept, minute)
        kept.total += value
        kept.count += 1
        if t_s > self._newest_s:  # noqa: PLR1730 - max() costs as much as all the rest
            self._newest_s = t_s

    @property
    def over(self) -> int:
        """The number of the first minute that is not over yet; minute k begins at 60 k s."""
        if not self._channels:
            raise ImpossibleReading({}, "no reading, so no minute")
        return int((self._newest_s - LATEST_S) // MINUTE_S)

    def newly_over(self) -> Iterator[tuple[float, dict[str, float]]]:
        """Yield (middle of the minute in s, means by channel) of each minute over since last asked.

        A minute without any reading of a channel is NaN for it.
        """
        if not self._channels:
            return
        if self._told is None:
            self._told = self._first()
        while self._told < self.over:
            minute, self._told = self._told, self._told + 1
            means = {name: kept.mean_of(minute) for name, kept in self._channels.items()}
            yield (minute + 0.5) * MINUTE_S, means

    def history(self) -> History:
        """All minutes that are over, one row each, NaN where a channel was not read.

        Raises:
            ImpossibleReading: before the first reading.
        """
        over = self.over
        first = min(self._first(), over)
        rows = {name: _column(name, kept, first, over) for name, kept in self._channels.items()}
        return History(np.arange(first, over, dtype=np.float64) * MINUTE_S + MINUTE_S / 2, rows)

    def _first(self) -> int:
        return min(kept.first for kept in self._channels.values())


def _begin(channel: str, kept: _Channel, minute: int) -> None:
    """Close the present minute of a channel and begin another; a gap between them is NaN."""
    if minute < kept.minute:
        raise ImpossibleReading({channel: minute * MINUTE_S}, "stand time runs backwards")
    if not isfinite(kept.total):
        raise ImpossibleReading({channel: kept.total}, "must be a finite number")
    kept.means.append(kept.total / kept.count)
    kept.means.extend([nan] * (minute - kept.minute - 1))
    kept.minute, kept.total, kept.count = minute, 0.0, 0


def _column(name: str, kept: _Channel, first: int, over: int) -> Floats:
    """The means of minutes `first` to before `over`."""
    if kept.minute < over and not isfinite(kept.total):
        raise ImpossibleReading({name: kept.total}, "must be a finite number")
    column = np.full(max(0, over - first), nan)
    closed = kept.means[: max(0, over - kept.first)]
    column[kept.first - first : kept.first - first + len(closed)] = closed
    if first <= kept.minute < over:
        column[kept.minute - first] = kept.total / kept.count
    return column
