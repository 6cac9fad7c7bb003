"""One body that warms up: a robust fit of its heat balance to what was read.

dT/dt = gain x drive(t) - pull x back(t)

with `drive` made of the losses and `back` of the rise over ambient. Integrated once over time the
balance is linear in gain and pull, so no derivative of noisy readings is taken and no start value
is needed: T(t) - T(0) = gain x integral of drive - pull x integral of back.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calculation.errors import ImpossibleReading
from calculation.heat_readings import Floats

BLOCKS = 120
HUBER = 1.345  # of the scatter: 95 % efficient on normal noise (Huber, Robust Statistics; M)
MAD = 1.4826  # scatter of normal noise over its median absolute deviation
REWEIGHTED = 3
# What still counts as one stretch, in blocks; across anything longer the body may have done
# anything, so the fit begins there with a level of its own.
STRETCH_BLOCKS = 3.0
SHORTEST_STRETCH = 5
LEAST_ROWS = 12
# Copper at 20 degC gains this share a kelvin: no loss of a unit at constant current gains more.
MOST_LOSS_PER_K = 0.004
LEAST_WARMING_K = 0.5


@dataclass(frozen=True, slots=True)
class Rows:
    """Minute rows of one unit since its warm-up began, each (rows,), NaN where nothing was read.

    Stand time (s), the temperature followed and its ambient (degC), and the loss (W): of this unit
    or of both alike.

    Raises:
        ImpossibleReading: columns of unequal length, time not rising, an infinite number, or a
            loss that is not above zero.
    """

    t_s: Floats
    temperature_c: Floats
    ambient_c: Floats
    loss_w: Floats

    def __post_init__(self) -> None:
        lengths = {name: len(getattr(self, name)) for name in self.__slots__}
        if len(set(lengths.values())) != 1:
            raise ImpossibleReading(lengths, "every row needs all its columns")
        if np.isinf(self.columns).any() or not (np.diff(self.t_s) > 0).all():
            raise ImpossibleReading({"rows": len(self.t_s)}, "rows are finite, their time rising")
        if (self.loss_w <= 0).any():
            raise ImpossibleReading({"loss_w": float(np.nanmin(self.loss_w))}, "must be above zero")

    @property
    def columns(self) -> Floats:
        """All four, (4, rows)."""
        return np.array([self.t_s, self.temperature_c, self.ambient_c, self.loss_w])


@dataclass(frozen=True, slots=True)
class Blocks:
    """Means of blocks of minutes: instants (s), temperature, ambient (degC) and loss (W)."""

    t_s: Floats
    temperature_c: Floats
    ambient_c: Floats
    loss_w: Floats
    length_s: float

    @property
    def rise_k(self) -> Floats:
        """Temperature over ambient, K."""
        return self.temperature_c - self.ambient_c

    @property
    def loss_per_k(self) -> float:
        """What the loss gains a kelvin of the temperature at constant set-points, W/K.

        The median over pairs of blocks a quarter of the rows apart, so that a step of the
        set-point, which only some pairs straddle, doesn't count.
        """
        apart = max(1, len(self.t_s) // 4)
        warming_k = self.temperature_c[apart:] - self.temperature_c[:-apart]
        told = np.abs(warming_k) >= LEAST_WARMING_K
        if not told.any():
            return 0.0
        gained_w = (self.loss_w[apart:] - self.loss_w[:-apart])[told]
        slope = float(np.median(gained_w / warming_k[told]))
        return min(max(slope, 0.0), MOST_LOSS_PER_K * float(self.loss_w[-1]))

    def since(self, t_s: float) -> "Blocks":
        """The blocks from an instant on."""
        kept = self.t_s >= t_s
        return Blocks(
            self.t_s[kept],
            self.temperature_c[kept],
            self.ambient_c[kept],
            self.loss_w[kept],
            self.length_s,
        )


@dataclass(frozen=True, slots=True)
class Balance:
    """Gain and pull with their covariance.

    `misfit_k2` is the weighted sum of squares of what the fit leaves, K2; `freedom` how many
    independent residuals are in it, fewer than there are where neighbours are alike.
    """

    gain: float
    pull: float
    covariance: Floats  # (2, 2)
    misfit_k2: float
    freedom: float


def blocks(rows: Rows) -> Blocks:
    """Average rows to at most `BLOCKS` blocks; a row with a NaN is left out."""
    t_s, columns = rows.t_s, rows.columns
    kept = columns[:, ~np.isnan(columns).any(axis=0)]
    if not kept.size:
        return Blocks(kept[0], kept[1], kept[2], kept[3], 60.0)
    minutes = max(1, -(-round((t_s[-1] - t_s[0]) / 60.0 + 1) // BLOCKS))
    # Counted from the newest row back, so that the newest block is a whole one.
    number = ((t_s[-1] - kept[0]) // (60.0 * minutes)).astype(np.int64)
    starts = np.flatnonzero(np.diff(number, prepend=number[0] + 1))
    counts = np.diff(starts, append=len(number))
    t, temperature, ambient, loss = np.add.reduceat(kept, starts, axis=1) / counts
    return Blocks(t, temperature, ambient, loss, 60.0 * minutes)


def balance(rows: Blocks, drive: Floats, back: Floats) -> Balance | None:
    """Fit gain and pull, robustly (Huber); None where the rows can't tell.

    `drive` and `back` (blocks,) in any unit. The covariance counts what neighbouring residuals
    share, since a second body leaves residuals that wander.

    Source: the heat balance of one body (D); weights of Huber, Robust Statistics (M).
    """
    stretch = _stretches(rows)
    levels = [stretch == k for k in range(int(stretch.max(initial=-1)) + 1)]
    levels = [level for level in levels if level.sum() >= SHORTEST_STRETCH]
    used = np.any(levels, axis=0) if levels else np.zeros(len(rows.t_s), dtype=bool)
    if used.sum() < LEAST_ROWS + len(levels):
        return None
    hours = (rows.t_s - rows.t_s[-1]) / 3600.0
    scale = np.array([np.abs(drive).max(), np.abs(back).max()])
    if not (scale > 0).all():
        return None
    slopes = [_integral(hours, drive / scale[0]), -_integral(hours, back / scale[1])]
    design = np.stack([*(level.astype(np.float64) for level in levels), *slopes], axis=1)[used]
    seen = rows.temperature_c[used]
    weight = np.ones(len(seen))
    for _ in range(REWEIGHTED):
        found, _, rank, _ = np.linalg.lstsq(design * weight[:, None], seen * weight, rcond=1e-10)
        if rank < design.shape[1]:
            return None
        left = seen - design @ found
        scatter = max(MAD * float(np.median(np.abs(left))), 1e-9)
        weight = np.sqrt(np.minimum(1.0, HUBER * scatter / np.maximum(np.abs(left), 1e-12)))
    weighted = design * weight[:, None]
    freedom = len(seen) - design.shape[1]
    misfit_k2 = float((weight * left) @ (weight * left))
    shared = _shared(left)
    variance = misfit_k2 / freedom * shared
    covariance = variance * np.linalg.inv(weighted.T @ weighted)[-2:, -2:]
    per_second = 1 / (scale * 3600.0)
    gain, pull = found[-2:] * per_second
    both = covariance * np.outer(per_second, per_second)
    return Balance(float(gain), float(pull), both, misfit_k2, freedom / shared)


def _stretches(rows: Blocks) -> NDArray[np.int64]:
    """Which unbroken stretch each block is of, counted from 0."""
    broken = np.diff(rows.t_s) > STRETCH_BLOCKS * rows.length_s
    return np.concatenate([np.zeros(min(1, len(rows.t_s)), np.int64), np.cumsum(broken)])


def _integral(hours: Floats, rate: Floats) -> Floats:
    """Running integral by trapezoids; a gap's share falls to the level of the next stretch."""
    steps = (rate[1:] + rate[:-1]) / 2 * np.diff(hours)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _shared(left: Floats) -> float:
    """By how much a neighbour's residual, being alike, widens the variance of any mean."""
    alike = float(left[1:] @ left[:-1]) / max(float(left @ left), 1e-30)
    alike = min(max(alike, 0.0), 0.95)
    return (1 + alike) / (1 - alike)
