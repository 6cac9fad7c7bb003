"""Where a heat run will end, from what was read so far.

One body with the exponent of the cooling: loss = conductance x rise ^ (1/x), fitted to the last
60 % of the rows with ambient and losses as inputs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, hypot, inf, isfinite, log

import numpy as np
from numpy.typing import NDArray

from calculation.coverage import Part
from calculation.errors import ImpossibleReading, refuse_unless_positive
from calculation.one_body import Blocks, Rows, balance, blocks
from calculation.source import STANDARD_OF_LIMIT
from calculation.stated import Stated, stated
from calculation.steadiness import (
    AMBIENT_LAG_S,
    HOUR_S,
    MINUTES_OF_CHANGE,
    TERMS,
    LaggedAmbient,
    Rule,
    Terms,
)

FITTED_SHARE = 0.6
SHOWN_FROM = 1 / 3
LEAST_S = 1.5 * HOUR_S
# Between the 0.8 and 0.9 of the ONAN classes of IEC 60076-2 (M).
EXPONENT = 0.85
# A real unit is more than one body. Half-widths for 95 % of what that leaves wrong, as a share of
# the rise still to come, of how far ambient ranged, which each body follows at its own pace, and
# of the rise, since set-points are never quite held: set on simulated units of two structures, see
# docs/heat_run.md.
SHARE_TO_COME = 0.25
SHARE_OF_AMBIENT = 0.08
SHARE_OF_RISE = 0.003
# How far x of a unit may be from the one assumed.
EXPONENT_LIMIT = 0.1
# The present set-points: the blocks of the last hour with a loss near that of the newest ones, so
# that small corrections average out and a step within the hour doesn't count.
NEWEST_S = 900.0
SAME_LOSS = 0.02
# Below it the loss grows with temperature nearly as fast as the cooling does: nothing to forecast.
LEAST_FEEDBACK = 0.2


@dataclass(frozen=True, slots=True)
class Forecast:
    """What the rows up to `at_s` say about the end of the run.

    `ultimate_k` is the rise at equilibrium with the present set-points, `last_hour_k` the mean
    rise of the last hour over lagged ambient; both carry the sensors' fixed errors, which
    `remaining_k` (ultimate less last hour) doesn't. `statistical_k` and `model_k` are half-widths
    for 95 % of the forecast alone. `time_constant_s` is that of small changes about the ultimate
    rise. `steady_at_s` is when the rule will be met, never before `at_s`; `warm_up_s` from the
    first row to then.
    """

    at_s: float
    ultimate_k: Stated
    last_hour_k: Stated
    remaining_k: Stated
    statistical_k: float
    model_k: float
    time_constant_s: float
    exponent: float
    steady_at_s: float
    warm_up_s: float


def forecast(
    rows: Rows,
    *,
    rule: Rule,
    limits_k: Sequence[float],
    exponent: float = EXPONENT,
    lag_s: float = AMBIENT_LAG_S,
    at_loss_w: float | None = None,
    held_s: float = 0.0,
) -> Forecast | None:
    """Forecast where a warm-up ends, from its minute rows so far.

    `limits_k` are the half-widths of the fixed errors of the rise: of the temperature's sensor, and
    of each ambient sensor divided by their number (rectangular, drawn once a run, so never divided
    by the number of rows). `exponent` is x, `lag_s` the lag of ambient in the last hour's mean.
    `at_loss_w`, of as many units as `rows.loss_w`, asks for the rise at equilibrium with that loss
    instead of the present set-points: with rated loss, while an overload shortens the warm-up.
    `held_s` is for how long the rate has been within the rule by now (`Steadiness.held_s`).

    None before a third of the warm-up, and as long as the rows can't tell.

    Source: heat balance of one body (D); exponent of IEC 60076-2 (M); JCGM 100 and 101.

    Raises:
        ImpossibleReading: a loss, lag or exponent that is not above zero, a limit below zero.
    """
    refuse_unless_positive({"exponent": exponent, "lag_s": lag_s})
    if at_loss_w is not None:
        refuse_unless_positive({"at_loss_w": at_loss_w})
    if any(not 0 <= limit < inf for limit in limits_k):
        raise ImpossibleReading({"limits_k": max(limits_k)}, "a limit of error is zero or more")
    means = blocks(rows)
    if not len(means.t_s) or means.t_s[-1] - means.t_s[0] < LEAST_S:
        return None
    fitted = _fit(means, exponent, at_loss_w)
    last_hour = _last_hour(rows, lag_s)
    if fitted is None or last_hour is None:
        return None
    begun_s, at_s = float(rows.t_s[0]), float(means.t_s[-1])
    met_at_s = at_s + _until_steady(fitted, TERMS[rule], begun_s - at_s, held_s)
    if not isfinite(met_at_s) or at_s - begun_s < SHOWN_FROM * (met_at_s - begun_s):
        return None
    rise_k, scatter_k = last_hour
    sensors = [Part(limit * STANDARD_OF_LIMIT["rectangular"], "rectangular") for limit in limits_k]
    own = [Part(fitted.standard_k), Part(fitted.model_k / 2)]
    return Forecast(
        at_s,
        stated(fitted.ultimate_k, [*sensors, *own]),
        stated(rise_k, [*sensors, Part(scatter_k)]),
        stated(fitted.ultimate_k - rise_k, [*own, Part(scatter_k)]),
        2 * fitted.standard_k,
        fitted.model_k,
        fitted.time_constant_s,
        exponent,
        met_at_s,
        met_at_s - begun_s,
    )


@dataclass(frozen=True, slots=True)
class _Fit:
    ultimate_k: float
    standard_k: float
    model_k: float
    to_come_k: float
    time_constant_s: float


def _fit(means: Blocks, exponent: float, at_loss_w: float | None) -> _Fit | None:
    window = means.since(means.t_s[-1] - FITTED_SHARE * (means.t_s[-1] - means.t_s[0]))
    present = _present(window)
    loss_w, rise_k = float(window.loss_w[present].mean()), float(window.rise_k[present].mean())
    if rise_k <= 0:
        return None
    power = 1 / exponent
    # A rise below ambient pulls the other way; a fractional power of it would be NaN.
    back = np.sign(window.rise_k) * np.abs(window.rise_k / rise_k) ** power
    found = balance(window, window.loss_w / loss_w, back)
    if found is None or found.gain <= 0 or found.pull <= 0:
        return None
    # The loss at constant current rises with the winding, so the ultimate is where they meet.
    per_k = window.loss_per_k / loss_w
    present_k = rise_k
    for _ in range(50):
        grown = max(1 + per_k * (present_k - rise_k), 0.5)
        present_k = rise_k * (found.gain / found.pull * grown) ** exponent
    feedback = 1 - exponent * per_k * present_k / grown
    if feedback < LEAST_FEEDBACK:
        return None
    other = 1.0 if at_loss_w is None else at_loss_w / loss_w
    ultimate_k = present_k
    if at_loss_w is not None:
        ultimate_k = rise_k * (found.gain / found.pull * other) ** exponent
    # d ln(ultimate) = x (d ln gain - d ln pull), more by what the loss gains in its turn.
    slope = exponent * ultimate_k / feedback * np.array([1 / found.gain, -1 / found.pull])
    now_k = _present_rise(window)
    return _Fit(
        ultimate_k,
        float(slope @ found.covariance @ slope) ** 0.5,
        hypot(
            SHARE_TO_COME * max(abs(present_k - now_k), abs(ultimate_k - now_k)),
            SHARE_OF_AMBIENT * float(np.ptp(window.ambient_c)),
            SHARE_OF_RISE * ultimate_k,
            EXPONENT_LIMIT * log(other) * ultimate_k,
        ),
        ultimate_k - now_k,
        rise_k / (found.pull * power * (ultimate_k / rise_k) ** (power - 1) * feedback),
    )


def _present(window: Blocks) -> NDArray[np.bool_]:
    """Which blocks are of the last hour and of the present set-points."""
    since_s = window.t_s[-1] - window.t_s
    newest_w = window.loss_w[since_s <= NEWEST_S].mean()
    same = np.abs(window.loss_w / newest_w - 1) <= SAME_LOSS
    return np.asarray((since_s <= HOUR_S) & (same | (since_s <= NEWEST_S)))


def _present_rise(window: Blocks) -> float:
    """The rise at the newest row: a straight line through the last hour, read at its end."""
    hour = window.since(window.t_s[-1] - HOUR_S)
    if len(hour.t_s) < 3:
        return float(hour.rise_k[-1])
    back_s = hour.t_s - hour.t_s[-1]
    return float(np.polynomial.polynomial.polyfit(back_s, hour.rise_k, 1)[0])


def _last_hour(rows: Rows, lag_s: float) -> tuple[float, float] | None:
    """Mean rise of the last hour over lagged ambient, and the scatter of that mean, K."""
    read = ~(np.isnan(rows.temperature_c) | np.isnan(rows.ambient_c))
    at_s, ambient_c = rows.t_s[read], rows.ambient_c[read]
    lagged = LaggedAmbient(lag_s)
    over = [lagged.add(t, c) for t, c in zip(at_s.tolist(), ambient_c.tolist(), strict=True)]
    hour = at_s > at_s[-1] - HOUR_S
    rise_k = rows.temperature_c[read][hour] - np.array(over)[hour]
    if len(rise_k) < 30:
        return None
    # Differences of neighbours see the noise and not the slope.
    noise_k = float(np.sqrt(np.mean(np.diff(rise_k) ** 2) / 2))
    return float(rise_k.mean()), noise_k / len(rise_k) ** 0.5


def _until_steady(fitted: _Fit, terms: Terms, begun_s: float, held_s: float) -> float:
    """Seconds from now until the rule is met; `begun_s` is when the rows began, from now.

    The rise to come falls as e^(-t/tau); a slope over an hour is that of the hour's middle.
    """
    tau_s, to_come_k = fitted.time_constant_s, max(abs(fitted.to_come_k), 1e-6)
    if isfinite(terms.change_k):
        window_s = MINUTES_OF_CHANGE * 60.0
        allowed_k = max(terms.change_k, terms.change_share * fitted.ultimate_k)
        changed_k = to_come_k * (exp(min(window_s / tau_s, 700.0)) - 1)
        return max(tau_s * log(changed_k / allowed_k), begun_s + window_s, 0.0)
    if held_s > 0:
        return max(terms.held_s - held_s, 0.0)
    within_s = tau_s * log(to_come_k * HOUR_S / (tau_s * terms.rate_k_per_h)) + HOUR_S / 2
    return max(within_s, begun_s + HOUR_S, 0.0) + terms.held_s
