"""Two invented plants that warm up, many units at once; they share no formula with the calculation.

Every array has one entry a unit. Bodies exchange heat as conductance x difference ^ exponent and
are stepped by classical Runge-Kutta; `test_plants.py` holds them to SciPy's solvers. Nothing here
was measured on hardware.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
STEP_S = 60.0
COPPER = 1 / 310.0  # of loss at 75 degC, per K


@dataclass(frozen=True)
class Plant:
    """Temperatures (rows) by units (columns): how they move and what is seen of them.

    The first `bodies` rows are temperatures, degC; `differences` more are between places, K.
    """

    kind: NDArray[np.str_]
    bodies: int
    differences: int
    steps: int  # a minute; a quick circulation needs more than one
    derivative: Callable[[Floats, Floats, Floats], Floats]  # state degC, ambient degC, current pu
    loss_w: Callable[[Floats, Floats], Floats]  # state, current pu
    watched_c: Callable[[Floats, Floats], Floats]  # state, current pu

    def warm_up(self, ambient_c: Floats, current_pu: Floats) -> tuple[Floats, Floats]:
        """Watched temperature and loss, (minutes, ..., units), from balance with the first ambient.

        Ambient and current are (minutes, ..., units) alike.
        """
        state = np.repeat(ambient_c[:1], self.bodies + self.differences, axis=0)
        state[self.bodies :] = 0.0
        seen, losses = np.empty_like(ambient_c), np.empty_like(ambient_c)
        for k in range(len(ambient_c)):
            seen[k] = self.watched_c(state, current_pu[k])
            losses[k] = self.loss_w(state, current_pu[k])
            state = self._step(state, ambient_c[k], current_pu[k])
        return seen, losses

    def equilibrium(
        self, ambient_c: Floats | float, current_pu: float = 1.0
    ) -> tuple[Floats, Floats]:
        """Watched temperature and loss for ever after, (units,): where every derivative is zero."""
        units = len(self.kind)
        ambient, current = np.full(units, ambient_c), np.full(units, current_pu)
        # Apart from the start on, since a difference of zero has no slope.
        apart = np.linspace(80, 30, self.bodies + self.differences)[:, None]
        state = ambient + apart * np.ones(units)
        for _ in range(200):
            state = self._step(state, ambient, current)
        for _ in range(20):
            state = state - self._newton(state, ambient, current)
        return self.watched_c(state, current), self.loss_w(state, current)

    def _newton(self, state: Floats, ambient: Floats, current: Floats) -> Floats:
        at = self.derivative(state, ambient, current)
        columns = []
        for body in range(len(state)):
            moved = state.copy()
            moved[body] += 1e-4
            columns.append((self.derivative(moved, ambient, current) - at) / 1e-4)
        jacobian = np.array(columns).transpose(2, 1, 0)
        return np.asarray(np.linalg.solve(jacobian, at.T[:, :, None])[:, :, 0].T, np.float64)

    def _step(self, state: Floats, ambient: Floats, current: Floats) -> Floats:
        h = STEP_S / self.steps
        for _ in range(self.steps):
            k1 = self.derivative(state, ambient, current)
            k2 = self.derivative(state + h / 2 * k1, ambient, current)
            k3 = self.derivative(state + h / 2 * k2, ambient, current)
            k4 = self.derivative(state + h * k3, ambient, current)
            state = np.asarray(state + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4), np.float64)
        return state


def flow(difference: Floats, exponent: Floats | float) -> Floats:
    """Heat flow by natural convection, either way."""
    return np.sign(difference) * np.abs(difference) ** exponent


def kinds(rng: np.random.Generator, count: int) -> NDArray[np.str_]:
    return rng.choice(np.array(["distribution", "larger", "dry"]), count, p=[0.5, 0.3, 0.2])


def by_kind(
    rng: np.random.Generator, kind: NDArray[np.str_], ranges: Mapping[str, tuple[float, float]]
) -> Floats:
    """Draw uniformly from each unit's own range."""
    low = np.array([ranges[name][0] for name in kind])
    high = np.array([ranges[name][1] for name in kind])
    return rng.uniform(low, high)


def first_plant(rng: np.random.Generator, count: int) -> Plant:
    """Ordinary structure: winding and core into the liquid, one cooling path of one exponent.

    Top above mean liquid follows the heat put in, some minutes late.
    A dry unit is the same with what it watches (the winding) cooled by the air and coupled to the
    core: the "liquid" is then the winding block itself.
    """
    kind = kinds(rng, count)
    dry = kind == "dry"
    rise = by_kind(rng, kind, {"distribution": (38, 58), "larger": (40, 58), "dry": (60, 105)})
    tau_s = 3600 * by_kind(
        rng, kind, {"distribution": (1.2, 2.8), "larger": (2.0, 3.6), "dry": (0.6, 1.6)}
    )
    share_0 = rng.uniform(0.08, 0.25, count)
    power = np.exp(
        by_kind(rng, kind, {"distribution": (6, 9), "larger": (9.5, 12), "dry": (6, 10)})
    )
    m = 1 / rng.uniform(0.78, 0.95, count)
    split = by_kind(rng, kind, {"distribution": (3, 10), "larger": (6, 16), "dry": (0, 1e-9)})
    bulk = rise - split / 2
    capacity = tau_s * power * m / bulk
    core_share = rng.uniform(0.1, 0.25, count)
    c_core, c_bulk = capacity * core_share, capacity * (1 - core_share)
    h_cool = power / bulk**m
    gradient = by_kind(rng, kind, {"distribution": (8, 20), "larger": (12, 24), "dry": (6, 12)})
    power_w = power * (1 - share_0)
    h_wind = power_w / gradient**1.25
    c_wind = by_kind(
        rng, kind, {"distribution": (240, 480), "larger": (360, 720), "dry": (90, 180)}
    )
    c_wind = c_wind * power_w * 1.25 / gradient
    h_core = c_core / (3600 * rng.uniform(0.2, 1.5, count))
    copper = COPPER * rng.uniform(0.6, 0.95, count)
    layering_s = rng.uniform(300, 1500, count)

    def winding_w(state: Floats, current: Floats) -> Floats:
        warmer = state[0] - 20 - rise - gradient
        return np.asarray(power_w * current**2 * (1 + copper * warmer), np.float64)

    def derivative(state: Floats, ambient: Floats, current: Floats) -> Floats:
        winding, bulk_c, core, above = state
        from_winding = h_wind * flow(winding - bulk_c, 1.25)
        from_core = h_core * (core - bulk_c)
        away = h_cool * flow(bulk_c - ambient, m)
        heat = winding_w(state, current) / power + share_0
        return np.array(
            [
                (winding_w(state, current) - from_winding) / c_wind,
                (from_winding + from_core - away) / c_bulk,
                (power * share_0 - from_core) / c_core,
                (split / 2 * heat**0.8 - above) / layering_s,
            ]
        )

    def watched_c(state: Floats, current: Floats) -> Floats:
        del current
        return np.asarray(np.where(dry, state[1], state[1] + state[3]), np.float64)

    def loss_w(state: Floats, current: Floats) -> Floats:
        return np.asarray(winding_w(state, current) + power * share_0, np.float64)

    return Plant(kind, 3, 1, 1, derivative, loss_w, watched_c)


def second_plant(rng: np.random.Generator, count: int) -> Plant:
    """Another structure: top and bottom liquid with a circulation of their own, tank, core.

    Heat leaves by radiators (exponent of free convection, from the top liquid) and by the tank,
    which is a body of its own, warmed by the mean liquid and also by stray loss; viscosity falls as
    it warms; the core gives part of its heat to the bottom liquid. A dry unit has the same paths,
    hotter and lighter, top and bottom being the air and insulation about the winding, which is
    what is watched.
    """
    kind = kinds(rng, count)
    dry = kind == "dry"
    rise = by_kind(rng, kind, {"distribution": (38, 58), "larger": (40, 58), "dry": (60, 105)})
    tau_s = 3600 * by_kind(
        rng, kind, {"distribution": (1.1, 2.4), "larger": (1.6, 3.0), "dry": (0.5, 1.3)}
    )
    share_0 = rng.uniform(0.08, 0.3, count)
    stray = rng.uniform(0.03, 0.12, count)
    power = np.exp(
        by_kind(rng, kind, {"distribution": (6, 9), "larger": (9.5, 12), "dry": (6, 10)})
    )
    split = by_kind(rng, kind, {"distribution": (4, 14), "larger": (8, 22), "dry": (15, 40)})
    mean_rise = rise - split / 2
    capacity = 1.2 * tau_s * power / mean_rise
    shares = rng.dirichlet([12, 12, 8, 10], count).T  # top, bottom, tank, core
    c_top, c_bottom, c_tank, c_core = capacity * shares
    by_tank = rng.uniform(0.1, 0.4, count)
    radiator_m = rng.uniform(1.15, 1.35, count)
    h_radiator = power * (1 - by_tank) / mean_rise**radiator_m
    tank_drop = rng.uniform(3, 12, count)
    tank_rise = np.maximum(mean_rise - tank_drop, 10)
    h_tank = power * by_tank / tank_rise**1.1
    h_to_tank = power * np.maximum(by_tank - stray, 0.02) / tank_drop
    mixing = power / split**1.5
    gradient = by_kind(rng, kind, {"distribution": (8, 20), "larger": (12, 24), "dry": (8, 30)})
    power_w = power * (1 - share_0 - stray)
    h_wind = power_w / gradient**1.2
    c_wind = rng.uniform(240, 720, count) * power_w * 1.2 / gradient
    h_core = c_core / (3600 * rng.uniform(0.3, 2.0, count))
    core_to_bottom = rng.uniform(0.2, 0.6, count)
    copper = COPPER * rng.uniform(0.8, 1.0, count)
    thinner = rng.uniform(0.0, 0.004, count)

    def load_pu(state: Floats, current: Floats) -> Floats:
        warmer = state[0] - 20 - rise - gradient
        return np.asarray(current**2 * (1 + copper * warmer), np.float64)

    def derivative(state: Floats, ambient: Floats, current: Floats) -> Floats:
        winding, top, bottom, tank, core = state
        mean = (top + bottom) / 2
        eased = 1 + thinner * (mean - 20 - mean_rise)
        load = load_pu(state, current)
        from_winding = h_wind * eased * flow(winding - mean, 1.2)
        from_core = h_core * (core - mean)
        radiated = h_radiator * eased * flow(mean - ambient, radiator_m)
        to_tank = h_to_tank * eased * (mean - tank)
        from_tank = h_tank * flow(tank - ambient, 1.1)
        # Circulation carries heat down to the coolers, the more the further top is above bottom.
        carried = mixing * eased * flow(top - bottom, 1.5)
        return np.array(
            [
                (power_w * load - from_winding) / c_wind,
                (from_winding + (1 - core_to_bottom) * from_core - to_tank / 2 - carried) / c_top,
                (carried + core_to_bottom * from_core - radiated - to_tank / 2) / c_bottom,
                (to_tank + power * stray * load - from_tank) / c_tank,
                (power * share_0 - from_core) / c_core,
            ]
        )

    def loss_w(state: Floats, current: Floats) -> Floats:
        load = load_pu(state, current)
        return np.asarray(power_w * load + power * (share_0 + stray * load), np.float64)

    def watched_c(state: Floats, current: Floats) -> Floats:
        del current
        return np.asarray(np.where(dry, state[0], state[1]), np.float64)

    return Plant(kind, 5, 0, 2, derivative, loss_w, watched_c)
