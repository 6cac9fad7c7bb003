"""Runs of the plants as a test room sees them, with the truth beside them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calculation.one_body import Rows
from tests.heat.plants import STEP_S, Floats, Plant

AMBIENTS = 3
WARMER_K = 5.0
STANDARD_C = 20.0


@dataclass(frozen=True)
class Runs:
    """(minutes, units) of what was read, and what is true of the units."""

    t_s: Floats
    read_c: Floats
    ambient_read_c: Floats
    loss_read_w: Floats
    undisturbed_k: Floats  # rise at constant ambient and current, (minutes, units)
    true_ambient_c: Floats
    true_c: Floats
    ultimate_k: Floats
    ultimate_per_k: Floats  # ultimate rise per kelvin of ambient
    top_limit_k: Floats
    ambient_limit_k: Floats
    kind: NDArray[np.str_]

    def limits_k(self, unit: int) -> list[float]:
        """Half-widths of the fixed errors of a rise as the calculation takes them."""
        return [float(self.top_limit_k[unit])] + AMBIENTS * [
            float(self.ambient_limit_k[unit]) / AMBIENTS
        ]

    def rows(self, unit: int, until_s: float) -> Rows:
        """What was read of a unit up to an instant."""
        k = int(np.searchsorted(self.t_s, until_s, side="right"))
        read = (self.read_c, self.ambient_read_c, self.loss_read_w)
        return Rows(self.t_s[:k], *(column[:k, unit] for column in read))

    def ultimate_at(self, ambient_c: Floats) -> Floats:
        """True ultimate rise at the ambient of the moment, held."""
        return self.ultimate_k + self.ultimate_per_k * (ambient_c - STANDARD_C)


def wander(rng: np.random.Generator, shape: tuple[int, int], minutes: float) -> Floats:
    """Slow noise of standard deviation one and that correlation time."""
    kept = np.exp(-1 / minutes)
    steps = rng.standard_normal(shape) * np.sqrt(1 - kept**2)
    steps[0] = rng.standard_normal(shape[1])
    out = np.empty(shape)
    out[0] = steps[0]
    for k in range(1, shape[0]):
        out[k] = kept * out[k - 1] + steps[k]
    return out


def run(plant: Plant, rng: np.random.Generator, hours: float = 24) -> Runs:
    """Warm all units up in a room that follows the day, read by sensors of stated accuracy."""
    units, rows = len(plant.kind), int(hours * 60) + 1
    t_s = np.arange(rows, dtype=np.float64) * STEP_S
    day = rng.uniform(0.3, 3.0, units) * np.sin(
        2 * np.pi * t_s[:, None] / 86400 + rng.uniform(0, 2 * np.pi, units)
    )
    drift = rng.uniform(-0.1, 0.1, units) * t_s[:, None] / 3600
    ambient_c = rng.uniform(15, 28, units) + day + drift + 0.15 * wander(rng, (rows, units), 20)
    current = 1 + 0.0015 * wander(rng, (rows, units), 10)
    still, held = np.full_like(ambient_c, STANDARD_C), np.ones_like(current)
    both_c, both_w = plant.warm_up(
        np.stack([ambient_c, still], axis=1), np.stack([current, held], axis=1)
    )
    true_c, true_w, undisturbed_k = both_c[:, 0], both_w[:, 0], both_c[:, 1] - STANDARD_C
    ultimate_k, warmer_k = (
        np.asarray(plant.equilibrium(ambient)[0] - ambient, np.float64)
        for ambient in (STANDARD_C, STANDARD_C + WARMER_K)
    )

    top_limit_k = rng.uniform(0.2, 0.8, units)
    ambient_limit_k = rng.uniform(0.2, 0.5, units)
    fixed = rng.uniform(-1, 1, units) * top_limit_k
    of_ambient = np.asarray(
        (rng.uniform(-1, 1, (AMBIENTS, units)) * ambient_limit_k).mean(axis=0), np.float64
    )
    noise = rng.uniform(0.01, 0.08, units)
    multiplier = 1 + 0.002 * rng.uniform(-1, 1, units)
    loss_read_w: Floats = true_w * multiplier * (1 + 5e-4 * rng.standard_normal(true_w.shape))
    return Runs(
        t_s,
        true_c + fixed + noise * rng.standard_normal(true_c.shape),
        ambient_c + of_ambient + noise * rng.standard_normal(true_c.shape),
        loss_read_w,
        undisturbed_k,
        ambient_c,
        true_c,
        ultimate_k,
        np.asarray((warmer_k - ultimate_k) / WARMER_K, np.float64),
        top_limit_k,
        ambient_limit_k,
        plant.kind,
    )
