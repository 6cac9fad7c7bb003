"""Heat runs of simulated pairs read by their instruments, with the true rises beside them.

Nothing of `calculation` has a part in what is read, but for the forms that it is handed over in.
Before a run the pair stands unloaded for a day: liquid and core lag behind the room. Both units
carry the loop's current: the circuit is no part of this.
"""

from collections.abc import Mapping
from dataclasses import dataclass

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
from drivers.simulated.thermal.room import Room
from drivers.simulated.thermal.sensor import Sensor
from drivers.simulated.thermal.truth import TrueBody
from drivers.simulated.winding import settling
from tests.heat.runs import wander
from tests.heat.winding_units import (
    COPPER_K,
    SIDES,
    Instruments,
    Unit,
    design,
    instruments,
    made,
    rated_c,
    room,
)

MINUTE_S = 60.0
DAY_BEFORE = 1440
COLD_MINUTES = 5
HOUR = 60
HV_CURRENT_A = 30.0
AIR_SENSORS = 3
# End of the meter's range for a winding of 1 ohm at 20 degC.
FULL_OHM = {"a_lv": 1.5, "a_hv": 1.9, "b_lv": 2.4, "b_hv": 3.0}
NO_LOSS_TEST = LossReadings(
    NoLoadMeans(400.0, 400.0, 1.0, 1.0), LoadMeans(1.0, 1.0, 1.0, 1.0, 1.0), None, 1.0, 2.0, 20.0
)


@dataclass(frozen=True)
class TrueWinding:
    """One winding as it was drawn: true temperatures, degC, and true rise at rated, K."""

    construction: str
    settling_s: float
    exponential: bool
    cold_c: float
    hot_c: float
    rise_k: float


@dataclass(frozen=True)
class Run:
    """What a heat run read, as it is reduced, and the truth: windings, top-liquid rises by unit."""

    test: HeatTest
    windings: Mapping[str, TrueWinding]
    top_liquid_k: Mapping[str, float]


def draw(rng: Generator, *, dry: bool) -> Run:
    """Draw a pair with its room and instruments, and run it from the day before to the end."""
    return _HeatRun(rng, dry=dry).run()


class _HeatRun:
    """One run of one pair; stand time 0 is a day before it."""

    def __init__(self, rng: Generator, *, dry: bool) -> None:
        self.rng, self.dry = rng, dry
        self.seed = int(rng.integers(2**31))
        self.instruments: Instruments = instruments(rng)
        twin = design(rng, dry=dry)
        true_room, room_c = room(rng, twin)
        self.room = Room(true_room, room_c)
        start_c = room_c + rng.uniform(-3.0, 3.0)
        self.units: dict[str, Unit] = {name: made(rng, twin, start_c) for name in "ab"}
        lag_s = (twin.liquid or twin.hv).time_constant_s
        self.plate_lag_s = lag_s * rng.uniform(0.8, 1.25)
        self.minutes = DAY_BEFORE + int(rng.uniform(4.0, 6.0) * lag_s / MINUTE_S)
        self.wander_k = rng.uniform(0.0, 0.15) * wander(rng, (self.minutes, 1), 20)[:, 0]
        self.current_pu, self.core_pu = rng.uniform(0.99, 1.01), rng.uniform(0.99, 1.01)
        self.sensors: dict[str, Sensor] = {}
        self.air_c: list[float] = []
        self.read: dict[str, list[float]] = {}
        self.true: dict[str, list[float]] = {}

    def run(self) -> Run:
        """Run it."""
        for minute in range(DAY_BEFORE):
            self._minute(minute)
            if minute >= DAY_BEFORE - HOUR:
                self._sense(minute, cold=True)
        balance = {name: float(np.mean(c[-COLD_MINUTES:])) for name, c in self.read.items()}
        windings = [f"{name}_{side}" for name in self.units for side in SIDES]
        cold_c = {w: self.units[w[0]].winding_c(w[2:], cold=True) for w in windings}
        cold = {w: self._cold(w, cold_c[w], balance) for w in windings}
        self.read = {}
        self._carry(1.0)
        for minute in range(DAY_BEFORE, self.minutes):
            self._minute(minute)
            self._sense(minute, cold=False)
            self._meter()
        over_air = self._lagged()
        true = {w: self._true(w, cold_c[w], over_air) for w in windings}
        top_k = {} if self.dry else {name: self._top_liquid_k(name, over_air) for name in "ab"}
        cooling, instant_s = self._shut_down(windings)
        t_s = np.array([(k + 0.5) * MINUTE_S for k in range(DAY_BEFORE, self.minutes)])
        end_s = self.minutes * MINUTE_S
        readings = HeatReadings(
            NO_LOSS_TEST,
            History(t_s, {name: np.array(column) for name, column in self.read.items()}),
            balance,
            cold,
            cooling,
            soak_from_s=DAY_BEFORE * MINUTE_S,
            steady_at_s=end_s - MINUTE_S,
            shutdown_s=end_s + instant_s,
        )
        return Run(self._test(readings), true, top_k)

    def _carry(self, share: float) -> None:
        for unit in self.units.values():
            core_w = unit.true.core.loss_w * self.core_pu if share else 0.0
            i2 = (self.current_pu * share) ** 2
            unit.plant.carry(i2, i2, core_w)

    def _minute(self, minute: int) -> None:
        """Move everything on by a minute."""
        self.air_c.append(self.room.temperature_c + float(self.wander_k[minute]))
        for unit in self.units.values():
            unit.plant.step(MINUTE_S, self.air_c[-1])
        shed_w = sum(unit.plant.shed_w for unit in self.units.values())
        self.room.step((minute + 1) * MINUTE_S, MINUTE_S, shed_w)

    def _sense(self, minute: int, *, cold: bool) -> None:
        for k in range(AIR_SENSORS):
            self._show(f"ambient.{k}", minute, self.air_c[-1])
        for name, unit in self.units.items():
            for place in unit.places:
                self._show(f"{name}.{place}", minute, unit.true_c(place, cold=cold))

    def _show(self, channel: str, minute: int, true_c: float) -> None:
        sensor, meters = self.sensors.get(channel), self.instruments
        if sensor is None:
            lag_s = meters.air_lag_s if channel.startswith("ambient") else meters.sensor_lag_s
            sensor = Sensor(channel, self.seed, lag_s, meters.sensor_noise_k, meters.sensor_k)
            self.sensors[channel] = sensor
        shown = sensor.shown(int((minute + 0.5) * MINUTE_S) * SECOND, true_c)
        self.read.setdefault(channel, []).append(shown)

    def _meter(self) -> None:
        """Read the supplies, and note what is true."""
        meters = self.instruments
        for name, unit in self.units.items():
            self.true.setdefault(f"{name}.loss", []).append(unit.loss_w())
            if not self.dry:
                for place in ("average_liquid", "top_liquid"):
                    true_c = unit.true_c(place, cold=False)
                    self.true.setdefault(f"{name}.{place}", []).append(true_c)
        both_w = sum(unit.loss_w() for unit in self.units.values()) * (1 + meters.power_error)
        current_a = HV_CURRENT_A * self.current_pu * (1 + meters.current_error)
        shown = {
            "lv.power.1": 0.2 * both_w,
            "hv.power.1": 0.8 * both_w,
            "hv.current.1": current_a,
        }
        for channel, value in shown.items():
            self.read.setdefault(channel, []).append(value)

    def _cold(self, winding: str, true_c: float, balance: Mapping[str, float]) -> ColdResistance:
        """A record long enough for that winding, as a schedule for it would have it."""
        unit = self.units[winding[0]]
        constant_s = unit.settling_s[winding[2:]]
        t_s = np.arange(1.0, max(180.0, 20 * constant_s), 1.0)
        settles = np.array([settling(1.0, t, constant_s) for t in t_s])
        ohm = (COPPER_K + true_c) / (COPPER_K + 20.0) * settles
        shown = self.instruments.resistance(self.rng, ohm, FULL_OHM[winding])
        known = [balance[f"{winding[0]}.{place}"] for place in unit.places]
        return cold_reading(t_s, shown, sum(known) / len(known))

    def _lagged(self) -> Floats:
        """The true air through the nameplate's lag, as the reduction defines it: its last hour."""
        kept = np.exp(-MINUTE_S / self.plate_lag_s)
        lagged = [self.air_c[DAY_BEFORE]]
        for celsius in self.air_c[DAY_BEFORE + 1 :]:
            lagged.append(celsius + (lagged[-1] - celsius) * kept)
        return np.array(lagged[-HOUR:])

    def _liquid_k(self, channel: str, air_c: Floats, exponent: float) -> float:
        """True rise of the last hour at rated loss."""
        loss_w = np.mean([self.true[f"{name}.loss"][-HOUR:] for name in self.units])
        over_air = np.array(self.true[channel][-HOUR:]) - air_c
        return float(over_air.mean() * (self._rated_w() / loss_w) ** exponent)

    def _top_liquid_k(self, name: str, air_c: Floats) -> float:
        liquid = self.units[name].true.liquid
        assert liquid is not None
        return self._liquid_k(f"{name}.top_liquid", air_c, liquid.exponent)

    def _true(self, winding: str, cold_c: float, air_c: Floats) -> TrueWinding:
        """A winding's rise by the standards' definition, nothing read wrongly, true exponents.

        Average liquid over the air of the last hour and winding over liquid as the current goes;
        dry: the winding over the air then.
        """
        name, side = winding.split("_")
        unit = self.units[name]
        body: TrueBody = getattr(unit.true, side)
        hot_c = unit.winding_c(side, cold=False)
        to_rated = float(self.current_pu ** (-2 * body.exponent))
        if unit.true.liquid is None:
            rise_k = (hot_c - float(air_c[-1])) * to_rated
        else:
            gradient_k = hot_c - unit.true_c("average_liquid", cold=False)
            channel = f"{name}.average_liquid"
            liquid_k = self._liquid_k(channel, air_c, unit.true.liquid.exponent)
            rise_k = liquid_k + gradient_k * to_rated
        return TrueWinding(
            "dry" if self.dry else "liquid",
            unit.settling_s[side],
            body.exponent == 1.0,
            cold_c,
            hot_c,
            rise_k,
        )

    def _rated_w(self) -> float:
        bodies = [b for u in self.units.values() for b in (u.true.lv, u.true.hv, u.true.core)]
        return sum(body.loss_w for body in bodies) / 2

    def _shut_down(self, windings: list[str]) -> tuple[dict[str, CoolingReadings], float]:
        """The current's ramp and 20 to 30 min of cooling, second by second; when it counts from."""
        rng = self.rng
        ramp_s, seconds = rng.uniform(5.0, 30.0), int(rng.uniform(1200.0, 1800.0))
        pace_s = float(rng.integers(1, 6))
        true_c: dict[str, list[float]] = {winding: [] for winding in windings}
        for second in range(seconds + 1):
            for winding, series in true_c.items():
                series.append(self.units[winding[0]].winding_c(winding[2:], cold=False))
            if second <= ramp_s + 1:
                # Heat of the second as that of the mean square of a current that runs straight.
                ends = np.clip(1 - np.array([second, second + 1]) / ramp_s, 0.0, 1.0)
                self._carry(float(((ends**2).sum() + ends.prod()) / 3) ** 0.5)
            for unit in self.units.values():
                unit.plant.step(1.0, self.air_c[-1])
        instant_s = self._instant(ramp_s)
        cooling = {}
        for winding, series in true_c.items():
            applied_s = rng.uniform(20.0, 90.0)
            times = np.arange(applied_s + 1.0, seconds, pace_s)
            constant_s = self.units[winding[0]].settling_s[winding[2:]]
            settles = np.array([settling(1.0, t - applied_s, constant_s) for t in times])
            celsius = np.interp(times, np.arange(seconds + 1.0), series)
            ohm = (COPPER_K + celsius) / (COPPER_K + 20.0) * settles
            shown = self.instruments.resistance(rng, ohm, FULL_OHM[winding])
            cooling[winding] = CoolingReadings(times - instant_s, shown, (applied_s - instant_s,))
        return cooling, instant_s

    def _instant(self, ramp_s: float) -> float:
        """The loss-equivalent instant since the ramp began, from a current read once a second."""
        meters = self.instruments
        t_s = np.arange(-30.0, 60.0) + self.rng.uniform(0.0, 1.0)
        # The meter averages: what it gives out now is of a moment ago.
        pu = np.clip(1 - (t_s - meters.late_s) / ramp_s, 0.0, 1.0)
        return loss_equivalent_instant(t_s, HV_CURRENT_A * pu * (1 + meters.current_error), 0.0)

    def _test(self, readings: HeatReadings) -> HeatTest:
        meters, total_w = self.instruments, self._rated_w()
        core_w = sum(unit.true.core.loss_w for unit in self.units.values()) / 2
        return HeatTest(
            readings,
            Nameplate(
                power_va=100e3,
                lv_voltage_v=400.0,
                hv_voltage_v=100e3 / HV_CURRENT_A,
                frequency_hz=50.0,
                impedance_percent=4.0,
                no_load_current_percent=2.0,
                no_load_loss_w=core_w,
                load_loss_w=total_w - core_w,
                reference_temperature_c=rated_c(self.units["a"].true),
            ),
            ThermalPlate(
                construction="dry" if self.dry else "liquid",
                cooling="AN" if self.dry else "ONAN",
                hot_spot_gradient_k=20.0,
                insulation="H" if self.dry else None,
                time_constant_s=self.plate_lag_s,
            ),
            "IEC 60076-11" if self.dry else "IEC 60076-2",
            lv_branch_ohm=0.0,
            no_load_loss_w=Stated(core_w, 0.005 * core_w, 2.0),
            load_loss_w=Stated(total_w - core_w, 0.005 * total_w, 2.0),
            allowance=RiseAllowance(
                sensor_k=meters.sensor_k,
                zeroed_k=None,
                air_sensors=AIR_SENSORS,
                meter_percent=meters.meter_percent,
                linearity_percent=meters.linearity_percent,
            ),
            no_load_current_percent=0.0,
        )
