"""What the rules, the forecast and the stated uncertainties make of many simulated heat runs."""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import exp

import numpy as np

from calculation.forecast import Forecast, forecast
from calculation.steadiness import Rule, Steadiness
from tests.heat.plants import STEP_S, Floats, Plant
from tests.heat.runs import STANDARD_C, Runs, run

RULES: dict[str, Rule] = {
    "distribution": "IEC 60076-2",
    "larger": "IEC 60076-2",
    "dry": "IEC 60076-11",
}
LONGEST_H = {"distribution": 20, "larger": 24, "dry": 15}
SHARES = {"a quarter": 1 / 4, "a third": 1 / 3, "half": 1 / 2, "two thirds": 2 / 3}
LAG_S = 7200.0


@dataclass
class Told:
    """What forecasts at one share of the warm-up told, against the truth, K and h."""

    none: int = 0
    error_k: list[float] = field(default_factory=list)
    half_width_k: list[float] = field(default_factory=list)
    late_h: list[float] = field(default_factory=list)
    liquid: list[bool] = field(default_factory=list)

    @property
    def covered(self) -> int:
        return sum(abs(e) <= u for e, u in zip(self.error_k, self.half_width_k, strict=True))

    def within(self, kelvin: float) -> tuple[int, int]:
        """How many of the liquid-filled units were told within so many kelvin, and of how many."""
        errors = [e for e, wet in zip(self.error_k, self.liquid, strict=True) if wet]
        return sum(abs(e) <= kelvin for e in errors), len(errors)


@dataclass
class Figures:
    """The whole of a campaign over one plant."""

    units: int
    never: list[str] = field(default_factory=list)
    more_left_k: list[float] = field(default_factory=list)
    left_k: dict[str, list[float]] = field(default_factory=lambda: {kind: [] for kind in RULES})
    later_h: list[float] = field(default_factory=list)
    told: dict[str, Told] = field(default_factory=lambda: {name: Told() for name in SHARES})
    last_hour_held: list[bool] = field(default_factory=list)
    equilibrium_held: list[bool] = field(default_factory=list)
    judged: list[str] = field(default_factory=list)
    ieee_never: int = 0
    ieee_more_left_k: list[float] = field(default_factory=list)
    equilibrium_half_k: list[float] = field(default_factory=list)
    remaining_error_k: list[float] = field(default_factory=list)


def held_until_steady(rule: Rule, watched_c: Floats, ambient_c: Floats) -> list[float]:
    """For how long the rule had been kept, s, minute by minute of a streamed run (minutes,).

    The list ends where the run is steady; all minutes are in it where it never is.
    """
    steadiness, held_s = Steadiness(rule, LAG_S), []
    rows = zip(watched_c.tolist(), ambient_c.tolist(), strict=True)
    for minute, (watched, ambient) in enumerate(rows):
        steadiness.add(minute * STEP_S, [watched], ambient)
        held_s.append(steadiness.held_s)
        if steadiness.steady_at_s is not None:
            break
    return held_s


def lagged(ambient_c: Floats) -> Floats:
    """True ambient, (minutes, units), through the lag that the last hour's mean is defined with."""
    kept = exp(-STEP_S / LAG_S)
    out = ambient_c.copy()
    for k in range(1, len(out)):
        middle = (ambient_c[k] + ambient_c[k - 1]) / 2
        out[k] = middle + (out[k - 1] - middle) * kept
    return out


def campaign(plant: Callable[[np.random.Generator, int], Plant], seed: int, units: int) -> Figures:
    """Draw units, run them, judge them."""
    rng = np.random.default_rng(seed)
    runs = run(plant(rng, units), rng)
    assert np.isfinite(runs.true_c).all()
    true_rise_k = runs.true_c - lagged(runs.true_ambient_c)
    figures = Figures(units)
    for unit, kind in enumerate(runs.kind.tolist()):
        still = np.full(len(runs.t_s), STANDARD_C)
        without = len(
            held_until_steady(RULES[kind], runs.undisturbed_k[:, unit] + STANDARD_C, still)
        )
        read = (runs.read_c[:, unit], runs.ambient_read_c[:, unit])
        held_s = held_until_steady(RULES[kind], *read)
        if len(held_s) > 60 * LONGEST_H[kind]:
            figures.never.append(kind)
            continue
        passed_s, without_s = (STEP_S * (minutes - 1) for minutes in (len(held_s), without))
        left = [float(_left(runs, unit, t)) for t in (passed_s, without_s)]
        figures.more_left_k.append(left[0] - left[1])
        figures.left_k[kind].append(left[1])
        figures.later_h.append((passed_s - without_s) / 3600)
        for name, share in SHARES.items():
            _tell(figures.told[name], runs, unit, share, held_s)
        _state(figures, runs, unit, passed_s, true_rise_k)
        if kind != "dry" and unit % 4 == 0:
            _by_the_other_rule(figures, runs, unit)
    return figures


def report(figures: Figures, plant: str) -> str:
    """The figures as lines of text."""
    more, judged = np.array(figures.more_left_k), np.array(figures.judged)
    lines = [
        f"{plant}: {figures.units} units, {len(figures.never)} never steady {figures.never}",
        f"  left at the pass beyond the noise-free rule: worst {more.max():+.2f} K, "
        f"median {np.median(more):+.2f} K; pass later by "
        f"{_percentiles(figures.later_h)} h",
        "  left by the noise-free rule, median: "
        + ", ".join(f"{kind} {np.median(left):.2f} K" for kind, left in figures.left_k.items()),
    ]
    for name, told in figures.told.items():
        count = len(told.error_k)
        line = f"  forecast at {name}: none {told.none}"
        if count:
            two, three = told.within(2), told.within(3)
            line += (
                f"; interval holds {100 * told.covered / count:.1f} % of {count}, median "
                f"half-width {np.median(told.half_width_k):.2f} K; liquid within 2 K "
                f"{100 * two[0] / two[1]:.1f} %, within 3 K {100 * three[0] / three[1]:.1f} % of "
                f"{two[1]}; steady told late by {_percentiles(told.late_h)} h"
            )
        lines.append(line)
    lines.append(
        f"  by IEEE C57.12.90, {len(figures.ieee_more_left_k)} liquid units: "
        f"{figures.ieee_never} never steady, worst left beyond the "
        f"noise-free rule {max(figures.ieee_more_left_k):+.2f} K"
    )
    lines.append(
        f"  stated U (95 %) holds: last hour's mean {100 * np.mean(figures.last_hour_held):.1f} %, "
        f"equilibrium rise {100 * np.mean(figures.equilibrium_held):.1f} % of "
        f"{len(figures.equilibrium_held)}, median half-width "
        f"{np.median(figures.equilibrium_half_k):.2f} K; remaining rise off by "
        f"{_percentiles(figures.remaining_error_k)} K; equilibrium by kind: "
        + ", ".join(
            f"{kind} {100 * np.mean(np.array(figures.equilibrium_held)[judged == kind]):.1f} %"
            for kind in RULES
        )
    )
    return "\n".join(lines)


def _percentiles(values: list[float]) -> str:
    low, middle, high = np.percentile(values, [2.5, 50, 97.5])
    return f"{middle:+.2f} ({low:+.2f} to {high:+.2f})"


def _left(runs: Runs, unit: int, t_s: float) -> Floats:
    """Rise yet to come in the undisturbed run."""
    reached = np.interp(t_s, runs.t_s, runs.undisturbed_k[:, unit])
    return np.asarray(runs.ultimate_k[unit] - reached)


def _ultimate(runs: Runs, unit: int, at_s: float) -> float:
    """True ultimate rise at the mean ambient of the hour before."""
    k = int(at_s // STEP_S) + 1
    hour = runs.true_ambient_c[max(0, k - 60) : k, unit]
    return float(runs.ultimate_at(np.full(len(runs.kind), hour.mean()))[unit])


def _forecast(runs: Runs, unit: int, at_s: float, held_s: float) -> Forecast | None:
    rule = RULES[str(runs.kind[unit])]
    rows, limits_k = runs.rows(unit, at_s), runs.limits_k(unit)
    return forecast(rows, rule=rule, limits_k=limits_k, lag_s=LAG_S, held_s=held_s)


def _tell(told: Told, runs: Runs, unit: int, share: float, held_s: list[float]) -> None:
    passed_s = STEP_S * (len(held_s) - 1)
    minute = int(share * passed_s // STEP_S)
    at_s = minute * STEP_S
    found = _forecast(runs, unit, at_s, held_s[minute])
    if found is None:
        told.none += 1
        return
    told.error_k.append(found.ultimate_k.value - _ultimate(runs, unit, at_s))
    told.half_width_k.append(found.ultimate_k.expanded)
    told.late_h.append((found.steady_at_s - passed_s) / 3600)
    told.liquid.append(str(runs.kind[unit]) != "dry")


def _state(figures: Figures, runs: Runs, unit: int, at_s: float, true_rise_k: Floats) -> None:
    found = _forecast(runs, unit, at_s, 0.0)
    assert found is not None
    k = int(at_s // STEP_S) + 1
    true_hour_k = float(true_rise_k[k - 60 : k, unit].mean())
    ultimate_k = _ultimate(runs, unit, at_s)
    hour, ultimate = found.last_hour_k, found.ultimate_k
    figures.judged.append(str(runs.kind[unit]))
    figures.last_hour_held.append(abs(hour.value - true_hour_k) <= hour.expanded)
    figures.equilibrium_held.append(abs(ultimate.value - ultimate_k) <= ultimate.expanded)
    figures.equilibrium_half_k.append(ultimate.expanded)
    figures.remaining_error_k.append(found.remaining_k.value - (ultimate_k - true_hour_k))


def _by_the_other_rule(figures: Figures, runs: Runs, unit: int) -> None:
    rule: Rule = "IEEE C57.12.90"
    still_c = np.full(len(runs.t_s), STANDARD_C)
    without = held_until_steady(rule, runs.undisturbed_k[:, unit] + STANDARD_C, still_c)
    with_noise = held_until_steady(rule, runs.read_c[:, unit], runs.ambient_read_c[:, unit])
    if len(with_noise) > 60 * LONGEST_H[str(runs.kind[unit])]:
        figures.ieee_never += 1
        return
    left = [float(_left(runs, unit, STEP_S * (len(h) - 1))) for h in (with_noise, without)]
    figures.ieee_more_left_k.append(left[0] - left[1])
