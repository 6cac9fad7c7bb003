"""Heat runs of many simulated pairs with their instruments, and the true rises of their windings.

The plant is that of `drivers/simulated/thermal`, the instruments are drawn here, and nothing of
`calculation` has a part in either. Every range is invented, after what a test room for
distribution transformers meets; nothing was measured on hardware.

Before a run a unit stands unloaded for a day in a room that follows the day, drifts and wanders:
liquid and core lag behind it, and the liquid may lie in layers, the windings anywhere between. All
that stays wrong for a run (sensors, meters) is drawn once for it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator

from calculation.heat_readings import (
    ColdResistance,
    CoolingReadings,
    Floats,
    HeatReadings,
    History,
)
from calculation.heat_test import HeatTest
from calculation.nameplate import Nameplate, ThermalPlate
from calculation.readings import LoadMeans, LossReadings, NoLoadMeans
from calculation.rise_budget import RiseAllowance
from calculation.settling import cold_reading
from calculation.shutdown import loss_equivalent_instant
from calculation.stated import Stated
from drivers.simulated.machinery import SECOND
from drivers.simulated.pair import WindingResistance
from drivers.simulated.thermal.room import Room
from drivers.simulated.thermal.sensor import Sensor
from drivers.simulated.thermal.truth import TrueBody, TrueLiquid, TrueRoom, TrueThermalUnit
from drivers.simulated.thermal.unit import Cooling, DryUnit, LiquidUnit
from drivers.simulated.winding import settling
from tests.heat.runs import wander

MINUTE_S = 60.0
DAY_BEFORE_MINUTES = 1440
COPPER_K = 235.0
HV_CURRENT_A = 30.0
AIR_SENSORS = 3
SIDES = ("lv", "hv")
NO_LOSS_TEST = LossReadings(
    NoLoadMeans(400.0, 400.0, 1.0, 1.0), LoadMeans(1.0, 1.0, 1.0, 1.0, 1.0), None, 1.0, 2.0, 20.0
)


@dataclass(frozen=True)
class TrueWinding:
    """One winding as it was drawn, and its true rise at rated, K."""

    construction: str
    settling_s: float
    exponential: bool
    rise_k: float


@dataclass(frozen=True)
class Run:
    """What a heat run read, as it is reduced, and the truth; windings by name."""

    test: HeatTest
    windings: Mapping[str, TrueWinding]


@dataclass(frozen=True)
class _Instruments:
    """Limits of error, each drawn for a run, and the errors of the meters themselves."""

    sensor_k: float
    sensor_noise_k: float
    meter_percent: float
    linearity_percent: float
    of_reading: float
    waves: float
    phase: float
    scatter: float
    power_error: float
    current_error: float
    late_s: float

    def resistance(self, rng: Generator, true_ohm: Floats, full_ohm: float) -> Floats:
        """What the meter shows on one range: an error that goes with reading, one that bends."""
        bend = np.sin(self.waves * true_ohm / full_ohm + self.phase) * self.linearity_percent / 100
        noise = self.scatter * rng.standard_normal(len(true_ohm))
        return np.asarray(true_ohm * (1 + self.of_reading + bend + noise), np.float64)


@dataclass
class _Unit:
    """A unit of the plant with what is true of it."""

    plant: LiquidUnit | DryUnit
    true: TrueThermalUnit
    layers_k: float
    aside: Mapping[str, float]  # where a winding stands in the layers, as a share of them
    settling_s: Mapping[str, float]

    @property
    def body(self) -> TrueBody:
        """What the lag of the unit is that of."""
        return self.true.liquid or self.true.hv

    def true_c(self, place: str, *, cold: bool) -> float:
        """True temperature where a sensor is."""
        layers = self.layers_k if cold else 0.0
        shift = {"top_liquid": layers / 2, "bottom_liquid": -layers / 2}.get(place, 0.0)
        return float(getattr(self.plant, f"{place}_c")) + shift

    def winding_c(self, side: str, *, cold: bool) -> float:
        """True mean temperature of a winding."""
        layers = self.layers_k * self.aside[side] if cold else 0.0
        return float(getattr(self.plant, f"winding_{side}_c")) + layers


def draw(rng: Generator, *, dry: bool) -> Run:
    """Draw a pair with its room and instruments, and run it from the day before to the end."""
    return _HeatRun(rng, dry).run()


def _instruments(rng: Generator) -> _Instruments:
    meter, linearity = rng.uniform(0.02, 0.2), rng.uniform(0.003, 0.03)
    return _Instruments(
        sensor_k=rng.uniform(0.1, 0.5),
        sensor_noise_k=rng.uniform(0.003, 0.03),
        meter_percent=meter,
        linearity_percent=linearity,
        of_reading=rng.uniform(-meter, meter) / 100,
        waves=rng.uniform(3.0, 12.0),
        phase=rng.uniform(0.0, 2 * np.pi),
        scatter=10 ** rng.uniform(-4.7, -3.6),
        power_error=rng.uniform(-0.005, 0.005),
        current_error=rng.uniform(-0.002, 0.002),
        late_s=rng.uniform(0.0, 0.4),
    )


def _unit(rng: Generator, twin: TrueThermalUnit, start_c: float, settling_s: Floats) -> _Unit:
    """A unit that is like its twin within the tolerances of making."""
    parts = {}
    for name in ("lv", "hv", "core", "liquid"):
        body = getattr(twin, name)
        if body is not None:
            rise, constant = rng.uniform(0.97, 1.03, 2).tolist()
            parts[name] = replace(
                body,
                rise_k=body.rise_k * rise,
                time_constant_s=body.time_constant_s * constant,
            )
    true = TrueThermalUnit(**parts, hot_spot_factor=1.1)
    additional = rng.uniform(0.03, 0.12)
    warm = COPPER_K + (120.0 if true.liquid is None else 75.0)
    resistances = tuple(
        WindingResistance(
            COPPER_K, body.loss_w * (1 - additional) / warm, body.loss_w * additional * warm
        )
        for body in (true.lv, true.hv)
    )
    pair = (resistances[0], resistances[1])
    if true.liquid is None:
        plant: LiquidUnit | DryUnit = DryUnit(true, pair, Cooling(), start_c)
    else:
        plant = LiquidUnit(true, true.liquid, pair, Cooling(), start_c)
    layers = rng.uniform(0.0, 1.0) if true.liquid is not None else 0.0
    aside = dict(zip(SIDES, rng.uniform(-0.3, 0.3, 2).tolist(), strict=True))
    return _Unit(plant, true, layers, aside, dict(zip(SIDES, settling_s.tolist(), strict=True)))


def _twin(rng: Generator, *, dry: bool) -> TrueThermalUnit:
    """The design that both units of a pair were made to."""
    load_w = 10 ** rng.uniform(3.0, 4.0)
    core_w = load_w * rng.uniform(0.12, 0.3)
    rise = (60.0, 105.0) if dry else (5.0, 30.0)
    constant_s = (900.0, 3600.0) if dry else (180.0, 720.0)
    share = rng.uniform(0.4, 0.6)
    windings = [
        TrueBody(
            load_w * part,
            rng.uniform(*rise),
            rng.uniform(*constant_s),
            # A third gives its heat off by convection, as the power 1.25 of its rise.
            0.8 if rng.random() < 1 / 3 else 1.0,
        )
        for part in (share, 1 - share)
    ]
    core = TrueBody(core_w, rng.uniform(8.0, 25.0) * (4 if dry else 1), rng.uniform(3000, 7200))
    if dry:
        return TrueThermalUnit(windings[0], windings[1], core)
    liquid = TrueLiquid(
        load_w + core_w,
        rng.uniform(30.0, 48.0),
        rng.uniform(1.2, 3.0) * 3600,
        rng.uniform(0.76, 0.88),
        rng.uniform(5.0, 20.0),
    )
    return TrueThermalUnit(windings[0], windings[1], core, liquid)


class _HeatRun:
    """One run of one pair; stand time 0 is a day before it."""

    def __init__(self, rng: Generator, dry: bool) -> None:
        self.rng, self.dry = rng, dry
        self.seed = int(rng.integers(2**31))
        self.instruments = _instruments(rng)
        twin = _twin(rng, dry=dry)
        room_c = rng.uniform(15.0, 27.0)
        total_kw = 2 * (twin.lv.loss_w + twin.hv.loss_w + twin.core.loss_w) / 1000
        self.room = Room(
            TrueRoom(
                day_k=rng.uniform(0.3, 3.0),
                warmest_h=rng.uniform(0.0, 24.0),
                drift_k_per_day=rng.uniform(-1.5, 1.5),
                warming_k_per_kw=rng.uniform(0.0, 3.0) / total_kw,
            ),
            room_c,
        )
        constants_s = 3.0 * 30.0 ** rng.uniform(0.0, 1.0, 4)
        start_c = room_c + rng.uniform(-3.0, 3.0)
        self.units = {
            "a": _unit(rng, twin, start_c, constants_s[:2]),
            "b": _unit(rng, twin, start_c, constants_s[2:]),
        }
        lag_s = self.units["a"].body.time_constant_s
        self.soak_minutes = int(rng.uniform(4.0, 6.0) * lag_s / MINUTE_S)
        self.minutes = DAY_BEFORE_MINUTES + self.soak_minutes
        self.wander_k = rng.uniform(0.0, 0.15) * wander(rng, (self.minutes, 1), 20)[:, 0]
        self.plate_lag_s = lag_s * rng.uniform(0.8, 1.25)
        self.current_pu, self.core_pu = rng.uniform(0.99, 1.01, 2)
        self.sensors: dict[str, Sensor] = {}
        self.sensor_lag_s = rng.uniform(30.0, 120.0)
        self.air_lag_s = rng.uniform(60.0, 900.0)

    def run(self) -> Run:
        """Run it."""
        true_air = self._stand_by()
        balance = self._balance()
        cold = {
            f"{name}_{side}": self._cold(name, side, balance)
            for name in self.units
            for side in SIDES
        }
        rows, true_rows = self._soak(true_air)
        shutdown_s = self.minutes * MINUTE_S
        windings = self._truth(true_rows, np.array(true_air))
        cooling, instant_s = self._shut_down(shutdown_s, cold)
        t_s = (np.arange(self.soak_minutes) + DAY_BEFORE_MINUTES + 0.5) * MINUTE_S
        readings = HeatReadings(
            NO_LOSS_TEST,
            History(t_s, {name: np.array(column) for name, column in rows.items()}),
            balance,
            cold,
            cooling,
            soak_from_s=DAY_BEFORE_MINUTES * MINUTE_S,
            steady_at_s=shutdown_s - MINUTE_S,
            shutdown_s=instant_s,
        )
        return Run(self._test(readings), windings)

    def _places(self) -> tuple[str, ...]:
        return ("winding_lv", "winding_hv", "core") if self.dry else ("top_liquid", "bottom_liquid")

    def _shown(self, channel: str, minute: int, true_c: float) -> float:
        sensor = self.sensors.get(channel)
        if sensor is None:
            lag_s = self.air_lag_s if channel.startswith("ambient") else self.sensor_lag_s
            limits = (self.instruments.sensor_noise_k, self.instruments.sensor_k)
            sensor = self.sensors[channel] = Sensor(channel, self.seed, lag_s, *limits)
        return sensor.shown(int((minute + 0.5) * MINUTE_S) * SECOND, true_c)

    def _sensed(self, minute: int, air_c: float, *, cold: bool) -> dict[str, float]:
        found = {
            f"ambient.{k}": self._shown(f"ambient.{k}", minute, air_c) for k in range(AIR_SENSORS)
        }
        for name, unit in self.units.items():
            for place in self._places():
                channel = f"{name}.{place}"
                found[channel] = self._shown(channel, minute, unit.true_c(place, cold=cold))
        return found

    def _minute(self, minute: int, true_air: list[float]) -> float:
        """Move everything on by a minute; return the air's temperature in it."""
        air_c = self.room.temperature_c + float(self.wander_k[minute])
        true_air.append(air_c)
        for unit in self.units.values():
            unit.plant.step(MINUTE_S, air_c)
        shed_w = sum(unit.plant.shed_w for unit in self.units.values())
        self.room.step((minute + 1) * MINUTE_S, MINUTE_S, shed_w)
        return air_c

    def _stand_by(self) -> list[float]:
        """The day before; the last half hour of it is read."""
        true_air: list[float] = []
        self._read_cold: list[dict[str, float]] = []
        for minute in range(DAY_BEFORE_MINUTES):
            air_c = self._minute(minute, true_air)
            if minute >= DAY_BEFORE_MINUTES - 120:
                self._read_cold.append(self._sensed(minute, air_c, cold=True))
        return true_air

    def _balance(self) -> dict[str, float]:
        """Means over the last five minutes, in which the cold resistances are read."""
        last = self._read_cold[-5:]
        return {name: float(np.mean([row[name] for row in last])) for name in last[0]}

    def _full_ohm(self, name: str, side: str) -> float:
        """The end of the range in which a winding of 1 ohm at 20 degC is read."""
        spread = {"a_lv": 1.5, "a_hv": 1.9, "b_lv": 2.4, "b_hv": 3.0}
        return spread[f"{name}_{side}"]

    def _cold(self, name: str, side: str, balance: Mapping[str, float]) -> ColdResistance:
        """A record long enough for that winding, as a schedule for it would have it."""
        unit = self.units[name]
        constant_s = unit.settling_s[side]
        t_s = np.arange(1.0, max(180.0, 20 * constant_s), 1.0)
        true = (COPPER_K + unit.winding_c(side, cold=True)) / (COPPER_K + 20.0)
        ohm = np.array([settling(true, t, constant_s) for t in t_s])
        shown = self.instruments.resistance(self.rng, ohm, self._full_ohm(name, side))
        known = [balance[f"{name}.{place}"] for place in self._places()]
        return cold_reading(t_s, shown, sum(known) / len(known))

    def _load(self, share: float) -> None:
        for unit in self.units.values():
            i2 = (self.current_pu * share) ** 2
            unit.plant.carry(i2, i2, unit.true.core.loss_w * self.core_pu if share else 0.0)

    def _soak(
        self, true_air: list[float]
    ) -> tuple[dict[str, list[float]], dict[str, list[float]]]:
        """Minute by minute; what was read, and what was true, by channel."""
        self._load(1.0)
        rows: dict[str, list[float]] = {}
        true: dict[str, list[float]] = {}
        meters = self.instruments
        for minute in range(DAY_BEFORE_MINUTES, self.minutes):
            air_c = self._minute(minute, true_air)
            read = self._sensed(minute, air_c, cold=False)
            loss_w = 0.0
            for name, unit in self.units.items():
                plant = unit.plant
                total_w = plant.lv_w + plant.hv_w + plant.core_w
                loss_w += total_w
                true.setdefault(f"{name}.loss", []).append(total_w)
                if isinstance(plant, LiquidUnit):
                    true.setdefault(f"{name}.liquid", []).append(plant.average_liquid_c)
            read["lv.power.1"] = loss_w * 0.2 * (1 + meters.power_error)
            read["hv.power.1"] = loss_w * 0.8 * (1 + meters.power_error)
            read["hv.current.1"] = HV_CURRENT_A * self.current_pu * (1 + meters.current_error)
            for channel, value in read.items():
                rows.setdefault(channel, []).append(value)
        return rows, true

    def _truth(self, true: Mapping[str, list[float]], air_c: Floats) -> dict[str, TrueWinding]:
        """Rises by the standards' definition with nothing read wrongly, and by true exponents.

        The cooling air is that of the room through the nameplate's lag, as the reduction defines
        it; liquid over it is the mean of the last hour, the winding over the liquid (dry: over the
        air) that at the shutdown.
        """
        lagged = air_c[0]
        steps = np.exp(-MINUTE_S / self.plate_lag_s)
        through = np.empty(len(air_c))
        for k, celsius in enumerate(air_c):
            lagged = through[k] = celsius + (lagged - celsius) * steps
        found = {}
        for name, unit in self.units.items():
            for side in SIDES:
                body: TrueBody = getattr(unit.true, side)
                winding_c = unit.winding_c(side, cold=False)
                to_rated = self.current_pu ** (-2 * body.exponent)
                if unit.true.liquid is None:
                    rise_k = (winding_c - through[-1]) * to_rated
                else:
                    liquid_c = np.array(true[f"{name}.liquid"][-60:])
                    loss_w = np.mean([true[f"{n}.loss"][-60:] for n in self.units])
                    ratio = self._rated_w() / float(loss_w)
                    over_air = float((liquid_c - through[-60:]).mean())
                    rise_k = over_air * ratio**unit.true.liquid.exponent
                    rise_k += (winding_c - unit.plant.average_liquid_c) * to_rated
                found[f"{name}_{side}"] = TrueWinding(
                    "dry" if self.dry else "liquid",
                    unit.settling_s[side],
                    body.exponent == 1.0,
                    float(rise_k),
                )
        return found

    def _rated_w(self) -> float:
        """Rated total loss, as the nameplate has it for both: at 75 degC, dry 120."""
        bodies = [b for u in self.units.values() for b in (u.true.lv, u.true.hv, u.true.core)]
        return sum(body.loss_w for body in bodies) / 2

    def _shut_down(
        self, shutdown_s: float, cold: Mapping[str, ColdResistance]
    ) -> tuple[dict[str, CoolingReadings], float]:
        """The current's ramp and half an hour of cooling, second by second."""
        rng = self.rng
        ramp_s, length_s = rng.uniform(5.0, 30.0), rng.uniform(1200.0, 1800.0)
        applied_s = {winding: float(rng.uniform(20.0, 90.0)) for winding in cold}
        pace_s = float(rng.integers(1, 6))
        seconds = int(length_s)
        true_c: dict[str, list[float]] = {winding: [] for winding in cold}
        air_c = self.room.temperature_c
        for second in range(seconds + 1):
            for winding in cold:
                true_c[winding].append(self.units[winding[0]].winding_c(winding[2:], cold=False))
            # Heat of the second as that of the mean square of a current that runs straight.
            ends = np.clip(1 - np.array([second, second + 1]) / ramp_s, 0.0, 1.0)
            self._load(float(((ends**2).sum() + ends.prod()) / 3) ** 0.5)
            for unit in self.units.values():
                unit.plant.step(1.0, air_c)
        instant_s = shutdown_s + self._instant(ramp_s)
        grid = np.arange(seconds + 1.0)
        cooling = {}
        for winding, series in true_c.items():
            name, side = winding.split("_")
            times = np.arange(applied_s[winding] + 1.0, seconds, pace_s)
            celsius = np.interp(times, grid, series)
            constant_s = self.units[name].settling_s[side]
            factor = [settling(1.0, t - applied_s[winding], constant_s) for t in times]
            ohm = (COPPER_K + celsius) / (COPPER_K + 20.0) * np.array(factor)
            shown = self.instruments.resistance(rng, ohm, self._full_ohm(name, side))
            since = instant_s - shutdown_s
            applied = (applied_s[winding] - since,)
            cooling[winding] = CoolingReadings(times - since, shown, applied)
        return cooling, instant_s

    def _instant(self, ramp_s: float) -> float:
        """The loss-equivalent instant since the ramp began, from a current read once a second."""
        meters = self.instruments
        t_s = np.arange(-30.0, 60.0) + self.rng.uniform(0.0, 1.0)
        # The meter averages: what it gives out now is of a moment ago.
        pu = np.clip(1 - (t_s - meters.late_s) / ramp_s, 0.0, 1.0)
        return loss_equivalent_instant(t_s, HV_CURRENT_A * pu * (1 + meters.current_error), 0.0)

    def _test(self, readings: HeatReadings) -> HeatTest:
        meters = self.instruments
        core_w = sum(u.true.core.loss_w for u in self.units.values()) / 2
        nameplate = Nameplate(
            power_va=100e3,
            lv_voltage_v=400.0,
            hv_voltage_v=100e3 / HV_CURRENT_A,
            frequency_hz=50.0,
            impedance_percent=4.0,
            no_load_current_percent=2.0,
            no_load_loss_w=core_w,
            load_loss_w=self._rated_w() - core_w,
        )
        plate = ThermalPlate(
            construction="dry" if self.dry else "liquid",
            cooling="AN" if self.dry else "ONAN",
            hot_spot_gradient_k=20.0,
            insulation="H" if self.dry else None,
            time_constant_s=self.plate_lag_s,
        )
        return HeatTest(
            readings,
            nameplate,
            plate,
            "IEC 60076-11" if self.dry else "IEC 60076-2",
            0.0,
            Stated(core_w, 0.005 * core_w, 2.0),
            Stated(self._rated_w() - core_w, 0.005 * self._rated_w(), 2.0),
            RiseAllowance(
                sensor_k=meters.sensor_k,
                meter_percent=meters.meter_percent,
                linearity_percent=meters.linearity_percent,
            ),
            # The circuit is no part of this: both units carry the loop's current.
            no_load_current_percent=0.0,
        )

