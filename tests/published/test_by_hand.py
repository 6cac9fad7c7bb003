"""The published readings through the reduction for hands: rows a3 to a6 and b1 to b6.

K: T transcribed, D derived. Each row has its source and remarks beside the direct check.
"""

from dataclasses import replace

import pytest

from calculation.hand.readings import HandEvaluate, HandLoad, HandNoLoad, HandRating, HandReadings
from calculation.hand.reduction import hand_result
from calculation.hand.results import HandResult

AT_FULL = HandEvaluate(load=(1.0,), power_factor=(0.8,))


def by_hand(
    rating: tuple[float, float, float],
    no_load: tuple[float, float, float],
    load: tuple[float, float, float],
    units: int = 1,
) -> HandResult:
    """VA, HV and LV volts; volts, amperes, watts of either stage."""
    power, hv, lv = rating
    return hand_result(
        HandReadings(
            HandRating(power, lv, hv, 50.0),
            HandNoLoad(*no_load),
            HandLoad(*load),
            units=units,  # type: ignore[arg-type]  # 1 or 2 by the calls below
            evaluate=AT_FULL,
        )
    )


def test_a3_pair_of_1500_va() -> None:
    """Srivastava, Ex. 3.20 p. 78 (T)."""
    unit = by_hand((1500, 220, 110), (110, 2.0, 40), (28, 6.8, 180), units=2).unit
    assert unit.core_loss_resistance_ohm == pytest.approx(605.0)
    assert unit.magnetizing_reactance_ohm == pytest.approx(111.865, abs=5e-4)
    assert unit.equivalent_resistance_ohm == pytest.approx(1.94637, abs=5e-6)
    assert unit.equivalent_reactance_lv_ohm == pytest.approx(0.167782, abs=5e-7)


def test_a4_pair_gives_what_its_unit_gives() -> None:
    """From b1 (D): all values of the pair's mean equal those of the single transformer."""
    single = by_hand((20e3, 2000, 200), (200, 4, 120), (60, 10, 300)).unit
    pair = by_hand((20e3, 2000, 200), (200, 8, 240), (120, 10, 600), units=2).unit
    assert pair == single
    assert single.equivalent_reactance_ohm == pytest.approx(5.19615, abs=5e-6)
    assert single.efficiency[0].value == pytest.approx(0.974421, abs=5e-7)
    assert single.max_efficiency is not None
    assert single.max_efficiency.load == pytest.approx(0.632456, abs=5e-7)
    assert single.max_efficiency.value == pytest.approx(0.976832, abs=5e-7)


B6 = HandReadings(
    HandRating(50e3, 208, 7200, 60.0, 3, "star", "delta"),
    HandNoLoad(208, 8, 500),
    HandLoad(370, 4.011, 600),
    units=1,
    evaluate=AT_FULL,
)


def test_b6_three_phase_star_delta() -> None:
    """G. McPherson, Ex. 3.14 p. 65 (T): 50 kVA, HV delta 7200 V, LV star 208 V."""
    unit = hand_result(B6).unit
    assert unit.core_loss_resistance_ohm == pytest.approx(86.528, abs=5e-4)
    assert unit.magnetizing_reactance_ohm == pytest.approx(15.2422, abs=5e-5)
    assert unit.equivalent_resistance_ohm == pytest.approx(37.2946, abs=5e-5)
    assert unit.equivalent_impedance_ohm == pytest.approx(159.7753, abs=5e-5)
    assert unit.equivalent_reactance_ohm == pytest.approx(155.3617, abs=5e-5)
    assert unit.core_loss_resistance_hv_ohm == pytest.approx(311_040, abs=0.5)
    assert unit.magnetizing_reactance_hv_ohm == pytest.approx(54_790.8, abs=0.05)
    assert (unit.equivalent_resistance_ohm / unit.equivalent_resistance_lv_ohm) ** 0.5 == (
        pytest.approx(59.95560, abs=5e-6)
    )
    # The source's per unit values rest on 4.011 A taken for the rated current, 4.00938 A.
    assert unit.resistance_percent == pytest.approx(1.19903, abs=5e-6)
    assert unit.reactance_percent == pytest.approx(4.99491, abs=5e-6)
    assert unit.impedance_percent == pytest.approx(5.13681, abs=5e-6)
    assert unit.regulation_percent[0].value == pytest.approx(4.00779, abs=5e-6)
    assert unit.efficiency[0].value == pytest.approx(0.97325, abs=5e-6)


def test_a5_three_phase_pair_gives_b6() -> None:
    """From b6 (D): loop 740 V a phase, totals and the LV current doubled, gives b6 exactly."""
    pair = replace(B6, units=2, no_load=HandNoLoad(208, 16, 1000), load=HandLoad(740, 4.011, 1200))
    assert hand_result(pair).unit == hand_result(B6).unit


@pytest.mark.parametrize(
    ("rating", "no_load", "load", "r_ohm", "x_ohm"),
    [
        ((20e3, 2000, 200), (200, 4, 120), (60, 10, 300), 3.0, 5.19615),
        ((75e3, 4600, 230), (230, 13.04, 521), (160.8, 16.3, 1200), 4.51654, 8.77039),
        ((20e3, 2200, 220), (220, 4.2, 148), (86, 10.5, 360), 3.26531, 7.51144),
    ],
)
def test_b1_b3_b4(
    rating: tuple[float, float, float],
    no_load: tuple[float, float, float],
    load: tuple[float, float, float],
    r_ohm: float,
    x_ohm: float,
) -> None:
    """Kothari 3.7, Hubert 2.14, Theraja 32.45 (T): equivalent impedance of the HV side."""
    unit = by_hand(rating, no_load, load).unit
    assert unit.equivalent_resistance_ohm == pytest.approx(r_ohm, abs=5e-6)
    assert unit.equivalent_reactance_ohm == pytest.approx(x_ohm, abs=5e-6)


def test_b4_regulation_and_a6_off_rated_current() -> None:
    """Theraja 32.54 (T), a6 (D): regulation 2.95538 %, load loss 269.860 W at 9.0909 A."""
    single = by_hand((20e3, 2200, 220), (220, 4.2, 148), (86, 10.5, 360)).unit
    pair = by_hand((20e3, 2200, 220), (220, 8.4, 296), (172, 10.5, 720), units=2).unit
    assert single.regulation_percent[0].value == pytest.approx(2.95538, abs=5e-6)
    assert single.efficiency[0].value == pytest.approx(0.9745484, abs=5e-8)
    assert pair.load_loss_w == pytest.approx(269.860, abs=5e-4)


def test_b2_does_not_state_a_rating() -> None:
    """Guru 4.8 (T): any rating of 4800/240 V gives the same circuit."""
    unit = by_hand((48e3, 4800, 240), (240, 2, 120), (150, 10, 600)).unit
    assert unit.core_loss_resistance_hv_ohm == pytest.approx(192e3)
    assert unit.magnetizing_reactance_hv_ohm == pytest.approx(49574, abs=0.5)
    assert unit.equivalent_reactance_lv_ohm / 2 == pytest.approx(0.0171847, abs=5e-8)


def test_b5_kosow() -> None:
    """Kosow 14.20 (T): 1.41895 mΩ on the LV side."""
    unit = by_hand((500e3, 2300, 208), (208, 85, 1800), (95, 217.4, 8200)).unit
    assert unit.equivalent_resistance_lv_ohm == pytest.approx(1.41895e-3, abs=5e-9)
    assert unit.load_loss_w == pytest.approx(8200, rel=2e-4)
