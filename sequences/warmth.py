"""How warm the units are and whether they are steady, from the minutes of a heat record."""

from math import inf, isfinite, nan
from typing import Any, NamedTuple

from calculation.errors import ImpossibleReading
from calculation.forecast import Forecast, forecast
from calculation.heat_rows import HeatRows
from calculation.one_body import Rows
from calculation.steadiness import TERMS, Steadiness
from sequences.expected import Expected
from sequences.heat_record import SOAK, HeatRecord
from sequences.scan import HV_POWER, LV_POWER, UNITS, S, Scan

CORE = "core"
WARM_C, AIR_C = 80.0, 20.0  # where limits of error of temperature sensors are taken
LOOK_EVERY_MINUTES = 10
# Sensors that show the same to the last digit, every one of them and the room's, are not read anew:
# an hour of it is a unit that looks steady whatever it does.
FROZEN_MINUTES = 60
LOADING_EXPONENT = 1.6  # of the hot-spot gradient on current: the larger one errs to the hot side


class Hottest(NamedTuple):
    """The warmer unit: its liquid (dry type: winding) and its hot-spot, degC."""

    unit: float
    hot_spot: float


class Warmth:
    """Both units' steadiness by the schedule's standard, fed with minutes as they end."""

    def __init__(self, expected: Expected, record: HeatRecord) -> None:
        if expected.thermal is None:
            raise ValueError("this pair has no thermal plate")
        self._expected = expected
        self._plate = expected.thermal
        self._record = record
        self._watched = {unit: watched(expected, unit) for unit in UNITS}
        self._all = (*(c for unit in UNITS for c in self._watched[unit]), *expected.ambients)
        # What is shown and forecast: the top liquid, of a dry-type unit its HV winding.
        self._followed = 1 if expected.thermal.construction == "dry" else 0
        self._minutes = self._looked = self._unchanged = 0
        self._shown: tuple[float, ...] = ()
        lag_s = expected.thermal.time_constant_s
        self._units = {
            unit: Steadiness(expected.soak.standard, lag_s, len(channels))
            for unit, channels in self._watched.items()
        }

    def look(self) -> None:
        """Take the minutes that have ended since the last look."""
        for t_s, means in self._record.minutes.newly_over():
            self._minutes += 1
            shown = tuple(means.get(c, nan) for c in self._all)
            self._unchanged = self._unchanged + 1 if shown == self._shown else 0
            self._shown = shown
            ambient = mean_of([means.get(c, nan) for c in self._expected.ambients])
            for unit, channels in self._watched.items():
                self._units[unit].add(t_s, [means.get(c, nan) for c in channels], ambient)

    def restart(self, t: int) -> None:
        """Begin anew at stand time `t`, ns: the load changed, or nobody looked.

        What was before is taken first, for the ambient's lag: taken later it would begin a window
        of its own.
        """
        self.look()
        for steadiness in self._units.values():
            steadiness.restart(t / S)

    @property
    def steady_at_s(self) -> float | None:
        """Return when the later of both units became steady, s; None: one is not."""
        instants = [u.steady_at_s for u in self._units.values()]
        known = [t for t in instants if t is not None]
        return max(known) if len(known) == len(instants) else None

    @property
    def is_frozen(self) -> bool:
        """Whether no temperature at all has moved for an hour, by as little as noise."""
        return self._unchanged >= FROZEN_MINUTES

    def facts(self) -> dict[str, Any]:
        """Return what is to be shown: rate in K/h, for how long it has held, steady since."""
        return {
            unit: {
                "rate_k_per_h": u.rate_k_per_h,
                "held_s": u.held_s,
                "hold_s": TERMS[self._expected.soak.standard].held_s,
                "steady_at_s": u.steady_at_s,
                "rise_k": u.last_hour_mean_k[self._followed] if u.last_hour_mean_k else None,
            }
            for unit, u in self._units.items()
        }

    def outlook(self) -> dict[str, Any]:
        """Return where it will end, to be shown: rise with its uncertainty, when steady."""
        return {
            unit: {
                "ultimate_k": one.ultimate_k.value,
                "expanded": one.ultimate_k.expanded,
                "steady_at_s": one.steady_at_s,
            }
            for unit, one in self.forecasts().items()
        }

    def words(self) -> str:
        """Return the rates in words."""
        rates = (
            f"unit {unit.upper()} {u.rate_k_per_h:+.2f} K/h"
            for unit, u in self._units.items()
            if u.rate_k_per_h is not None
        )
        return ", ".join(rates) or "no rate known yet"

    def forecasts(self, at_loss_w: float | None = None) -> dict[str, Forecast]:
        """Return what the soak so far says of the end of each unit of which it can say something.

        `at_loss_w` as in `calculation.forecast`.
        """
        history = self._record.history()
        begun = [t_s for t_s, _ in self._record.marked(SOAK)]
        rows = HeatRows(history, self._plate.time_constant_s)
        soak = rows.between(begun[-1], inf)
        loss = (rows.column(LV_POWER) + rows.column(HV_POWER)) / 2
        columns = rows.t_s[soak], rows.ambient_c[soak], loss[soak]
        found = {}
        for unit, channels in self._watched.items():
            t_s, ambient_c, loss_w = columns
            watched_c = rows.column(channels[self._followed])[soak]
            try:
                one = forecast(
                    Rows(t_s, watched_c, ambient_c, loss_w),
                    rule=self._expected.soak.standard,
                    limits_k=self._sensor_limits_k(channels[0]),
                    lag_s=self._plate.time_constant_s,
                    at_loss_w=at_loss_w,
                    held_s=self._units[unit].held_s,
                )
            except ImpossibleReading:
                # A forecast is advice: what it can't read stops no run.
                continue
            if one is not None:
                found[unit] = one
        return found

    def _sensor_limits_k(self, channel: str) -> tuple[float, ...]:
        """Limits of a rise's fixed errors: the sensor's, and each air sensor's part of the mean."""
        expected, airs = self._expected, self._expected.ambients
        of_air = (expected.error_of(air, AIR_C) / len(airs) for air in airs)
        return (expected.error_of(channel, WARM_C), *of_air)

    def is_warm(self, share: float) -> bool:
        """Return whether both units have risen to a share of what rated current surely gives.

        Looked at every ten minutes: a forecast costs as much as a dozen scans.
        """
        minutes = self._minutes // LOOK_EVERY_MINUTES
        if minutes == self._looked:
            return False
        self._looked = minutes
        plate = self._expected.nameplate
        found = self.forecasts(plate.no_load_loss_w + plate.load_loss_w)
        return len(found) == len(UNITS) and all(
            self._present_k(unit, one) >= share * (one.ultimate_k.value - one.ultimate_k.expanded)
            for unit, one in found.items()
        )

    def _present_k(self, unit: str, one: Forecast) -> float:
        """The rise now: the last hour's mean is that of half an hour ago."""
        rate = self._units[unit].rate_k_per_h
        return one.last_hour_k.value + 0.5 * (0.0 if rate is None else rate)

    def hottest_c(self, scan: Scan, current: float) -> Hottest | None:
        """Return the warmer unit at a loop current (per unit); None: a sensor has no value."""
        values = [scan.value(c) for c in self._expected.watched_warmth]
        if any(v is None for v in values):
            return None
        unit = max(v for v in values if v is not None)
        return Hottest(unit, unit + self._plate.hot_spot_gradient_k * current**LOADING_EXPONENT)


def watched(expected: Expected, unit: str) -> tuple[str, ...]:
    """Return the channels by which a unit is judged steady: top liquid, or windings and core."""
    core = f"{unit}.{CORE}"
    return (*expected.warmth[unit], *((core,) if core in expected.channels else ()))


def mean_of(values: list[float]) -> float:
    """Return the mean of those that are finite numbers, NaN where none is."""
    known = [v for v in values if isfinite(v)]
    return sum(known) / len(known) if known else nan
