"""One unit's temperatures in time: windings, core and, where it has one, the liquid.

Every body keeps C d(theta)/dt = heat in - heat out, and gives off G * rise^n, n the inverse of the
truth's exponent. Windings and core heat the liquid and the liquid the room; in a dry unit all three
heat the room. A winding's loss is I^2 (up * (k + theta) + down / (k + theta)): direct-current
resistance rises with its temperature, the additional part falls.

Steps are those of the midpoint rule. What is shed over a step is what it takes at the midpoint, so
that heat in, heat out and heat stored balance to the last digit.
"""

from typing import NamedTuple

from drivers.simulated.pair import WindingResistance
from drivers.simulated.thermal.truth import TrueBody, TrueLiquid, TrueThermalUnit


class Cooling:
    """What the cooling of one unit does.

    For hands: `fan_on` has a fan run, `fan_stopped` keeps it from running, `hindrance` multiplies
    what the unit sheds at a rise: under 1 it is hindered.
    """

    def __init__(self, fan_factor: float = 1.0) -> None:
        self.fan_on = fan_factor > 1.0
        self.fan_stopped = False
        self.hindrance = 1.0
        self._fan_factor = fan_factor

    @property
    def factor(self) -> float:
        """By how much more is shed than at rest and unhindered."""
        running = self.fan_on and not self.fan_stopped
        return self.hindrance * (self._fan_factor if running else 1.0)


class Temperatures(NamedTuple):
    """Temperatures of a unit, degC; of a dry unit's liquid those of the room."""

    winding_lv_c: float
    winding_hv_c: float
    core_c: float
    average_liquid_c: float
    top_liquid_c: float
    bottom_liquid_c: float
    hot_spot_c: float


class Unit:
    """Windings and core of a unit in time, in what surrounds them: the base of both kinds.

    `shed_w` is what the last step gave to the room, W. Temperatures are true means of the bodies.
    """

    def __init__(
        self,
        true: TrueThermalUnit,
        resistances: tuple[WindingResistance, WindingResistance],
        cooling: Cooling,
        start_c: float,
    ) -> None:
        self.true = true
        self.cooling = cooling
        self.winding_lv_c = self.winding_hv_c = self.core_c = start_c
        self.shed_w = 0.0
        self._resistances = resistances
        self._k_lv, self._k_hv = (r.constant_k for r in resistances)
        self._c_lv, self._g_lv, self._n_lv = _constants(true.lv)
        self._c_hv, self._g_hv, self._n_hv = _constants(true.hv)
        self._c_core, self._g_core, self._n_core = _constants(true.core)
        self.carry(0.0, 0.0, 0.0)

    def carry(self, lv_a2: float, hv_a2: float, core_w: float) -> None:
        """From now on carry these squares of current, A2, and this loss in the core, W."""
        lv, hv = self._resistances
        self._up_lv, self._down_lv = lv_a2 * lv.up, lv_a2 * lv.down
        self._up_hv, self._down_hv = hv_a2 * hv.up, hv_a2 * hv.down
        self.core_w = core_w

    def loss_at(self, end: Temperatures) -> float:
        """Return the unit's loss at these temperatures, W."""
        lv, hv = self._k_lv + end.winding_lv_c, self._k_hv + end.winding_hv_c
        lv_w = self._up_lv * lv + self._down_lv / lv
        return lv_w + self._up_hv * hv + self._down_hv / hv + self.core_w

    @property
    def lv_w(self) -> float:
        """The loss of the LV winding at its temperature, W."""
        k = self._k_lv + self.winding_lv_c
        return self._up_lv * k + self._down_lv / k

    @property
    def hv_w(self) -> float:
        """The loss of the HV winding at its temperature, W."""
        k = self._k_hv + self.winding_hv_c
        return self._up_hv * k + self._down_hv / k

    def _inner(
        self, lv: float, hv: float, core: float, around: float, factor: float
    ) -> tuple[float, float, float, float]:
        """Return rates of windings and core, K/s, and the heat that they give off, W."""
        k = self._k_lv + lv
        rise = lv - around
        g = self._g_lv * factor
        q_lv = g * rise**self._n_lv if rise > 0.0 else -g * (-rise) ** self._n_lv
        d_lv = (self._up_lv * k + self._down_lv / k - q_lv) / self._c_lv
        k = self._k_hv + hv
        rise = hv - around
        g = self._g_hv * factor
        q_hv = g * rise**self._n_hv if rise > 0.0 else -g * (-rise) ** self._n_hv
        d_hv = (self._up_hv * k + self._down_hv / k - q_hv) / self._c_hv
        rise = core - around
        g = self._g_core * factor
        q_core = g * rise**self._n_core if rise > 0.0 else -g * (-rise) ** self._n_core
        return d_lv, d_hv, (self.core_w - q_core) / self._c_core, q_lv + q_hv + q_core

    def ultimate(self, room_c: float) -> Temperatures:
        """Return where everything stands in the end: these currents, this cooling, this room."""
        end = self.steady(self.lv_w, self.hv_w, self.core_w, room_c)
        for _ in range(MOST_ROUNDS):
            lv, hv = self._k_lv + end.winding_lv_c, self._k_hv + end.winding_hv_c
            lv_w = self._up_lv * lv + self._down_lv / lv
            hv_w = self._up_hv * hv + self._down_hv / hv
            before, end = end, self.steady(lv_w, hv_w, self.core_w, room_c)
            if max(abs(x - y) for x, y in zip(end, before, strict=True)) < NO_MORE_K:
                return end
        raise ArithmeticError("the unit has no end temperature: losses outrun what it sheds")

    def steady(self, lv_w: float, hv_w: float, core_w: float, room_c: float) -> Temperatures:
        """Return where everything stands in the end at constant losses, W."""
        raise NotImplementedError


class LiquidUnit(Unit):
    """A liquid-filled unit."""

    def __init__(
        self,
        true: TrueThermalUnit,
        liquid: TrueLiquid,
        resistances: tuple[WindingResistance, WindingResistance],
        cooling: Cooling,
        start_c: float,
    ) -> None:
        super().__init__(true, resistances, cooling, start_c)
        self.average_liquid_c = start_c
        self._liquid = liquid
        self._c_liquid, self._g_liquid, self._n_liquid = _constants(liquid)

    @property
    def top_liquid_c(self) -> float:
        """Top liquid, degC."""
        return self.average_liquid_c + self._difference_k(self.shed_w) / 2

    @property
    def bottom_liquid_c(self) -> float:
        """Bottom liquid, degC."""
        return self.average_liquid_c - self._difference_k(self.shed_w) / 2

    @property
    def hot_spot_c(self) -> float:
        """The hottest spot of both windings, degC."""
        rise = max(self.winding_lv_c, self.winding_hv_c) - self.average_liquid_c
        return self.top_liquid_c + self.true.hot_spot_factor * rise

    @property
    def stored_j(self) -> float:
        """Heat stored above 0 degC, J."""
        inner = self._c_lv * self.winding_lv_c + self._c_hv * self.winding_hv_c
        return inner + self._c_core * self.core_c + self._c_liquid * self.average_liquid_c

    def begin_at(self, top_c: float, bottom_c: float) -> None:
        """Begin with its liquid as warm as this, degC, windings and core as warm as the liquid."""
        liquid, difference_k = self._liquid, max(top_c - bottom_c, 0.0)
        share = (difference_k / liquid.difference_k) ** (1 / liquid.difference_exponent)
        self.shed_w = liquid.loss_w * share
        self.average_liquid_c = (top_c + bottom_c) / 2
        self.winding_lv_c = self.winding_hv_c = self.core_c = self.average_liquid_c

    def step(self, dt: float, room_c: float) -> None:
        """Go on by `dt` s in a room of `room_c`."""
        lv, hv, core = self.winding_lv_c, self.winding_hv_c, self.core_c
        liquid, g, half = self.average_liquid_c, self._g_liquid * self.cooling.factor, dt / 2
        d_lv, d_hv, d_core, given = self._inner(lv, hv, core, liquid, 1.0)
        rise = liquid - room_c
        shed = g * rise**self._n_liquid if rise > 0.0 else -g * (-rise) ** self._n_liquid
        middle = liquid + half * (given - shed) / self._c_liquid
        d_lv, d_hv, d_core, given = self._inner(
            lv + half * d_lv, hv + half * d_hv, core + half * d_core, middle, 1.0
        )
        rise = middle - room_c
        shed = g * rise**self._n_liquid if rise > 0.0 else -g * (-rise) ** self._n_liquid
        self.winding_lv_c = lv + dt * d_lv
        self.winding_hv_c = hv + dt * d_hv
        self.core_c = core + dt * d_core
        self.average_liquid_c = liquid + dt * (given - shed) / self._c_liquid
        self.shed_w = shed

    def steady(self, lv_w: float, hv_w: float, core_w: float, room_c: float) -> Temperatures:
        """Return where everything stands in the end at constant losses, W."""
        true, total = self.true, lv_w + hv_w + core_w
        liquid = room_c + _end_rise(self._liquid, total / self.cooling.factor)
        lv, hv = liquid + _end_rise(true.lv, lv_w), liquid + _end_rise(true.hv, hv_w)
        half = self._difference_k(total) / 2
        hot = liquid + half + true.hot_spot_factor * (max(lv, hv) - liquid)
        core = liquid + _end_rise(true.core, core_w)
        return Temperatures(lv, hv, core, liquid, liquid + half, liquid - half, hot)

    def _difference_k(self, shed_w: float) -> float:
        liquid = self._liquid
        if shed_w <= 0.0:
            return 0.0
        return float(liquid.difference_k * (shed_w / liquid.loss_w) ** liquid.difference_exponent)


class DryUnit(Unit):
    """A dry-type unit, whose windings and core stand in the room's air."""

    def __init__(
        self,
        true: TrueThermalUnit,
        resistances: tuple[WindingResistance, WindingResistance],
        cooling: Cooling,
        start_c: float,
    ) -> None:
        super().__init__(true, resistances, cooling, start_c)
        self._room_c = start_c

    @property
    def hot_spot_c(self) -> float:
        """The hottest spot of both windings, degC."""
        rise = max(self.winding_lv_c, self.winding_hv_c) - self._room_c
        return self._room_c + self.true.hot_spot_factor * rise

    @property
    def stored_j(self) -> float:
        """Heat stored above 0 degC, J."""
        inner = self._c_lv * self.winding_lv_c + self._c_hv * self.winding_hv_c
        return inner + self._c_core * self.core_c

    def begin_at(self, lv_c: float, hv_c: float, core_c: float) -> None:
        """Begin with windings and core as warm as this, degC."""
        self.winding_lv_c, self.winding_hv_c, self.core_c = lv_c, hv_c, core_c

    def step(self, dt: float, room_c: float) -> None:
        """Go on by `dt` s in a room of `room_c`."""
        lv, hv, core = self.winding_lv_c, self.winding_hv_c, self.core_c
        factor, half = self.cooling.factor, dt / 2
        d_lv, d_hv, d_core, _ = self._inner(lv, hv, core, room_c, factor)
        d_lv, d_hv, d_core, self.shed_w = self._inner(
            lv + half * d_lv, hv + half * d_hv, core + half * d_core, room_c, factor
        )
        self.winding_lv_c = lv + dt * d_lv
        self.winding_hv_c = hv + dt * d_hv
        self.core_c = core + dt * d_core
        self._room_c = room_c

    def steady(self, lv_w: float, hv_w: float, core_w: float, room_c: float) -> Temperatures:
        """Return where everything stands in the end at constant losses, W."""
        true, factor = self.true, self.cooling.factor
        lv = room_c + _end_rise(true.lv, lv_w / factor)
        hv = room_c + _end_rise(true.hv, hv_w / factor)
        core = room_c + _end_rise(true.core, core_w / factor)
        hot = room_c + true.hot_spot_factor * (max(lv, hv) - room_c)
        return Temperatures(lv, hv, core, room_c, room_c, room_c, hot)


MOST_ROUNDS = 200
NO_MORE_K = 1e-9


def _constants(body: TrueBody) -> tuple[float, float, float]:
    """Return a body's heat capacity, J/K, and the G and n of what it gives off, W: G rise^n."""
    n = 1 / body.exponent
    return body.time_constant_s * body.loss_w / body.rise_k, body.loss_w / body.rise_k**n, n


def _end_rise(body: TrueBody, loss_w: float) -> float:
    return float(body.rise_k * (loss_w / body.loss_w) ** body.exponent)
