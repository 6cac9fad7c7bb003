"""The heat of both units and of the room, in step with the circuit."""

from collections.abc import Mapping
from typing import NamedTuple

from calculation.nameplate import Nameplate
from drivers.simulated.circuit import Solution
from drivers.simulated.machinery import SECOND
from drivers.simulated.pair import Windings, winding_resistances
from drivers.simulated.thermal.room import Room
from drivers.simulated.thermal.sensor import Sensor
from drivers.simulated.thermal.truth import TrueSensors, TrueThermal
from drivers.simulated.thermal.unit import Cooling, DryUnit, LiquidUnit, Temperatures
from drivers.simulated.truth import TrueUnit, Truth

STEP_NS = SECOND
# The circuit is solved afresh when a winding has warmed or cooled by so much. Resistances are then
# off by 0.01 % at the most. Losses take present resistances and the currents of the last solution,
# which go with resistance the less the more reactance there is beside it.
FOLLOWED_K = 0.03

ROUNDS = 100
NO_MORE_K = 1e-9


class Load(NamedTuple):
    """What heats: squares of the currents, A2, of each LV and of both HV windings, and losses, W.

    Cores with what a shorted turn takes; `leads_w` is lost in the room, in leads to the LV bus.
    """

    a_lv_a2: float
    b_lv_a2: float
    hv_a2: float
    a_core_w: float
    b_core_w: float
    leads_w: float

    def halfway(self, other: "Load") -> "Load":
        """Return the mean of this and another load."""
        return Load(*[(mine + its) / 2 for mine, its in zip(self, other, strict=True)])


NOTHING = Load(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def load_of(solution: Solution, lead_ohm: float) -> Load:
    """Return the load of a circuit whose leads to each unit have `lead_ohm`."""
    a_lv_a2, b_lv_a2 = abs(solution.i_a) ** 2, abs(solution.i_b) ** 2
    return Load(
        a_lv_a2,
        b_lv_a2,
        abs(solution.loop) ** 2,
        abs(solution.e_a) ** 2 * solution.y_a.real,
        abs(solution.e_b) ** 2 * solution.y_b.real,
        (a_lv_a2 + b_lv_a2) * lead_ohm,
    )


class ThermalPair:
    """Units A and B in their room; moved on by whoever runs the plant.

    `t` is the instant that it has been moved to, ns. Currents stay as last carried, `load`.
    """

    def __init__(
        self,
        truth: Truth,
        thermal: TrueThermal,
        nameplate: Nameplate,
        coolings: dict[str, Cooling],
        seed: int,
    ) -> None:
        start = truth.room_temperature_c
        self.t = 0
        self.room = Room(thermal.room, start)
        self.units: dict[str, LiquidUnit | DryUnit] = {}
        trues: tuple[tuple[str, TrueUnit], ...] = (("a", truth.a), ("b", truth.b))
        for name, electrical in trues:
            true = thermal.a if name == "a" else thermal.b
            r = winding_resistances(nameplate, electrical)
            cooling = coolings[name]
            self.units[name] = (
                DryUnit(true, r, cooling, start)
                if true.liquid is None
                else LiquidUnit(true, true.liquid, r, cooling, start)
            )
        self.a, self.b = self.units["a"], self.units["b"]
        self._seed = seed
        self._true_sensors = thermal.sensors
        self._sensors: dict[str, Sensor] = {}
        self.load = NOTHING
        self._followed = self._windings()

    def begin_at(self, read_c: Mapping[str, float]) -> None:
        """Begin as warm as somebody has read it, degC by channel: a plant that is found, not left.

        What was not read (windings and core in a liquid) is taken as in balance.
        """
        ambient = [c for name, c in read_c.items() if name.startswith("ambient.")]
        self.room.begin_at(self.t / SECOND, sum(ambient) / len(ambient))
        for name, unit in self.units.items():
            if isinstance(unit, LiquidUnit):
                top = read_c[f"{name}.top_liquid"]
                unit.begin_at(top, read_c.get(f"{name}.bottom_liquid", top))
            else:
                lv, hv = (read_c[f"{name}.winding_{side}"] for side in ("lv", "hv"))
                unit.begin_at(lv, hv, read_c.get(f"{name}.core", (lv + hv) / 2))

    @property
    def due(self) -> int:
        """When it should be moved on, ns."""
        return self.t + STEP_NS

    def carry(self, load: Load) -> None:
        """From now on carry this."""
        self.load = load
        self.a.carry(load.a_lv_a2, load.hv_a2, load.a_core_w)
        self.b.carry(load.b_lv_a2, load.hv_a2, load.b_core_w)

    def to(self, t: int) -> None:
        """Move on to `t`, ns, in steps of a second and the rest of one."""
        a, b, room = self.a, self.b, self.room
        while self.t < t:
            ns = min(STEP_NS, t - self.t)
            dt = ns / SECOND
            self.t += ns
            a.step(dt, room.temperature_c)
            b.step(dt, room.temperature_c)
            room.step(self.t / SECOND, dt, a.shed_w + b.shed_w + self.load.leads_w)

    def windings_c(self, unit: str) -> Windings:
        """Return the mean temperatures of a unit's windings, degC."""
        found = self.units[unit]
        return Windings(found.winding_lv_c, found.winding_hv_c)

    def followed(self) -> bool:
        """Return whether the circuit still has the windings' temperatures; if not, it is to."""
        now = self._windings()
        if all(abs(x - y) <= FOLLOWED_K for x, y in zip(now, self._followed, strict=True)):
            return True
        self._followed = now
        return False

    def true_c(self, channel: str) -> float | None:
        """Return the true temperature behind a channel, degC; None where nothing has that name."""
        name, _, place = channel.partition(".")
        if name == "ambient":
            return self.room.temperature_c
        found: float | None = getattr(self.units.get(name), f"{place}_c", None)
        return found

    def sensed(self, channel: str, true_c: float) -> float:
        """Return what the sensor behind a channel shows in something of `true_c`, degC."""
        sensor = self._sensors.get(channel)
        if sensor is None:
            sensor = self._sensors[channel] = _sensor(channel, self._true_sensors, self._seed)
        return sensor.shown(self.t, true_c)

    def ultimate(self) -> dict[str, Temperatures]:
        """Return where both units stand in the end: these currents, this cooling, this hour.

        The room warms with what they shed. Resistances follow, the currents do not.
        """
        room_c = self.room.end_c(self.t / SECOND, self.load.leads_w)
        for _ in range(ROUNDS):
            ends = {name: unit.ultimate(room_c) for name, unit in self.units.items()}
            shed_w = sum(unit.loss_at(ends[name]) for name, unit in self.units.items())
            before, room_c = room_c, self.room.end_c(self.t / SECOND, shed_w + self.load.leads_w)
            if abs(room_c - before) < NO_MORE_K:
                break
        return ends

    def _windings(self) -> tuple[float, float, float, float]:
        a, b = self.a, self.b
        return a.winding_lv_c, a.winding_hv_c, b.winding_lv_c, b.winding_hv_c


def _sensor(channel: str, true: TrueSensors, seed: int) -> Sensor:
    lag_s = true.liquid_lag_s
    if channel.startswith("ambient"):
        lag_s = true.ambient_lag_s
    elif not channel.endswith("liquid"):
        lag_s = true.winding_lag_s
    return Sensor(channel, seed, lag_s, true.noise_k, true.offset_k)
