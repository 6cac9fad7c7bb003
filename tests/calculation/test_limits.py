"""Verdicts against guarantees and IEC 60076-1 Table 1 (total loss and ratio T, rest M)."""

from dataclasses import replace

import pytest

from calculation.errors import ImpossibleReading
from calculation.limits import limits_of, ratio_tolerance_percent
from calculation.nameplate import Guarantee
from calculation.results import PairMean

GUARANTEE = Guarantee(300.0, 1000.0, 4.0, 2.0)
BLANK = dict.fromkeys((name for name in PairMean.__dataclass_fields__), 1.0)
ON_GUARANTEE = PairMean(
    **BLANK  # type: ignore[arg-type]  # only the judged quantities matter here
    | {
        "no_load_loss_w": 300.0,
        "load_loss_reference_w": 1000.0,
        "impedance_reference_percent": 4.0,
        "no_load_current_percent": 2.0,
    }
)


@pytest.mark.parametrize(
    ("change", "verdict"),
    [
        ({}, "within"),
        ({"no_load_loss_w": 345.0}, "within"),
        ({"no_load_loss_w": 345.1}, "outside"),
        ({"load_loss_reference_w": 1130.0}, "within"),
        ({"load_loss_reference_w": 1149.0}, "outside"),
        ({"impedance_reference_percent": 4.4}, "within"),
        ({"impedance_reference_percent": 4.41}, "outside"),
        ({"impedance_reference_percent": 3.59}, "outside"),
        ({"no_load_current_percent": 2.6}, "within"),
        ({"no_load_current_percent": 2.61}, "outside"),
        ({"no_load_loss_w": 209.0}, None),
        ({"no_load_current_percent": 1.39}, None),
        ({"no_load_loss_w": 210.0}, "within"),
    ],
)
def test_word_of_the_verdict(change: dict[str, float], verdict: str | None) -> None:
    """Component +15, total +10, impedance +/-10, current +30 %; below 0.7 no verdict."""
    assert limits_of(replace(ON_GUARANTEE, **change), GUARANTEE).verdict == verdict  # type: ignore[arg-type]  # names and numbers of the table above


def test_component_has_its_tolerance_only_if_the_total_holds() -> None:
    """Both components 12 % over: each below +15 %, yet the total is not, so neither is within."""
    mean = replace(ON_GUARANTEE, no_load_loss_w=336.0, load_loss_reference_w=1120.0)
    rows = {row.quantity: row for row in limits_of(mean, GUARANTEE).rows}
    assert not rows["total_loss_w"].within
    assert not rows["no_load_loss_w"].within
    assert rows["no_load_loss_w"].upper_limit == 300.0


def test_no_verdict_says_why() -> None:
    """Half the guaranteed no-load current points at the multiplier of the LV current."""
    verdict = limits_of(replace(ON_GUARANTEE, no_load_current_percent=1.0), GUARANTEE)
    assert verdict.reason.startswith("no-load current is 0.50 of its guarantee")
    assert "LV current multiplier" in verdict.reason


@pytest.mark.parametrize(("u_k", "low"), [(9.99, 8.991), (10.0, 9.25)])
def test_impedance_tolerance_narrows_at_ten_percent(u_k: float, low: float) -> None:
    """e5: exactly 10.0 % has the narrow tolerance."""
    rows = limits_of(ON_GUARANTEE, replace(GUARANTEE, impedance_percent=u_k)).rows
    row = next(row for row in rows if row.quantity == "impedance_reference_percent")
    assert row.lower_limit == pytest.approx(low)


def test_the_guarantees_own_tolerance_wins() -> None:
    """A guarantee that allows 5 % on impedance is held to 5 %."""
    own = replace(GUARANTEE, impedance_tolerance_percent=5.0)
    mean = replace(ON_GUARANTEE, impedance_reference_percent=4.3)
    assert limits_of(mean, own).verdict == "outside"


@pytest.mark.parametrize(("u_k", "limit"), [(4.0, 0.4), (5.0, 0.5), (6.0, 0.5)])
def test_ratio_limit(u_k: float, limit: float) -> None:
    """e5: the lesser of 0.5 % and a tenth of the impedance percentage."""
    assert ratio_tolerance_percent(u_k) == pytest.approx(limit)


def test_guarded_rule_draws_the_limits_in() -> None:
    """336 W with U 10 W against 345 W: within by the simple rule, outside by the guarded one."""
    mean = replace(ON_GUARANTEE, no_load_loss_w=336.0)
    expanded = {
        "no_load_loss_w": 10.0,
        "load_loss_reference_w": 5.0,
        "total_loss_w": 11.0,
        "impedance_reference_percent": 0.02,
        "no_load_current_percent": 0.01,
    }
    assert limits_of(mean, GUARANTEE).verdict == "within"
    guarded = limits_of(mean, replace(GUARANTEE, rule="guarded"), expanded)
    assert guarded.verdict == "outside"
    assert guarded.rule == "guarded"
    row = next(row for row in guarded.rows if row.quantity == "no_load_loss_w")
    assert (row.guard, row.within) == (10.0, False)


def test_guarded_rule_needs_uncertainties() -> None:
    """Nothing can be guarded by an uncertainty that nobody stated."""
    with pytest.raises(ImpossibleReading, match="total_loss_w"):
        limits_of(ON_GUARANTEE, replace(GUARANTEE, rule="guarded"))
