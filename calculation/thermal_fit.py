"""Thermal parameters of a unit, fitted from its own heat run, in the terms of IEC 60076-7.

k11 tau_o d(rise)/dt = rated rise x (loss/rated loss)^x - rise of the top liquid over ambient
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calculation.coverage import Part
from calculation.errors import refuse_unless_positive
from calculation.forecast import EXPONENT, FITTED_SHARE, forecast
from calculation.heat_readings import Floats
from calculation.one_body import Blocks, Rows, blocks
from calculation.source import STANDARD_OF_LIMIT
from calculation.stated import Stated, stated

# x of IEC 60076-7 for natural circulation (M), and how far that of a unit may be from it.
ASSUMED_EXPONENT = 0.8
EXPONENT_LIMIT = 0.2
# x is fitted only where the run itself had losses this far apart.
LEAST_LOSS_STEP = 1.15
EXPONENTS = np.arange(0.5, 1.301, 0.05)
SAME_LOSS = 0.05
CONSTANTS_S = 3600.0 * np.geomspace(0.25, 16.0, 60)
LEAST_BLOCKS = 20
# What one body leaves wrong, half-widths for 95 % of x and as a share of the time constant; set on
# simulated units of two structures, see docs/heat_run.md.
MODEL_EXPONENT = 0.06
MODEL_CONSTANT = 0.04
# The last part of a run is near its end and tells the time constant badly: no more than this of
# what it says otherwise counts.
MOST_DIFFERS = 0.15
WIDEST_EXPONENT = 0.25


@dataclass(frozen=True, slots=True)
class ThermalFit:
    """What the run says about a unit, each with its uncertainty.

    `top_liquid_time_constant_s` is the one that the warm-up shows, k11 tau_o; `tau_o_s` that
    divided by `k11`, which is assumed. `ultimate_top_liquid_k` is the rise at equilibrium with
    rated loss, `loss_ratio` R load loss over no-load loss. `loss_exponent` is x over losses at one
    temperature, as IEC 60076-7 has it: what they gain by warming is in it, so it is above the x of
    IEC 60076-2. `exponent_assumed` says that the run had too little change of loss to show it.
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
    exponent: float = ASSUMED_EXPONENT,
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
    if len(means.t_s) < LEAST_BLOCKS:
        return None
    shown = _exponent(means)
    x = shown or stated(exponent, [Part(EXPONENT_LIMIT / 3**0.5, "rectangular")])
    constant_s = _time_constant(means, x.value)
    end = forecast(
        _up_to_rated(rows, rated_w),
        rule="IEC 60076-2",
        limits_k=limits_k,
        at_loss_w=rated_w,
    )
    if constant_s is None or end is None:
        return None
    of_loss = EXPONENT * np.hypot(load_loss_w.expanded, no_load_loss_w.expanded) / rated_w
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


def _up_to_rated(rows: Rows, rated_w: float) -> Rows:
    """Rows up to the last with about rated loss: from an overload x would have to be assumed."""
    rated = np.flatnonzero(np.abs(rows.loss_w / rated_w - 1) <= SAME_LOSS)
    kept = slice(None, int(rated[-1]) + 1 if len(rated) else None)
    return Rows(rows.t_s[kept], rows.temperature_c[kept], rows.ambient_c[kept], rows.loss_w[kept])


@dataclass(frozen=True, slots=True)
class _Squares:
    """What the model leaves (K2) by time constant (rows) and exponent (columns), and a variance."""

    left_k2: Floats
    exponents: Floats
    variance_k2: float


def _squares(means: Blocks, exponents: Floats) -> _Squares:
    """Fit the rated rise at each time constant and exponent; the start is as it was read.

    The top liquid is compared with the model's whole response and not its slope, as it is going to
    be used; a gap costs only the comparison there. Losses are carried to one temperature, so that
    what they gain by warming is in the time constant, where IEC 60076-7 has it.
    """
    constants_s = CONSTANTS_S[:, None]
    held_w = means.loss_w - means.loss_per_k * (means.temperature_c - means.temperature_c[-1])
    drive = (held_w[:, None, None] / held_w[-1]) ** exponents
    unheated_c = _lagged(means.t_s, means.ambient_c[:, None, None], constants_s)
    fading = np.exp(-(means.t_s - means.t_s[0])[:, None, None] / constants_s)
    wanted = means.temperature_c[:, None, None] - unheated_c - means.rise_k[0] * fading
    driven = _lagged(means.t_s, drive, constants_s) - drive[0] * fading
    rated_k = (driven * wanted).sum(axis=0) / (driven * driven).sum(axis=0)
    left = wanted - rated_k * driven
    squares = (left * left).sum(axis=0)
    least = left[(slice(None), *np.unravel_index(squares.argmin(), squares.shape))]
    # Neighbours are alike where the model is wrong: of so many rows only these are independent.
    alike = min(max(float(least[1:] @ least[:-1]) / float(least @ least), 0.0), 0.95)
    independent = max((len(least) - 3) * (1 - alike) / (1 + alike), 1.0)
    return _Squares(squares, exponents, float(squares.min()) / independent)


def _lagged(t_s: Floats, input_: Floats, constants_s: Floats) -> Floats:
    """Through a first-order lag, from balance with the first, exact between straight points (D)."""
    out = np.empty((len(t_s), *np.broadcast_shapes(input_.shape[1:], constants_s.shape)))
    out[0] = input_[0]
    for k, step_s in enumerate(np.diff(t_s)):
        steps = step_s / constants_s
        slope = (input_[k + 1] - input_[k]) / steps
        out[k + 1] = input_[k + 1] - slope + (out[k] - input_[k] + slope) * np.exp(-steps)
    return out


def _least(grid: Floats, left_k2: Floats, variance_k2: float) -> tuple[float, float] | None:
    """Where a parabola through the least three is least, and its standard uncertainty.

    One standard deviation off, the squares have grown by one variance. None at the grid's ends.
    """
    k = int(left_k2.argmin())
    if k in (0, len(grid) - 1):
        return None
    before, least, after = left_k2[k - 1 : k + 2]
    step, curvature = float(grid[1] - grid[0]), float(before - 2 * least + after)
    at = float(grid[k]) + step * float(before - after) / (2 * curvature)
    return at, (2 * step**2 * variance_k2 / curvature) ** 0.5


def _time_constant(means: Blocks, exponent: float) -> Stated | None:
    """Time constant of the whole run; how far that of its last part differs is a model part."""
    begun_s, ended_s = means.t_s[0], means.t_s[-1]
    parts = [means, means.since(ended_s - FITTED_SHARE * (ended_s - begun_s))]
    found = []
    for part in parts:
        squares = _squares(part, np.array([exponent]))
        found.append(_least(np.log(CONSTANTS_S), squares.left_k2[:, 0], squares.variance_k2))
    whole, late = found
    if whole is None:
        return None
    differs = MOST_DIFFERS if late is None else min(abs(late[0] - whole[0]), MOST_DIFFERS)
    shares = [Part(whole[1]), Part(differs / 2), Part(MODEL_CONSTANT / 2)]
    share = stated(0.0, shares)
    constant_s = float(np.exp(whole[0]))
    return Stated(constant_s, share.expanded * constant_s, share.factor)


def _exponent(means: Blocks) -> Stated | None:
    """The x that leaves least, or None where the loss changed too little to show one."""
    low, high = np.percentile(means.loss_w, [10, 90])
    if high / low < LEAST_LOSS_STEP:
        return None
    squares = _squares(means, EXPONENTS)
    found = _least(EXPONENTS, squares.left_k2.min(axis=0), squares.variance_k2)
    if found is None:
        return None
    shown = stated(found[0], [Part(found[1]), Part(MODEL_EXPONENT / 2)])
    return shown if shown.expanded <= WIDEST_EXPONENT else None
