"""Regulation: rows i1 to i3. K: T transcribed, R read in the source."""

import pytest

from calculation import circuit, performance


def test_i1_langsdorf_1_14() -> None:
    """Langsdorf, Eq. 1-38 and Ex. 1-14 p. 29 (T): 5 kVA, 1100/110 V, 33 V, 85 W; 2.85 %."""
    series = circuit.series_impedance(33.0, 5000 / 1100, 85.0)
    e_r = circuit.percent(series.resistance_ohm, 1100, 5000)
    e_x = circuit.percent(series.reactance_ohm, 1100, 5000)
    assert e_r == pytest.approx(1.70000, abs=5e-6)
    assert e_x == pytest.approx(2.47184, abs=5e-6)
    expanded = performance.regulation_expansion_percent(1.0, 0.8, e_r, e_x)
    assert expanded == pytest.approx(2.84769, abs=5e-6)
    exact = performance.regulation_percent(1.0, 0.8, e_r, e_x)
    assert exact == pytest.approx(2.84756, abs=5e-6)


@pytest.mark.parametrize(
    ("power_factor", "leading", "first_order", "expansion", "exact"),
    [
        (0.8, False, 3.8, 3.8578, 3.85567),
        (1.0, False, 1.0, 1.1250, 1.12369),
        (0.8, True, -2.2, -2.0942, -2.09188),
    ],
)
def test_i2_theraja_32_55(
    power_factor: float, leading: bool, first_order: float, expansion: float, exact: float
) -> None:
    """Theraja, Ex. 32.55 p. 1165 (T, first order only; the others recomputed): e_r 1, e_x 5 %."""
    expanded = performance.regulation_expansion_percent(1.0, power_factor, 1.0, 5.0, leading)
    assert expanded == pytest.approx(expansion, abs=5e-5)
    got = performance.regulation_percent(1.0, power_factor, 1.0, 5.0, leading)
    assert got == pytest.approx(exact, abs=5e-6)
    sine = (1 - power_factor**2) ** 0.5 * (-1 if leading else 1)
    across = 5.0 * power_factor - 1.0 * sine
    assert expanded - across**2 / 200 == pytest.approx(first_order)


def test_i3_power_factor_of_greatest_regulation() -> None:
    """Public lecture notes on transformer testing (R): 104 V, 8 A, 320 W; greatest at pf 0.384."""
    series = circuit.series_impedance(104.0, 8.0, 320.0)
    worst = performance.power_factor_of_greatest_regulation(
        series.resistance_ohm, series.impedance_ohm
    )
    assert worst == pytest.approx(0.384615, abs=5e-7)
    e_r, e_x = series.resistance_ohm / 10, series.reactance_ohm / 10
    peak, before, after = (
        performance.regulation_expansion_percent(1.0, pf, e_r, e_x)
        for pf in (worst, worst - 0.02, worst + 0.02)
    )
    assert peak > before
    assert peak > after
