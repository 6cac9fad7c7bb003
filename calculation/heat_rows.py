"""A run's minutes with their cooling air, and means over stretches of them."""

from math import isfinite

import numpy as np
from numpy.typing import NDArray

from calculation.errors import ImpossibleReading
from calculation.heat_readings import Floats, History
from calculation.steadiness import LaggedAmbient

Mask = NDArray[np.bool_]


class HeatRows:
    """Minute rows; `ambient_c` is the mean of the air sensors, `lagged_c` that through `lag_s`.

    Raises:
        ImpossibleReading: no sensor in the cooling air.
    """

    def __init__(self, history: History, lag_s: float) -> None:
        air = [column for name, column in history.channels.items() if name.startswith("ambient.")]
        if not air:
            raise ImpossibleReading({"ambient": 0}, "a rise needs the temperature of cooling air")
        self.t_s = history.t_s
        self.ambient_c = _mean_of_read(np.array(air))
        lagged = LaggedAmbient(lag_s)
        rows = zip(self.t_s.tolist(), self.ambient_c.tolist(), strict=True)
        self.lagged_c = np.array([lagged.add(t, c) if isfinite(c) else c for t, c in rows])
        self._channels = history.channels

    def between(self, from_s: float, to_s: float) -> Mask:
        """The rows later than `from_s` up to `to_s`."""
        return (self.t_s > from_s) & (self.t_s <= to_s)

    def has(self, channel: str) -> bool:
        """Whether a channel was ever read."""
        return channel in self._channels

    def column(self, channel: str) -> Floats:
        """All minutes of a channel.

        Raises:
            ImpossibleReading: a channel that was never read.
        """
        if channel not in self._channels:
            raise ImpossibleReading({channel: 0}, "this channel was never read")
        return self._channels[channel]

    def mean(self, channel: str, rows: Mask) -> float:
        """Mean over rows, those without a reading left out.

        Raises:
            ImpossibleReading: no reading in them.
        """
        return mean_of(channel, self.column(channel)[rows])


def mean_of(name: str, values: Floats) -> float:
    """Mean of what was read.

    Raises:
        ImpossibleReading: nothing was.
    """
    read = values[~np.isnan(values)]
    if not len(read):
        raise ImpossibleReading({name: 0}, "no reading in the stretch that counts")
    return float(read.mean())


def _mean_of_read(columns: Floats) -> Floats:
    """Mean of each row over the columns that were read, NaN where none was."""
    read = ~np.isnan(columns)
    count = read.sum(axis=0)
    total = np.where(read, columns, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
