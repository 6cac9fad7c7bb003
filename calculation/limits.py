"""Judging results against what was guaranteed (tolerances of IEC 60076-1 Table 1, or its own)."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

from calculation.decision import Rule, guard_band
from calculation.errors import ImpossibleReading
from calculation.nameplate import Guarantee

Word = Literal["within", "outside"]

# Below this share of the guarantee a no-load value is not good but wrong: most likely the
# multiplier of the LV current.
IMPLAUSIBLY_GOOD = 0.7


class Judgeable(Protocol):
    """What a verdict looks at: the mean of a pair, or one transformer."""

    @property
    def no_load_loss_w(self) -> float: ...  # noqa: D102 - PairMean documents it
    @property
    def no_load_current_percent(self) -> float: ...  # noqa: D102 - PairMean documents it
    @property
    def load_loss_reference_w(self) -> float: ...  # noqa: D102 - PairMean documents it
    @property
    def impedance_reference_percent(self) -> float: ...  # noqa: D102 - PairMean documents it


@dataclass(frozen=True, slots=True)
class Judged:
    """One quantity against its guarantee; a limit is None where that side has none.

    `guard` is how far the decision rule draws the limits in; `within` has it in.
    """

    quantity: str
    value: float
    guarantee: float
    lower_limit: float | None
    upper_limit: float | None
    within: bool
    guard: float = 0.0


@dataclass(frozen=True, slots=True)
class Verdict:
    """Every judged quantity and the word for all of them; None with its reason: no verdict."""

    rows: tuple[Judged, ...]
    verdict: Word | None
    reason: str = ""
    rule: Rule = "simple"


@dataclass(frozen=True, slots=True)
class _Judge:
    rule: Rule
    expanded: Mapping[str, float]

    def row(
        self, quantity: str, value: float, promised: float, low: float | None, high: float
    ) -> Judged:
        if self.rule == "guarded" and quantity not in self.expanded:
            raise ImpossibleReading({quantity: value}, "a guarded verdict needs its uncertainty")
        guard = guard_band(self.rule, self.expanded.get(quantity, 0.0))
        within = value + guard <= high and (low is None or value - guard >= low)
        return Judged(quantity, value, promised, low, high, within, guard)

    def at_most(
        self, quantity: str, value: float, promised: float, tolerance_percent: float
    ) -> Judged:
        return self.row(quantity, value, promised, None, promised * (1 + tolerance_percent / 100))


def limits_of(
    mean: Judgeable, guarantee: Guarantee, expanded: Mapping[str, float] | None = None
) -> Verdict:
    """Judge no-load and load loss, their total, impedance and no-load current.

    Values at reference temperature, by the guarantee's rule. `simple`: a value on its limit is
    within. `guarded`: the value with its `expanded` uncertainty (by quantity, from the budgets)
    must be. A component loss has
    its tolerance only if the total holds; otherwise its guarantee is its limit.

    Raises:
        ImpossibleReading: a guarded verdict on a quantity without uncertainty.
    """
    rule, promised = guarantee.rule, guarantee
    judge = _Judge(rule, expanded or {})
    total = judge.at_most(
        "total_loss_w",
        mean.no_load_loss_w + mean.load_loss_reference_w,
        promised.no_load_loss_w + promised.load_loss_w,
        promised.total_loss_tolerance_percent,
    )
    granted = 1.0 if total.within else 0.0
    u_k = promised.impedance_percent
    around = u_k * impedance_tolerance_percent(promised) / 100
    rows = (
        judge.at_most(
            "no_load_loss_w",
            mean.no_load_loss_w,
            promised.no_load_loss_w,
            granted * promised.no_load_loss_tolerance_percent,
        ),
        judge.at_most(
            "load_loss_reference_w",
            mean.load_loss_reference_w,
            promised.load_loss_w,
            granted * promised.load_loss_tolerance_percent,
        ),
        total,
        judge.row(
            "impedance_reference_percent",
            mean.impedance_reference_percent,
            u_k,
            u_k - around,
            u_k + around,
        ),
        judge.at_most(
            "no_load_current_percent",
            mean.no_load_current_percent,
            promised.no_load_current_percent,
            promised.no_load_current_tolerance_percent,
        ),
    )
    if doubt := _implausible(mean, guarantee):
        return Verdict(rows, None, doubt, rule)
    return Verdict(rows, "within" if all(r.within for r in rows) else "outside", "", rule)


def impedance_tolerance_percent(guarantee: Guarantee) -> float:
    """The guarantee's own, or IEC 60076-1 Table 1 (from memory): 7.5 from u_k 10 %, 10 below."""
    if guarantee.impedance_tolerance_percent is not None:
        return guarantee.impedance_tolerance_percent
    return 7.5 if guarantee.impedance_percent >= 10 else 10.0


def ratio_tolerance_percent(impedance_percent: float) -> float:
    """The lesser of 0.5 % and a tenth of the actual impedance percentage (IEC 60076-1 Table 1)."""
    return min(0.5, impedance_percent / 10)


def _implausible(mean: Judgeable, guarantee: Guarantee) -> str:
    for name, value, promised in (
        ("no-load loss", mean.no_load_loss_w, guarantee.no_load_loss_w),
        ("no-load current", mean.no_load_current_percent, guarantee.no_load_current_percent),
    ):
        if value < IMPLAUSIBLY_GOOD * promised:
            share = value / promised
            return (
                f"{name} is {share:.2f} of its guarantee, implausibly good:"
                " check the LV current multiplier"
            )
    return ""
