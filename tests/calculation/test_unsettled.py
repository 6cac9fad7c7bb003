"""What ten settling constants leave in a cooling curve; constructed."""

import numpy as np
import pytest

from calculation.cooling_curve import cooling_curve
from calculation.unsettled import unsettled_k
from tests.calculation.cooling import COPPER_K, Truth

SINCE_S = np.arange(1.0, 600.0, 3.0)


def test_the_amount_is_that_of_the_readings_before() -> None:
    """4 times 315 K at first with 30 s: what is left at every reading, to rounding."""
    left_k = 4 * 315.0 * np.exp(-SINCE_S / 30.0)
    assert unsettled_k(SINCE_S, left_k, 30.0) == pytest.approx(left_k, rel=1e-9)


def test_it_may_be_too_low() -> None:
    """A reading that settles from below keeps its sign."""
    left_k = -100.0 * np.exp(-SINCE_S / 30.0)
    assert unsettled_k(SINCE_S, left_k, 30.0) == pytest.approx(left_k, rel=1e-9)


@pytest.mark.parametrize("settling_s", [None, 0.5])
def test_nothing_is_taken_out_where_nothing_shows_it(settling_s: float | None) -> None:
    """No constant seen, or fewer than three readings between five and eight of them."""
    over_k = np.ones_like(SINCE_S)
    assert unsettled_k(SINCE_S, over_k, settling_s) == pytest.approx(np.zeros_like(SINCE_S))


def test_the_shutdown_is_free_of_it() -> None:
    """A reading five times the resistance at first, 40 s, winding of 4 min: 1 K, not several."""
    truth = Truth(constant_min=4.0, settling_s=40.0, overshoot=4.0, applied_s=(30.0,))
    readings = truth.read(np.arange(31.0, 1800.0, 2.0), 0.003, np.random.default_rng(3))
    curve = cooling_curve(readings, truth.cold(), COPPER_K)
    assert curve.weak
    assert abs(curve.winding_0_c - truth.at_zero_c) < 1.0
    assert abs(curve.winding_0_c - truth.at_zero_c) < 2 * curve.standard_k
