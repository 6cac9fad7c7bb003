"""Whether two units differ: equal pairs are not told apart, unlike ones are."""

import numpy as np
import pytest

from calculation.errors import ImpossibleReading
from calculation.pair import lv_currents
from calculation.stated import Stated
from calculation.twins import differences, gradient_effect


def kelvin(value: float, expanded: float = 0.8) -> Stated:
    return Stated(value, expanded, 2.0)


def test_gradient_effect_of_unequal_currents() -> None:
    """20 K at rated current, ±5 %, y 1.6 of IEC 60076-2 (M): 20 (1.05^1.6 - 0.95^1.6) = 3.2 K."""
    effect = gradient_effect(20.0, 105.0, 95.0, 100.0, 1.6)
    assert effect.value == pytest.approx(3.199, abs=0.001)
    # With y 0.3 more it is 3.799 K, and y may be anywhere up to that: rectangular.
    assert effect.expanded == pytest.approx(0.95 * 0.600, abs=0.005)
    assert gradient_effect(20.0, 95.0, 105.0, 100.0, 1.6).value == pytest.approx(-3.199, abs=0.001)


def test_no_load_current_in_phase_with_the_loop_explains_all_there_is() -> None:
    """I_0 3 % in phase: LV currents 1.03 and 0.97, and the gradients that they make of one unit."""
    a, b = (abs(phasor) for phasor in lv_currents(3.0 + 0j, 10.0 + 0j, 10.0))
    assert (a, b) == pytest.approx((103.0, 97.0))
    explained = gradient_effect(18.0, a, b, 100.0, 1.6)
    of_a, of_b = ({"gradient_lv": kelvin(18.0 * (i / 100) ** 1.6)} for i in (a, b))
    (found,) = differences(of_a, of_b, {"gradient_lv": explained})
    assert found.difference_k > 1.5
    assert found.left_k.value == pytest.approx(0.0, abs=1e-9)
    assert found.warmer is None
    assert "agree" in found.words
    (left,) = differences(of_a, of_b, {})
    assert left.warmer == "a"


def test_which_quantity_of_which_unit_is_warmer() -> None:
    a = {"top_liquid": kelvin(50.0), "winding_hv": kelvin(60.0)}
    b = {"top_liquid": kelvin(50.5), "winding_hv": kelvin(63.0)}
    found = {one.name: one for one in differences(a, b, {})}
    assert found["top_liquid"].warmer is None
    assert found["winding_hv"].warmer == "b"
    assert found["winding_hv"].difference_k == -3.0
    assert found["winding_hv"].words.startswith("winding_hv: unit b is warmer")
    assert found["winding_hv"].left_k.expanded == pytest.approx(0.8 * 2**0.5)


def test_equal_pairs_are_told_apart_five_times_in_a_hundred() -> None:
    """Five quantities of 4000 equal pairs: a limit for one alone would tell 23 % of them apart."""
    rng = np.random.default_rng(8)
    names = ("top_liquid", "winding_hv", "winding_lv", "gradient_hv", "gradient_lv")
    apart = 0
    for _ in range(4000):
        a, b = ({n: kelvin(50 + 0.4 * rng.standard_normal()) for n in names} for _ in "ab")
        apart += any(one.warmer for one in differences(a, b, {}))
    # 1.96 covers 95 % of a normal sum where the stated factor is 2.
    assert 0.03 < apart / 4000 < 0.055


def test_refusals() -> None:
    with pytest.raises(ImpossibleReading, match="one unit only"):
        differences({"top_liquid": kelvin(1)}, {}, {})
    with pytest.raises(ImpossibleReading, match="one unit only"):
        differences({"a": kelvin(1)}, {"a": kelvin(1)}, {"b": kelvin(1)})
    for values in ((0.0, 1.0, 1.0, 1.0, 1.6), (1.0, 1.0, 0.0, 1.0, 1.6), (1.0, 1.0, 1.0, 1.0, 0.0)):
        with pytest.raises(ImpossibleReading, match="above zero"):
            gradient_effect(*values)
