"""Uncertainty budgets after the GUM (JCGM 100): any model, many results, correlations kept.

A model takes the inputs by name and gives results by name, through operators only; so the very
lines that reduce readings are the model, and a result's budget can't disagree with its value.

Its imports (uncertainties, NumPy) cost start-up time: nothing on the loss test's own path needs it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from uncertainties import ufloat

from calculation.coverage import Basis, Factor, Part, coverage_factor
from calculation.source import Distribution, Source

Model = Callable[[Mapping[str, Any]], Mapping[str, Any]]
Correlations = Mapping[tuple[str, str], float]

# A contribution below this share of the whole is what rounding left of nothing.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One source in one result's budget.

    `sensitivity` is the derivative of the result by the source, `contribution` that times the
    standard uncertainty, `share` its part of the variance (with its part of any correlation).
    """

    source: str
    value: float
    limit: float
    distribution: Distribution
    standard: float
    sensitivity: float
    contribution: float
    share: float


@dataclass(frozen=True, slots=True)
class Budget:
    """The uncertainty of one result and where it comes from, largest share first.

    `expanded` covers 95 %: `factor` times `standard`; `basis` says what the factor rests on.
    """

    quantity: str
    value: float
    standard: float
    expanded: float
    factor: float
    basis: Basis
    freedom: float
    rows: tuple[BudgetRow, ...]


@dataclass(frozen=True, slots=True)
class Propagation:
    """Budgets of several results of one model, and how the results hang together."""

    budgets: dict[str, Budget]
    _moves: Mapping[str, Mapping[str, float]]
    _tied: Mapping[str, Mapping[str, float]]

    def covariance(self, one: str, other: str) -> float:
        """Covariance of two results (JCGM 100, 5.2.2, F.1.2.3)."""
        return _covariance(self._moves[one], self._moves[other], self._tied)

    def correlation(self, one: str, other: str) -> float:
        """Correlation coefficient of two results (JCGM 100, 5.2.2)."""
        both = self.budgets[one].standard * self.budgets[other].standard
        return self.covariance(one, other) / both


def propagate(
    sources: Sequence[Source],
    model: Model,
    correlations: Correlations | None = None,
    wanted: Sequence[str] | None = None,
) -> Propagation:
    """Budget of every result of `model` (or those `wanted`), to first order (JCGM 100, 5.1, 5.2).

    `correlations` gives coefficients between pairs of sources; all others are independent.
    """
    # An exact input stays a plain number: it has no derivative and no budget line.
    numbers = {s.name: ufloat(s.value, s.standard) if s.standard else s.value for s in sources}
    outcome = model(numbers)
    names = list(outcome) if wanted is None else list(wanted)
    slopes = {name: _slopes(outcome[name], numbers) for name in names}
    moves = {
        name: {s.name: slopes[name].get(s.name, 0.0) * s.standard for s in sources}
        for name in names
    }
    tied = _with_each_other(correlations or {})
    budgets = {
        name: _budget(name, outcome[name], sources, slopes[name], moves[name], tied)
        for name in names
    }
    return Propagation(budgets, moves, tied)


def table(budget: Budget) -> str:
    """The budget as a table of text: source, value, distribution, sensitivity, share."""
    head = ("source", "value ± limit", "distribution", "sensitivity", "share, %")
    body = [
        (
            row.source,
            f"{row.value:.6g} ± {row.limit:.3g}",
            row.distribution,
            f"{row.sensitivity:.4g}",
            f"{100 * row.share:.1f}",
        )
        for row in budget.rows
    ]
    widths = [max(len(line[k]) for line in (head, *body)) for k in range(len(head))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in (head, *body)
    ]
    lines.append(
        f"{budget.quantity} = {budget.value:.6g} ± {budget.expanded:.3g}"
        f" (95 %, k = {budget.factor:.2f}, {budget.basis})"
    )
    return "\n".join(lines)


def _slopes(result: Any, numbers: Mapping[str, Any]) -> dict[str, float]:
    derivatives = getattr(result, "derivatives", {})
    by_variable = {variable: float(slope) for variable, slope in derivatives.items()}
    return {name: by_variable[n] for name, n in numbers.items() if _is_in(n, by_variable)}


def _is_in(number: Any, by_variable: Mapping[Any, float]) -> bool:
    return hasattr(number, "derivatives") and number in by_variable


def _with_each_other(correlations: Correlations) -> dict[str, dict[str, float]]:
    tied: dict[str, dict[str, float]] = {}
    for (a, b), r in correlations.items():
        tied.setdefault(a, {})[b] = r
        tied.setdefault(b, {})[a] = r
    return tied


def _covariance(
    one: Mapping[str, float], other: Mapping[str, float], tied: Mapping[str, Mapping[str, float]]
) -> float:
    return sum(move * _with_tied(name, other, tied) for name, move in one.items())


def _with_tied(
    name: str, moves: Mapping[str, float], tied: Mapping[str, Mapping[str, float]]
) -> float:
    return moves[name] + sum(r * moves[mate] for mate, r in tied.get(name, {}).items())


def _budget(
    quantity: str,
    result: Any,
    sources: Sequence[Source],
    slopes: Mapping[str, float],
    moves: Mapping[str, float],
    tied: Mapping[str, Mapping[str, float]],
) -> Budget:
    variance = _covariance(moves, moves, tied)
    standard = max(variance, 0.0) ** 0.5
    rows = [
        BudgetRow(
            source=s.name,
            value=s.value,
            limit=s.limit,
            distribution=s.distribution,
            standard=s.standard,
            sensitivity=slopes.get(s.name, 0.0),
            contribution=moves[s.name],
            share=moves[s.name] * _with_tied(s.name, moves, tied) / variance if variance else 0.0,
        )
        for s in sources
        if abs(moves[s.name]) > ROUNDING * standard
    ]
    rows.sort(key=lambda row: -abs(row.share))
    factor = _factor(sources, moves, correlated=bool(tied))
    return Budget(
        quantity=quantity,
        value=float(getattr(result, "nominal_value", result)),
        standard=standard,
        expanded=factor.factor * standard,
        factor=factor.factor,
        basis=factor.basis,
        freedom=factor.freedom,
        rows=tuple(rows),
    )


def _factor(sources: Sequence[Source], moves: Mapping[str, float], *, correlated: bool) -> Factor:
    # Correlated parts are not a sum of independent ones: neither Welch-Satterthwaite nor a
    # convolution holds (JCGM 100, G.4.1), and 2 is what remains.
    if correlated:
        return Factor(2.0, "normal", float("inf"))
    return coverage_factor(
        [Part(abs(moves[s.name]), s.distribution, s.freedom) for s in sources if moves[s.name]]
    )
