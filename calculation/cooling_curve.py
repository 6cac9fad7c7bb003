"""Winding temperature at the instant of shutdown from resistances read while it cools.

The winding falls towards the liquid round it, and the liquid falls slowly itself (IEC 60076-2,
cooling curve; clause from memory):

    winding(t) = a + b t + c t² + B e^(-t/T)      t in minutes, degrees Celsius

The slow part is a parabola whose c is held near zero, since a bare one would take the place of the
decay. Fitted by least squares, every T of a range tried with the best of all else (variable
projection; Golub & Pereyra 1973, from memory), then all five parameters by Gauss-Newton.

What a winding gives off to convecting liquid grows faster than its gradient, with the power 1.25
(IEEE C57.91-2011 Annex G, transcribed): then (1 + t/4T)^-4 stands for the exponential. No residual
tells the two apart, so the same fit is made with that decay as well, and the true temperature may
lie anywhere between both.

What of the settling is still in the readings that count is taken out by those that don't.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calculation.correction import resistance_at
from calculation.errors import ImpossibleReading, refuse_unless_finite, refuse_unless_positive
from calculation.heat_readings import ColdResistance, CoolingReadings
from calculation.resistance import winding_temperature
from calculation.settling import settled_after_s
from calculation.unsettled import unsettled_k

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

MINUTE_S = 60.0
# Standard deviation of c as known beforehand, K/min².
CURVATURE = 0.004
# What the decay's unknown law leaves, as a standard uncertainty: at most this share of the step
# from the first settled reading back to the shutdown.
MODEL_SHARE = 0.04
# Less where that reading is early: of two decays alike in value and slope at t_1 the one with the
# power 1.25 was higher at 0 by (1.25 - 1)/2 t_1/T of the step (D, first term of a series). Not as
# the limit of a rectangle: a winding in convecting liquid lies at that very end.
EARLY_SHARE = 0.125
# What the settling still makes of the temperature at shutdown is taken out, and known to a half.
SETTLING_SHARE = 0.5
# Five parameters, one of them nearly known, and something left to tell the scatter from.
LEAST_READINGS = 8
LEAST_SPAN_S = 300.0
LATEST_S = 86400.0
# Over the cold resistance: of a settled reading (copper beyond 500 degC), and of any.
HOTTEST, FARTHEST = 3.0, 1000.0
SHORTEST_MIN = 0.5
# A decay three constants old at the first settled reading would be extrapolated twentyfold.
MOST_DECAYED = 3.0
# Of 25 min: 6 s, within which nothing that can be extrapolated bends.
BINS = 250
STEPS = 24
ROUNDS = 2
MOST_STEPS = 8
# Of T, as a share: far below what any reading tells.
CLOSE = 1e-7
# Below it differences are rounding: 1 nK.
LEAST_SCATTER_K = 1e-9


@dataclass(frozen=True, slots=True)
class CoolingCurve:
    """What a cooling curve comes to; n readings.

    `resistance_0_ohm` and `winding_0_c` hold at shutdown (time 0), `standard_k` is the standard
    uncertainty of the latter by the extrapolation alone: that of the fit, what another decay would
    make of it, up to 4 % of the step back, and what of the settling was taken out. All but the
    fit's is `model_k`, which has bounds where the fit's has none. `weak`: the
    first settled reading came later than one time constant, and no verdict near a limit rests on
    the curve. `settled` (n) marks the readings that count, `residuals_k` (n) is reading less curve,
    for those left out as well. `slow` are a (degC), b (K/min), c (K/min²), `decay_k` is B,
    `time_constant_s` is T.
    """

    resistance_0_ohm: float
    winding_0_c: float
    standard_k: float
    time_constant_s: float
    first_settled_s: float
    weak: bool
    settled: Mask
    residuals_k: Floats
    slow: tuple[float, float, float]
    decay_k: float
    model_k: float

    def temperature_c(self, time_s: Floats) -> Floats:
        """The fitted curve at times since shutdown, degC (same shape)."""
        return _temperature(self.slow, self.decay_k, self.time_constant_s / MINUTE_S, time_s)

    @property
    def cooling_k_per_s(self) -> float:
        """How fast the winding cools at shutdown, K/s: what a wrong instant costs."""
        minute = self.decay_k / (self.time_constant_s / MINUTE_S) - self.slow[1]
        return minute / MINUTE_S

    @property
    def scatter_k(self) -> float:
        """Root mean square of the residuals of the settled readings, K."""
        return float((self.residuals_k[self.settled] ** 2).mean() ** 0.5)


# Of u = t/T: a decay, and its derivative by -u.
Decay = Callable[[Floats], tuple[Floats, Floats]]


def _exponential(u: Floats) -> tuple[Floats, Floats]:
    value = np.exp(-u)
    return value, value


def _convective(u: Floats) -> tuple[Floats, Floats]:
    """Solution of g' = -g^1.25 from 1."""
    inverse = 1 / (1 + u / 4)
    fourth = (inverse * inverse) ** 2
    return fourth, fourth * inverse


class _Fit(NamedTuple):
    slow: tuple[float, float, float]
    decay_k: float
    constant_min: float
    standard_k: float


def cooling_curve(
    readings: CoolingReadings, cold: ColdResistance, constant_k: float
) -> CoolingCurve:
    """Extrapolate one winding's resistances to the shutdown; `constant_k` is T_k of its metal.

    A reading counts from ten settling constants after the last application of the d.c. before it.

    Raises:
        ImpossibleReading: a reading that can't be (named), fewer than eight settled ones, a winding
            that settles too slowly, that doesn't cool, or that is colder than before the run.
    """
    refuse_unless_positive({"cold.resistance_ohm": cold.resistance_ohm})
    refuse_unless_finite({"cold.temperature_c": cold.temperature_c})
    _refuse(readings)
    settled = _settled(readings, settled_after_s(cold.settling_s))
    _refuse_beyond(readings.resistance_ohm, settled, cold.resistance_ohm)
    ones = np.ones_like(readings.resistance_ohm)
    temperatures = winding_temperature(
        readings.resistance_ohm, cold.resistance_ohm * ones, cold.temperature_c * ones, constant_k
    )
    times = readings.time_s[settled]
    t = _binned(times, times) / MINUTE_S
    every = _all_constants(t)
    first = _fitted(t, _binned(times, temperatures[settled]), _exponential, every)
    since_s = readings.time_s - _applied_before(readings)
    over = temperatures - _curve(first, readings.time_s)
    unsettled = unsettled_k(since_s, over, cold.settling_s)
    cleared = _binned(times, (temperatures - unsettled)[settled])
    fit = _fitted(t, cleared, _exponential, _near(first.constant_min, every))
    other = _fitted(t, cleared, _convective, _near(fit.constant_min, every))
    winding_0_c = fit.slow[0] + fit.decay_k
    settling = SETTLING_SHARE * (first.slow[0] + first.decay_k - winding_0_c) / 3**0.5
    if winding_0_c <= cold.temperature_c:
        raise ImpossibleReading(
            {"winding_0_c": winding_0_c, "cold.temperature_c": cold.temperature_c},
            "the winding is no warmer at shutdown than before the run",
        )
    curve = _curve(fit, readings.time_s)
    first_s = float(times[0])
    step = winding_0_c - float(curve[settled][0])
    # Uniform from this curve to the other one, whose slow part may have taken some of it in: what
    # it took in is seen by neither fit.
    shape = (other.slow[0] + other.decay_k - winding_0_c) / 3**0.5
    hidden = min(EARLY_SHARE * first_s / MINUTE_S / fit.constant_min, MODEL_SHARE) * step
    model_k = float(np.linalg.norm((shape, hidden, settling)))
    return CoolingCurve(
        resistance_0_ohm=resistance_at(
            cold.resistance_ohm, cold.temperature_c, winding_0_c, constant_k
        ),
        winding_0_c=winding_0_c,
        standard_k=float(np.hypot(fit.standard_k, model_k)),
        time_constant_s=fit.constant_min * MINUTE_S,
        first_settled_s=first_s,
        weak=first_s > fit.constant_min * MINUTE_S,
        settled=settled,
        residuals_k=temperatures - curve,
        slow=fit.slow,
        decay_k=fit.decay_k,
        model_k=model_k,
    )


def _refuse(readings: CoolingReadings) -> None:
    time_s, ohm = readings.time_s, readings.resistance_ohm
    if len(time_s) != len(ohm) or len(time_s) < LEAST_READINGS:
        counts = {"times": len(time_s), "resistances": len(ohm)}
        raise ImpossibleReading(counts, f"at least {LEAST_READINGS} readings, each with its time")
    refuse_unless_finite({"time_s": time_s})
    refuse_unless_positive({"resistance_ohm": ohm})
    if time_s[0] < 0 or not (np.diff(time_s) > 0).all():
        raise ImpossibleReading({"time_s": time_s}, "must rise, from the shutdown on")
    if time_s[-1] > LATEST_S:
        raise ImpossibleReading({"time_s": float(time_s[-1])}, f"at most {LATEST_S:g} s")
    applied = np.array(readings.applied_s)
    if not applied.size or not np.isfinite(applied).all() or not (np.diff(applied) > 0).all():
        shown = {"applied_s": applied if applied.size else None}
        raise ImpossibleReading(shown, "instants that rise, one at the least")
    if time_s[0] < applied[0]:
        first = {"time_s": float(time_s[0]), "applied_s": float(applied[0])}
        raise ImpossibleReading(first, "a resistance read before the d.c. was applied")


def _refuse_beyond(ohm: Floats, settled: Mask, cold_ohm: float) -> None:
    for kept, bound in ((ohm[settled], HOTTEST), (ohm, FARTHEST)):
        if (kept > bound * cold_ohm).any():
            facts = {"resistance_ohm": float(kept.max()), "cold.resistance_ohm": cold_ohm}
            raise ImpossibleReading(facts, f"above {bound:g} times the cold one: an m or k lost?")


def _settled(readings: CoolingReadings, after_s: float) -> Mask:
    """Which readings count: those long enough after the last application of the d.c."""
    settled: Mask = readings.time_s - _applied_before(readings) >= after_s
    if settled.sum() < LEAST_READINGS:
        raise ImpossibleReading(
            {"settled readings": int(settled.sum()), "settled_after_s": after_s},
            f"at least {LEAST_READINGS} settled readings",
        )
    span_s = float(np.ptp(readings.time_s[settled]))
    if span_s < LEAST_SPAN_S:
        facts = {"settled readings span, s": span_s}
        raise ImpossibleReading(facts, f"at least {LEAST_SPAN_S:g} s of cooling")
    return settled


def _applied_before(readings: CoolingReadings) -> Floats:
    """When the d.c. was applied that each reading was taken with, s since shutdown."""
    applied = np.array(readings.applied_s, dtype=np.float64)
    last: Floats = applied[np.searchsorted(applied, readings.time_s, side="right") - 1]
    return last


def _curve(fit: _Fit, time_s: Floats) -> Floats:
    return _temperature(fit.slow, fit.decay_k, fit.constant_min, time_s)


def _temperature(
    slow: tuple[float, float, float], decay_k: float, constant_min: float, time_s: Floats
) -> Floats:
    t = time_s / MINUTE_S
    return slow[0] + t * (slow[1] + t * slow[2]) + decay_k * np.exp(-t / constant_min)


def _all_constants(t: Floats) -> Floats:
    """Every T that readings at these times can tell of, minutes."""
    shortest = max(SHORTEST_MIN, float(t[0]) / MOST_DECAYED)
    return np.geomspace(shortest, max(float(t[-1] - t[0]), 2 * shortest), STEPS)


def _near(constant_min: float, every: Floats) -> Floats:
    """Those up to half and twice a T that was found."""
    low, high = max(every[0], constant_min / 2), min(every[-1], 2 * constant_min)
    return np.geomspace(low, high, STEPS // 3)


def _binned(time_s: Floats, values: Floats) -> Floats:
    """Means over short equal times where there are more readings than a fit has use for."""
    if len(time_s) <= 2 * BINS:
        return values
    edges = np.linspace(time_s[0], time_s[-1], BINS + 1)[1:-1]
    which = np.searchsorted(edges, time_s, side="right")
    count = np.bincount(which, minlength=BINS)
    total = np.bincount(which, weights=values, minlength=BINS)
    return total[count > 0] / count[count > 0]


def _fitted(t: Floats, temperature_c: Floats, decay: Decay, constants: Floats) -> _Fit:
    """Fit the curve to settled readings (minutes, degC), T among these."""
    n = len(t)
    # One row more than readings: c, in the scatter's measure, is zero.
    y = np.append(temperature_c, 0.0)
    slow = np.zeros((n + 1, 3))
    slow[:n] = t[:, np.newaxis] ** (0, 1, 2)
    decays = np.zeros((n + 1, len(constants)))
    decays[:n] = decay(t[:, np.newaxis] / constants)[0]
    scatter = float(np.diff(temperature_c).std()) / 2**0.5
    for _ in range(ROUNDS):
        slow[n, 2] = max(scatter, LEAST_SCATTER_K) / CURVATURE
        # What the slow part can't explain, of readings and decays.
        q = np.linalg.qr(slow)[0]
        best, squares = _best_constant(_apart(q, decays), _apart(q, y))
        # c counts as half a parameter: sometimes the readings tell it, sometimes the prior does.
        scatter = float((squares / (n - 4.5)) ** 0.5)
    constant = _refined(q, _apart(q, y), t, decay, (constants, best))
    value, slope = decay(t / constant)
    linear = np.column_stack([slow, np.append(value, 0.0)])
    p = _solved(linear, y)
    left = (y - linear @ p)[:n]
    scatter = float((left @ left / (n - 4.5)) ** 0.5)
    by_constant = np.append(p[3] * t / constant**2 * slope, 0.0)
    triangle = np.linalg.qr(np.column_stack([linear, by_constant]))[1]
    # Of the temperature at zero by each parameter: a and B.
    at_zero = np.array([1.0, 0.0, 0.0, 1.0, 0.0])
    moves = _solved(np.transpose(triangle), at_zero)
    standard = scatter * _hanging_together(left) * float((moves @ moves) ** 0.5)
    return _Fit((float(p[0]), float(p[1]), float(p[2])), float(p[3]), constant, standard)


def _apart(q: Floats, values: Floats) -> Floats:
    return values - q @ (q.T @ values)


def _best_constant(decays: Floats, y: Floats) -> tuple[int, float]:
    """Which T of a range leaves the least squares, its B above zero; those squares."""
    size = np.einsum("ij,ij->j", decays, decays)
    along = y @ decays
    gained = np.where(along > 0, along**2 / size, -1.0)
    best = int(gained.argmax())
    if gained[best] <= 0:
        raise ImpossibleReading({}, "the winding doesn't cool towards what surrounds it")
    return best, max(float(y @ y - gained[best]), 0.0)


def _refined(q: Floats, y: Floats, t: Floats, decay: Decay, among: tuple[Floats, int]) -> float:
    """T by Gauss-Newton from the best of a range, which it keeps unless there is a better."""
    constants, best = among
    constant = found = float(constants[best])
    least = np.inf
    for _ in range(MOST_STEPS):
        value, slope = decay(t / constant)
        shape = _apart(q, np.append(value, 0.0))
        size = float(shape @ shape)
        amount = float(y @ shape) / size
        left = y - amount * shape
        if amount <= 0 or left @ left > least:
            break
        found, least = constant, float(left @ left)
        by_constant = _apart(q, np.append(amount * t / constant**2 * slope, 0.0))
        by_constant -= shape * float(by_constant @ shape) / size
        step = float(by_constant @ left) / float(by_constant @ by_constant)
        constant = float(np.clip(constant + step, constants[0], constants[-1]))
        if abs(constant - found) < CLOSE * found:
            return constant
    return found


def _solved(matrix: Floats, y: Floats) -> Floats:
    return np.asarray(np.linalg.lstsq(matrix, y, rcond=None)[0], dtype=np.float64)


def _hanging_together(residuals: Floats) -> float:
    """By how much the scatter of a mean grows where neighbouring residuals are alike.

    A curve that doesn't quite suit leaves such residuals; n of them tell less than n (first-order
    autoregression: (1 + r)/(1 - r) times the variance; from memory).
    """
    size = float(residuals @ residuals)
    r = float(residuals[1:] @ residuals[:-1]) / size if size > 0 else 0.0
    r = min(max(r, 0.0), 0.95)
    return float(((1 + r) / (1 - r)) ** 0.5)
