"""The iron's curve: rated at rated, far more at low flux, never less current for more flux."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.simulated.iron import CoreBranch, leap


def _core(k: float = 2.0, f: float = 1.0) -> CoreBranch:
    return CoreBranch(0.002, 0.011, 400.0, k, f)


@pytest.mark.parametrize(("k", "f"), [(2.0, 1.0), (1.6, 4.0), (2.4, 10.0)])
def test_rated_at_rated(k: float, f: float) -> None:
    """Whatever the curve, the branch is what was measured at rated e.m.f."""
    assert _core(k, f).admittance(400.0) == pytest.approx(0.002 - 0.011j, rel=1e-12)


@pytest.mark.parametrize(("share", "times"), [(0.0, 10.0), (0.02, 5.8), (0.06, 3.2), (0.25, 1.27)])
def test_low_flux_draws_more(share: float, times: float) -> None:
    """Iron of factor 10 draws what its docstring says, against iron that is linear."""
    y, linear = _core(f=10.0).admittance(400 * share), _core().admittance(400 * share)
    assert y.imag / linear.imag == pytest.approx(times, rel=0.01)


@given(st.floats(1.1, 50), st.floats(0, 1.2), st.floats(0, 1.2))
def test_current_never_falls_while_flux_rises(f: float, one: float, other: float) -> None:
    """More flux never needs less magnetising current."""
    low, high = sorted((one, other))
    core = _core(f=f)
    amperes = [-core.admittance(400 * x).imag * x for x in (low, high)]
    assert amperes[0] <= amperes[1] * (1 + 1e-12)


@pytest.mark.parametrize("k", [1.6, 2.0, 2.4])
def test_loss_goes_with_its_exponent(k: float) -> None:
    """Twice the e.m.f., 2^k times the loss."""
    core = _core(k)
    watts = [core.admittance(e).real * e**2 for e in (100.0, 200.0)]
    assert watts[1] / watts[0] == pytest.approx(2**k)


def test_loss_at_vanishing_flux_is_finite() -> None:
    """An exponent below 2 leads to no infinite conductance."""
    assert _core(1.2).admittance(0.0).real == _core(1.2).admittance(0.4).real


@pytest.mark.parametrize("ratio", [0.9, 0.5, -0.5])
def test_a_leap_finds_where_a_series_leads(ratio: float) -> None:
    """Three terms that close in on a value geometrically, from either side, lead to it."""
    terms = [8.0 * 2.0 ** (ratio**i) for i in range(3)]
    assert leap(*terms) == pytest.approx(8.0)


def test_a_leap_from_nowhere_stays() -> None:
    """Without a trend, or from nought, there is no leap."""
    assert leap(5.0, 5.0, 5.0) == 5.0
    assert leap(0.0, 1.0, 2.0) == 2.0
