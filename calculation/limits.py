"""Judging results against what was guaranteed (tolerances of IEC 60076-1 Table 1, or its own)."""

from dataclasses import dataclass
from typing import Literal

from calculation.nameplate import Guarantee
from calculation.results import PairMean

Word = Literal["within", "outside"]

# Below this share of the guarantee a no-load value is not good but wrong: most likely the
# multiplier of the LV current.
IMPLAUSIBLY_GOOD = 0.7


@dataclass(frozen=True, slots=True)
class Judged:
    """One quantity against its guarantee; a limit is None where that side has none."""

    quantity: str
    value: float
    guarantee: float
    lower_limit: float | None
    upper_limit: float | None
    within: bool


@dataclass(frozen=True, slots=True)
class Verdict:
    """Every judged quantity and the word for all of them; None with its reason: no verdict."""

    rows: tuple[Judged, ...]
    verdict: Word | None
    reason: str = ""


def limits_of(mean: PairMean, guarantee: Guarantee) -> Verdict:
    """Judge no-load and load loss, their total, impedance and no-load current of the pair's mean.

    Values at reference temperature, by simple acceptance: a value on its limit is within. A
    component loss has its tolerance only if the total holds; otherwise its guarantee is its limit.
    """
    total_w = mean.no_load_loss_w + mean.load_loss_reference_w
    promised_w = guarantee.no_load_loss_w + guarantee.load_loss_w
    total = _at_most("total_loss_w", total_w, promised_w, guarantee.total_loss_tolerance_percent)
    no_load_tolerance = guarantee.no_load_loss_tolerance_percent if total.within else 0.0
    load_tolerance = guarantee.load_loss_tolerance_percent if total.within else 0.0
    u_k, promised_u_k = mean.impedance_reference_percent, guarantee.impedance_percent
    around = impedance_tolerance_percent(guarantee) / 100
    low, high = promised_u_k * (1 - around), promised_u_k * (1 + around)
    rows = (
        _at_most(
            "no_load_loss_w", mean.no_load_loss_w, guarantee.no_load_loss_w, no_load_tolerance
        ),
        _at_most(
            "load_loss_reference_w",
            mean.load_loss_reference_w,
            guarantee.load_loss_w,
            load_tolerance,
        ),
        total,
        Judged("impedance_reference_percent", u_k, promised_u_k, low, high, low <= u_k <= high),
        _at_most(
            "no_load_current_percent",
            mean.no_load_current_percent,
            guarantee.no_load_current_percent,
            guarantee.no_load_current_tolerance_percent,
        ),
    )
    if doubt := _implausible(mean, guarantee):
        return Verdict(rows, None, doubt)
    return Verdict(rows, "within" if all(row.within for row in rows) else "outside")


def impedance_tolerance_percent(guarantee: Guarantee) -> float:
    """The guarantee's own, or IEC 60076-1 Table 1 (from memory): 7.5 from u_k 10 %, 10 below."""
    if guarantee.impedance_tolerance_percent is not None:
        return guarantee.impedance_tolerance_percent
    return 7.5 if guarantee.impedance_percent >= 10 else 10.0


def ratio_tolerance_percent(impedance_percent: float) -> float:
    """The lesser of 0.5 % and a tenth of the actual impedance percentage (IEC 60076-1 Table 1)."""
    return min(0.5, impedance_percent / 10)


def _at_most(quantity: str, value: float, promised: float, tolerance_percent: float) -> Judged:
    limit = promised * (1 + tolerance_percent / 100)
    return Judged(quantity, value, promised, None, limit, value <= limit)


def _implausible(mean: PairMean, guarantee: Guarantee) -> str:
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
