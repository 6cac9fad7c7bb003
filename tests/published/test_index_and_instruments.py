"""Peak efficiency index (f1 to f4), displacement (g5) and instrument transformers (h6)."""

from math import cos, radians

import pytest

from calculation import peak_efficiency, performance
from calculation.errors import ImpossibleReading
from calculation.instruments import (
    Transformer,
    ct_limits,
    displacement_error_percent,
    primary_power,
    vt_limits,
)


@pytest.mark.parametrize("power_kva", sorted(peak_efficiency.MEDIUM_POWER_W))
def test_f1_tier_two_no_load_loss_is_nine_tenths_of_tier_one(power_kva: int) -> None:
    """Regulation (EU) 548/2014 Table I.1 (M): to the watt in every row; load losses fall too."""
    one, two = peak_efficiency.level(power_kva, 1), peak_efficiency.level(power_kva, 2)
    assert two.no_load_loss_w == pytest.approx(0.9 * one.no_load_loss_w, abs=0.5)
    assert two.load_loss_w < one.load_loss_w


def test_f1_rows() -> None:
    """Table I.1 (M): the row of 400 kVA, both tiers; a power between the rows has no level."""
    assert peak_efficiency.level(400, 1) == peak_efficiency.Level(4600, 430)
    assert peak_efficiency.level(400) == peak_efficiency.Level(3250, 387)
    with pytest.raises(ImpossibleReading, match="power_kva = 450"):
        peak_efficiency.level(450)


@pytest.mark.parametrize(
    ("mva", "tier_1", "tier_2"),
    [(4, 99.465, 99.532), (6.3, 99.510, 99.571), (40, 99.684, 99.724), (4.5, 99.474, 99.540)],
)
def test_f2_least_index(mva: float, tier_1: float, tier_2: float) -> None:
    """Table I.4 (M); 4.5 MVA lies half way between its neighbours."""
    assert peak_efficiency.least_index_percent(mva, 1) == pytest.approx(tier_1)
    assert peak_efficiency.least_index_percent(mva, 2) == pytest.approx(tier_2)


def test_f2_outside_the_table() -> None:
    """Table I.4 says nothing of 50 MVA."""
    with pytest.raises(ImpossibleReading, match="power_mva = 50"):
        peak_efficiency.least_index_percent(50)


@pytest.mark.parametrize(
    ("kva", "no_load_w", "load_w", "index", "at"),
    [
        (630, 540.0, 4600.0, 99.4997, 0.342624),
        (400, 387.0, 3250.0, 99.4393, 0.345075),
        (100, 130.0, 1250.0, 99.1938, 0.322490),
    ],
)
def test_f3_computed_indices(
    kva: int, no_load_w: float, load_w: float, index: float, at: float
) -> None:
    """Computed (D) from the levels of tier 2."""
    got = peak_efficiency.peak_efficiency_index_percent(kva * 1e3, no_load_w, load_w)
    assert got == pytest.approx(index, abs=5e-5)
    assert peak_efficiency.load_of_peak(no_load_w, load_w) == pytest.approx(at, abs=5e-7)


def test_f4_index_is_not_efficiency_by_output() -> None:
    """D: at the load of the peak the index is 1 - losses/(kS); by output it is 99.5022 %."""
    k = peak_efficiency.load_of_peak(540.0, 4600.0)
    index = peak_efficiency.peak_efficiency_index_percent(630e3, 540.0, 4600.0)
    assert index == pytest.approx(100 * (1 - (540 + k**2 * 4600) / (k * 630e3)))
    assert 100 * performance.efficiency(k, 1.0, 630e3, 540.0, 4600.0) == pytest.approx(
        99.5022, abs=5e-5
    )


def test_cooling_power_lowers_the_index() -> None:
    """Cooling counts as no-load loss, and at the peak beside it: the form of the index (M)."""
    plain = peak_efficiency.peak_efficiency_index_percent(20e6, 10e3, 80e3)
    cooled = peak_efficiency.peak_efficiency_index_percent(20e6, 10e3, 80e3, 500.0, 1500.0)
    assert cooled == pytest.approx(
        peak_efficiency.peak_efficiency_index_percent(20e6, 12e3, 80e3), rel=1e-12
    )
    assert cooled < plain


@pytest.mark.parametrize(
    ("power_factor", "percent"),
    [
        (0.01, 2.9087),
        (0.02, 1.4542),
        (0.03, 0.9692),
        (0.05, 0.5810),
        (0.1, 0.2894),
        (0.2, 0.1425),
        (0.5, 0.0504),
    ],
)
def test_g5_one_minute_of_arc(power_factor: float, percent: float) -> None:
    """D: relative error of a loss per minute of phase displacement."""
    assert displacement_error_percent(power_factor) == pytest.approx(percent, abs=5e-5)


@pytest.mark.parametrize(
    ("accuracy_class", "share", "ratio", "minutes"),
    [
        ("0.1", 5, 0.4, 15),
        ("0.1", 120, 0.1, 5),
        ("0.2", 20, 0.35, 15),
        ("0.5", 100, 0.5, 30),
        ("1", 5, 3.0, 180),
        ("0.2S", 1, 0.75, 30),
        ("0.5S", 20, 0.5, 30),
        ("0.2", 60, 0.275, 12.5),
    ],
)
def test_h6_ct_limits(accuracy_class: str, share: float, ratio: float, minutes: float) -> None:
    """IEC 61869-2 Table 201 (T); between its points the limits run straight."""
    limits = ct_limits(accuracy_class, share)
    assert limits.ratio_percent == pytest.approx(ratio)
    assert limits.displacement_minutes == pytest.approx(minutes)


@pytest.mark.parametrize(
    ("accuracy_class", "ratio", "minutes"),
    [("0.1", 0.1, 5), ("0.2", 0.2, 10), ("0.5", 0.5, 20), ("1", 1.0, 40)],
)
def test_h6_vt_limits(accuracy_class: str, ratio: float, minutes: float) -> None:
    """IEC 61869-3 (M), 80 to 120 % of rated voltage."""
    limits = vt_limits(accuracy_class, 100)
    assert (limits.ratio_percent, limits.displacement_minutes) == (ratio, minutes)


def test_h6_outside_the_class() -> None:
    """A class says nothing below its lowest current, nor of a class that doesn't exist."""
    with pytest.raises(ImpossibleReading, match="percent_of_rated_current = 4"):
        ct_limits("0.2", 4)
    with pytest.raises(ImpossibleReading, match="percent_of_rated_voltage = 70"):
        vt_limits("0.2", 70)
    with pytest.raises(ImpossibleReading, match=r"no CT of class '0\.3'"):
        ct_limits("0.3", 100)
    with pytest.raises(ImpossibleReading, match=r"no VT of class '0\.3'"):
        vt_limits("0.3")


def test_h6_sign_of_the_displacements() -> None:
    """D: read at 87 degrees, VT +10', CT +4': cos phi 0.0540788, uncorrected 3.22 % low."""
    read = cos(radians(87))
    assert read == pytest.approx(0.0523360, abs=5e-8)
    vt, ct = Transformer(displacement_minutes=10), Transformer(displacement_minutes=4)
    true = primary_power(100.0, 10.0, 1000 * read, vt, ct) / 1000
    assert true == pytest.approx(0.0540788, abs=5e-8)
    assert 100 * (1 - read / true) == pytest.approx(3.22, abs=5e-3)
