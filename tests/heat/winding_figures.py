"""What the stated uncertainty of winding rises makes of many simulated heat runs."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from calculation.heat_test import heat_result
from calculation.rise_budget import AMBIENT, BALANCE, BOTTOM, COLD, TOP
from calculation.zeroing import zeroed
from tests.heat.windings import Run, TrueWinding, draw

# One pair in four is dry.
EVERY = 4


@dataclass(frozen=True)
class Judged:
    """One winding: what was drawn, what was said of it, K; `shares` of the variance by source."""

    winding: str
    pair: int
    true: TrueWinding
    error_k: float
    expanded_k: float
    standard_k: float
    extrapolation_k: float
    cold_k: float
    weak: bool
    shares: dict[str, float]

    @property
    def holds(self) -> bool:
        """Whether the stated uncertainty covers the truth."""
        return abs(self.error_k) <= self.expanded_k

    def share(self, *parts: str) -> float:
        """Share of the variance from sources whose name has one of these in it."""
        return sum(s for source, s in self.shares.items() if any(p in source for p in parts))


@dataclass
class Figures:
    """A campaign: windings judged, those for which the run said that it can't, top liquids."""

    judged: list[Judged] = field(default_factory=list)
    impossible: list[tuple[TrueWinding, str]] = field(default_factory=list)
    top_liquid_held: list[bool] = field(default_factory=list)


def campaign(seed: int, units: int) -> Figures:
    """Draw half as many pairs, reduce their runs, judge every winding."""
    rng = np.random.default_rng(seed)
    figures = Figures()
    for pair in range(units // 2):
        judge(figures, pair, draw(rng, dry=pair % EVERY == EVERY - 1))
    return figures


def judge(figures: Figures, pair: int, run: Run) -> None:
    """Reduce one run and set its rises beside the truth."""
    readings = zeroed(run.test.readings, run.test.allowance.sensor_k)
    result = heat_result(replace(run.test, readings=readings))
    for winding, true in run.windings.items():
        if winding in result.impossible:
            figures.impossible.append((true, result.impossible[winding]))
            continue
        budget = result.units[winding[0]].budgets[f"average_k({winding})"]
        curve = result.curves[winding]
        figures.judged.append(
            Judged(
                winding,
                pair,
                true,
                budget.value - true.rise_k,
                budget.expanded,
                budget.standard,
                curve.standard_k,
                readings.cold[winding].temperature_c - true.cold_c,
                curve.weak,
                {row.source: row.share for row in budget.rows},
            )
        )
    for name, true_k in run.top_liquid_k.items():
        budget = result.units[name].budgets["top_liquid_k"]
        figures.top_liquid_held.append(abs(budget.value - true_k) <= budget.expanded)


def report(figures: Figures) -> str:
    """The figures as rows of a table."""
    rows = [
        "| windings | number | covered, % | median U, K | rms error / standard | bias, K |"
        " from cold, % | from air, % | from extrapolation, % |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    rows += [_row(name, filter(belongs, figures.judged)) for name, belongs in GROUPS.items()]
    slow = sum(true.settling_s > 45 for true, _ in figures.impossible)
    top = figures.top_liquid_held
    rows += [
        "",
        f"no number: {len(figures.impossible)}, of which settle slower than 45 s: {slow}",
        f"top-liquid rise: {100 * np.mean(top):.1f} % of {len(top)} covered",
    ]
    return "\n".join(rows)


def _row(name: str, some: Iterable[Judged]) -> str:
    group = list(some)
    if not group:
        return f"| {name} | 0 | | | | | | | |"
    error_k = np.array([j.error_k for j in group])
    relative = error_k / np.array([j.standard_k for j in group])
    cells = [
        name,
        f"{len(group)}",
        f"{100 * np.mean([j.holds for j in group]):.1f}",
        f"{np.median([j.expanded_k for j in group]):.2f}",
        f"{(relative**2).mean() ** 0.5:.2f}",
        f"{error_k.mean():+.2f}",
        # Of a liquid-filled unit the sensors of cold and hot liquid are the same.
        f"{100 * np.mean([j.share(BALANCE, COLD, TOP, BOTTOM) for j in group]):.0f}",
        f"{100 * np.mean([j.share(AMBIENT) for j in group]):.0f}",
        f"{100 * np.mean([j.share('extrapolation') for j in group]):.0f}",
    ]
    return "| " + " | ".join(cells) + " |"


def _settles(low_s: float, high_s: float) -> Callable[[Judged], bool]:
    return lambda j: low_s <= j.true.settling_s < high_s


def _kind(construction: str, *, exponential: bool) -> Callable[[Judged], bool]:
    return lambda j: j.true.construction == construction and j.true.exponential == exponential


GROUPS: dict[str, Callable[[Judged], bool]] = {
    "all": lambda _: True,
    "liquid": lambda j: j.true.construction == "liquid",
    "dry": lambda j: j.true.construction == "dry",
    "settling 3-10 s": _settles(3, 10),
    "settling 10-20 s": _settles(10, 20),
    "settling 20-45 s": _settles(20, 45),
    "settling above 45 s": _settles(45, np.inf),
    "not weak": lambda j: not j.weak,
    "weak": lambda j: j.weak,
    "liquid, exponential": _kind("liquid", exponential=True),
    "liquid, power 1.25": _kind("liquid", exponential=False),
    "dry, exponential": _kind("dry", exponential=True),
    "dry, power 1.25": _kind("dry", exponential=False),
}
