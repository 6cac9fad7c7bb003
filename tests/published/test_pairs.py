"""Back-to-back pairs: rows a1 to a4 and a6. K: T transcribed, R read, D derived."""

import pytest

from calculation import circuit, correction, pair, performance


def test_a1_theraja_32_58_pair_of_250_kva() -> None:
    """Theraja vol. II, Ex. 32.58 p. 1168 (T): 5.0 and 7.5 kW give 97.0187 % at 0.75, pf 0.8."""
    p0, pk = 5000 / 2, 7500 / 2
    assert performance.efficiency(0.75, 0.8, 250e3, p0, pk) == pytest.approx(0.970187, abs=5e-7)
    assert performance.load_of_maximum_efficiency(p0, pk) == pytest.approx(0.81650, abs=5e-6)


def test_a2_lecture_notes_pair_of_200_kva() -> None:
    """Public lecture notes on losses and efficiency, problem 9 (R): 97.56 % at full load."""
    assert performance.efficiency(1.0, 1.0, 200e3, 2500.0, 2500.0) == pytest.approx(
        0.9756, abs=5e-5
    )
    assert performance.load_of_maximum_efficiency(2500.0, 2500.0) == 1.0


def test_a3_srivastava_3_20_pair_of_1500_va() -> None:
    """Srivastava, Ex. 3.20 p. 78 (T; the transcription mixes degrees and radians: recomputed)."""
    core = circuit.core_branch(110.0, 2.0 / 2, 40.0 / 2)
    assert core.loss_w == 20.0
    assert core.power_factor == pytest.approx(0.181818, abs=5e-7)
    assert core.core_loss_resistance_ohm == pytest.approx(605.0, abs=1e-9)
    assert core.magnetizing_reactance_ohm == pytest.approx(111.865, abs=5e-4)
    series = circuit.series_impedance(28.0 / 2, 6.8, 180.0 / 2)
    assert series.resistance_ohm == pytest.approx(1.94637, abs=5e-6)
    assert series.impedance_ohm == pytest.approx(2.05882, abs=5e-6)
    assert series.reactance_ohm == pytest.approx(0.671126, abs=5e-7)
    to_lv = 110 / 220
    assert circuit.referred(series.resistance_ohm, to_lv) == pytest.approx(0.486592, abs=5e-7)
    assert circuit.referred(series.reactance_ohm, to_lv) == pytest.approx(0.167782, abs=5e-7)
    assert performance.efficiency(1.0, 1.0, 1500, 20.0, 90.0) == pytest.approx(0.931677, abs=5e-7)
    assert performance.efficiency(1.0, 0.8, 1500, 20.0, 90.0) == pytest.approx(0.916031, abs=5e-7)


def test_a3_currents_of_each_lv_winding() -> None:
    """Same: each LV winding carries half the supply current plus and minus the loop current."""
    no_load = circuit.core_branch(110.0, 1.0, 20.0)
    short = circuit.series_impedance(14.0, 6.8, 90.0)
    a, b = pair.lv_currents(
        complex(no_load.core_loss_current_a, -no_load.magnetizing_current_a),
        6.8 * complex(short.resistance_ohm, -short.reactance_ohm) / short.impedance_ohm,
        ratio=2.0,
    )
    for got, published in (
        (a, 13.0390 - 5.4166j),
        (b, -12.6753 + 3.4499j),
        (a + b, 0.3636 - 1.9667j),
    ):
        assert got.real == pytest.approx(published.real, abs=5e-5)
        assert got.imag == pytest.approx(published.imag, abs=5e-5)
    assert abs(a) == pytest.approx(14.119, abs=5e-4)
    assert abs(b) == pytest.approx(13.136, abs=5e-4)


def test_a4_one_unit_doubled_gives_that_unit() -> None:
    """From b1, the readings of one unit doubled (D): the mean of the pair is that unit."""
    core = circuit.core_branch(200.0, 8.0 / 2, 240.0 / 2)
    assert core.core_loss_resistance_ohm == pytest.approx(333.333, abs=5e-4)
    assert core.magnetizing_reactance_ohm == pytest.approx(50.5722, abs=5e-5)
    series = circuit.series_impedance(120.0 / 2, 10.0, 600.0 / 2)
    assert series.resistance_ohm == pytest.approx(3.0)
    assert series.impedance_ohm == pytest.approx(6.0)
    assert series.reactance_ohm == pytest.approx(5.19615, abs=5e-6)


def test_a6_off_rated_loop_current() -> None:
    """From b4, a pair off its rated current (D): loss goes with the square, impedance doesn't."""
    series = circuit.series_impedance(172.0 / 2, 10.5, 720.0 / 2)
    assert series.resistance_ohm == pytest.approx(3.26531, abs=5e-6)
    assert series.reactance_ohm == pytest.approx(7.51144, abs=5e-6)
    rated = correction.at_rated_current(360.0, 10.5, 20_000 / 2200)
    assert rated == pytest.approx(269.860, abs=5e-4)
