"""A temperature sensor: late, off by a little that stays, and noisy."""

from math import exp
from random import Random

from drivers.simulated.machinery import SECOND


class Sensor:
    """One sensor with the fixed offset that it has in this run, uniform between its limits.

    It follows with a first-order lag what it is in: exactly so for what goes straight between two
    instants at which it is asked.
    """

    def __init__(self, channel: str, seed: int, lag_s: float, noise_k: float, offset_k: float):
        self.offset_k = Random(f"{seed}/{channel}/sensor").uniform(-offset_k, offset_k)
        self._gauss = Random(f"{seed}/{channel}/sensor noise").gauss
        self._lag_s = lag_s
        self._noise_k = noise_k
        self._t = 0
        self._before: float | None = None
        self._itself = 0.0

    def shown(self, t: int, true_c: float) -> float:
        """Return what it shows at `t`, ns, in something of `true_c`, degC."""
        if self._before is None:
            self._itself = true_c
        elif t > self._t:
            elapsed = (t - self._t) / SECOND
            behind = (true_c - self._before) / elapsed * self._lag_s
            left = exp(-elapsed / self._lag_s)
            self._itself = true_c - behind + (self._itself - self._before + behind) * left
        self._t, self._before = t, true_c
        noise = self._gauss(0.0, self._noise_k) if self._noise_k else 0.0
        return self._itself + self.offset_k + noise
