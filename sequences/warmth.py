"""How warm the units are and whether they are steady, from the minutes of a heat record."""

from math import isfinite, nan
from typing import Any, NamedTuple

from calculation.steadiness import Steadiness
from sequences.expected import Expected
from sequences.heat_record import HeatRecord
from sequences.scan import UNITS, S, Scan

CORE = "core"
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
        lag_s = expected.thermal.time_constant_s
        self._units = {
            unit: Steadiness(expected.soak.standard, lag_s, len(channels))
            for unit, channels in self._watched.items()
        }

    def look(self) -> None:
        """Take the minutes that have ended since the last look."""
        for t_s, means in self._record.minutes.newly_over():
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

    def facts(self) -> dict[str, Any]:
        """Return what is to be shown: rate in K/h, for how long it has held, steady since."""
        return {
            unit: {
                "rate_k_per_h": u.rate_k_per_h,
                "held_s": u.held_s,
                "steady_at_s": u.steady_at_s,
                "rise_k": u.last_hour_mean_k[0] if u.last_hour_mean_k else None,
            }
            for unit, u in self._units.items()
        }

    def words(self) -> str:
        """Return the rates in words."""
        rates = (
            f"unit {unit.upper()} {u.rate_k_per_h:+.2f} K/h"
            for unit, u in self._units.items()
            if u.rate_k_per_h is not None
        )
        return ", ".join(rates) or "no rate known yet"

    def is_warm(self, share: float) -> bool:
        """Return whether a shortened warm-up has gone far enough: see the forecast."""
        raise NotImplementedError(share)

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
