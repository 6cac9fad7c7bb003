"""The room that the pair stands in."""

from math import cos, exp, pi

from drivers.simulated.thermal.truth import TrueRoom

DAY_S = 86_400.0


class Room:
    """Its temperature, degC: what the day makes of it, and what is shed in it, which leaves again.

    `t_s` is stand time, at which the room of the truth begins its day.
    """

    def __init__(self, true: TrueRoom, start_c: float) -> None:
        self.temperature_c = start_c
        self._true = true
        self._warmed_k = 0.0
        self._turn = 2 * pi / DAY_S
        self._warmest_s = true.warmest_h * 3600
        self._start_c = start_c - true.day_k * cos(self._turn * self._warmest_s)

    def unheated_c(self, t_s: float) -> float:
        """Return what the room would be if nothing were shed in it, degC."""
        true = self._true
        day = true.day_k * cos(self._turn * (t_s - self._warmest_s))
        return self._start_c + day + true.drift_k_per_day * t_s / DAY_S

    def end_c(self, t_s: float, heat_w: float) -> float:
        """Return where it would stand if the day stood still and `heat_w` were shed for ever."""
        return self.unheated_c(t_s) + self._true.warming_k_per_kw * heat_w / 1000

    def begin_at(self, t_s: float, temperature_c: float) -> None:
        """Begin as warm as this at `t_s`: what the day doesn't explain was shed in it."""
        self.temperature_c = temperature_c
        self._warmed_k = temperature_c - self.unheated_c(t_s)

    def step(self, t_s: float, dt: float, heat_w: float) -> None:
        """Go on by `dt` s to `t_s`, `heat_w` shed on the way."""
        true = self._true
        end = true.warming_k_per_kw * heat_w / 1000
        self._warmed_k = end + (self._warmed_k - end) * exp(-dt / true.time_constant_s)
        self.temperature_c = self.unheated_c(t_s) + self._warmed_k
