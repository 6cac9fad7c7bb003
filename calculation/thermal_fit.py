"""Thermal parameters of a unit, fitted from its own heat run, in the terms of IEC 60076-7.

k11 tau_o d(rise)/dt = rated rise x (loss/rated loss)^x - rise of the top liquid over ambient
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calculation.coverage import Part
from calculation.errors import refuse_unless_positive
from calculation.forecast import EXPONENT, EXPONENT_LIMIT, FITTED_SHARE, forecast
from calculation.one_body import Balance, Blocks, Rows, balance, blocks
from calculation.source import STANDARD_OF_LIMIT
from calculation.stated import Stated, stated

# x is fitted only where the run itself had losses this far apart.
LEAST_LOSS_STEP = 1.15
EXPONENTS = np.arange(0.5, 1.301, 0.05)
# What one body leaves wrong in x, half-width for 95 %; set on simulated units of two structures.
MODEL_EXPONENT = 0.12
WIDEST_EXPONENT = 0.25


@dataclass(frozen=True, slots=True)
class ThermalFit:
    """What the run says about a unit, each with its uncertainty.

    `top_liquid_time_constant_s` is the one that the warm-up shows, k11 tau_o; `tau_o_s` that
    divided by `k11`, which is assumed. `ultimate_top_liquid_k` is the rise at equilibrium with
    rated loss, `loss_ratio` R load loss over no-load loss. `exponent_assumed` says that the run
    had too little change of loss to show x.
    """

    top_liquid_time_constant_s: Stated
    tau_o_s: Stated
    k11: float
    ultimate_top_liquid_k: Stated
    loss_exponent: Stated
    exponent_assumed: bool
    loss_ratio: Stated


def thermal_fit(
    rows: Rows,
    *,
    load_loss_w: Stated,
    no_load_loss_w: Stated,
    limits_k: Sequence[float],
    k11: float,
    exponent: float = EXPONENT,
) -> ThermalFit | None:
    """Fit one unit from the minute rows of its run.

    The rated `load_loss_w` and `no_load_loss_w` are of as many units as `rows.loss_w`.
    `limits_k` as in `forecast`; `k11` (IEC 60076-7: 1.0 distribution, 0.5 ONAN and ONAF power)
    and `exponent`, x where the run can't show it, are assumed.

    None where the rows can't tell.

    Source: IEC 60076-7 exponential model of the top liquid (M), fitted by its integral (D).

    Raises:
        ImpossibleReading: a loss, k11 or x that is not above zero.
    """
    refuse_unless_positive({"k11": k11, "exponent": exponent, "load_loss_w": load_loss_w.value})
    refuse_unless_positive({"no_load_loss_w": no_load_loss_w.value})
    rated_w = load_loss_w.value + no_load_loss_w.value
    means = blocks(rows)
    shown = _exponent(means, rated_w)
    x = shown or stated(exponent, [Part(EXPONENT_LIMIT / 3**0.5, "rectangular")])
    constant_s = _time_constant(means, rated_w, x.value)
    end = forecast(
        rows,
        rule="IEC 60076-2",
        limits_k=limits_k,
        exponent=x.value,
        at_loss_w=rated_w,
    )
    if constant_s is None or end is None:
        return None
    of_loss = x.value * np.hypot(load_loss_w.expanded, no_load_loss_w.expanded) / rated_w
    sensors = [Part(limit * STANDARD_OF_LIMIT["rectangular"], "rectangular") for limit in limits_k]
    own = Part(float(np.hypot(end.statistical_k, end.model_k)) / 2)
    rated_k = end.ultimate_k.value
    return ThermalFit(
        constant_s,
        Stated(constant_s.value / k11, constant_s.expanded / k11, constant_s.factor),
        k11,
        stated(rated_k, [*sensors, own, Part(float(of_loss) * rated_k / 2)]),
        x,
        shown is None,
        loss_ratio(load_loss_w, no_load_loss_w),
    )


def loss_ratio(load_loss_w: Stated, no_load_loss_w: Stated) -> Stated:
    """R of IEC 60076-7, load loss over no-load loss, both at rated values and independent."""
    ratio = load_loss_w.value / no_load_loss_w.value
    parts = [
        Part(ratio * loss.expanded / loss.factor / loss.value)
        for loss in (load_loss_w, no_load_loss_w)
    ]
    return stated(ratio, parts)


def _linear(means: Blocks, rated_w: float, exponent: float) -> Balance | None:
    return balance(means, (means.loss_w / rated_w) ** exponent, means.rise_k)


def _time_constant(means: Blocks, rated_w: float, exponent: float) -> Stated | None:
    """Time constant of the whole run; how far that of its last part differs is its model part."""
    whole = _linear(means, rated_w, exponent)
    if whole is None or whole.pull <= 0:
        return None
    begun_s, ended_s = means.t_s[0], means.t_s[-1]
    late = _linear(means.since(ended_s - FITTED_SHARE * (ended_s - begun_s)), rated_w, exponent)
    constant_s = 1 / whole.pull
    standard_s = float(whole.covariance[1, 1]) ** 0.5 * constant_s**2
    model_s = abs(1 / late.pull - constant_s) if late and late.pull > 0 else constant_s / 2
    return stated(constant_s, [Part(standard_s), Part(model_s / 2)])


def _exponent(means: Blocks, rated_w: float) -> Stated | None:
    """The x with the least misfit, or None where the loss changed too little to show one."""
    if not len(means.t_s):
        return None
    low, high = np.percentile(means.loss_w, [10, 90])
    if high / low < LEAST_LOSS_STEP:
        return None
    tried = [_linear(means, rated_w, float(x)) for x in EXPONENTS]
    found = [balance for balance in tried if balance is not None]
    misfits = np.array([balance.misfit_k2 for balance in found])
    best = int(misfits.argmin()) if len(found) == len(EXPONENTS) else 0
    if best in (0, len(EXPONENTS) - 1):
        return None
    before, least, after = misfits[best - 1 : best + 2]
    curvature = before - 2 * least + after
    step = EXPONENTS[1] - EXPONENTS[0]
    x = float(EXPONENTS[best] + step * (before - after) / (2 * curvature))
    # A parabola through three misfits; one standard deviation off it has grown by one variance.
    standard = float((2 * step**2 / curvature * least / found[best].freedom) ** 0.5)
    shown = stated(x, [Part(standard), Part(MODEL_EXPONENT / 2)])
    return shown if shown.expanded <= WIDEST_EXPONENT else None
