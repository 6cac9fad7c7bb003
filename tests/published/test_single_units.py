"""Open- and short-circuit tests: rows b1 to b5 and b8. All T (transcribed) unless said."""

import pytest

from calculation import circuit, performance


def test_b1_kothari_3_7_and_3_11() -> None:
    """Kothari & Nagrath, Ex. 3.7 p. 164 and 3.11 p. 172: 20 kVA, 2000/200 V."""
    core = circuit.core_branch(200.0, 4.0, 120.0)
    assert core.current_a / core.voltage_v == pytest.approx(0.02)
    assert 1 / core.core_loss_resistance_ohm == pytest.approx(0.003)
    assert 1 / core.magnetizing_reactance_ohm == pytest.approx(0.0197737, abs=5e-8)
    series = circuit.series_impedance(60.0, 10.0, 300.0)
    assert series.impedance_ohm == pytest.approx(6.0)
    assert series.resistance_ohm == pytest.approx(3.0)
    assert series.reactance_ohm == pytest.approx(5.1962, abs=5e-5)
    assert circuit.referred(series.resistance_ohm, 0.1) == pytest.approx(0.0300, abs=5e-5)
    assert circuit.referred(series.reactance_ohm, 0.1) == pytest.approx(0.0520, abs=5e-5)
    full = performance.efficiency(1.0, 0.8, 20e3, 120.0, 300.0)
    assert full == pytest.approx(0.974421, abs=5e-7)
    best = performance.load_of_maximum_efficiency(120.0, 300.0)
    assert best == pytest.approx(0.632456, abs=5e-7)
    assert performance.efficiency(best, 0.8, 20e3, 120.0, 300.0) == pytest.approx(
        0.976832, abs=5e-7
    )


def test_b2_guru_4_8() -> None:
    """Guru & Hiziroglu, Ex. 4.8 p. 236: 4800/240 V, impedance halved between the sides."""
    core = circuit.core_branch(240.0, 2.0, 120.0)
    assert core.core_loss_resistance_ohm == pytest.approx(480.0)
    assert core.magnetizing_reactance_ohm == pytest.approx(123.935, abs=5e-4)
    assert circuit.referred(core.core_loss_resistance_ohm, 20) == pytest.approx(192e3)
    assert circuit.referred(core.magnetizing_reactance_ohm, 20) == pytest.approx(49574, abs=0.5)
    series = circuit.series_impedance(150.0, 10.0, 600.0)
    assert series.resistance_ohm / 2 == pytest.approx(3.0)
    assert series.reactance_ohm / 2 == pytest.approx(6.87386, abs=5e-6)
    assert circuit.referred(series.resistance_ohm / 2, 1 / 20) == pytest.approx(0.0075)
    assert circuit.referred(series.reactance_ohm / 2, 1 / 20) == pytest.approx(0.0171847, abs=5e-8)


def test_b3_hubert_2_14() -> None:
    """Hubert, Ex. 2.14 p. 78: 75 kVA, 4600/230 V. The source's X_m 17.97 divides by the rounded
    current; 17.9103 is right.
    """
    core = circuit.core_branch(230.0, 13.04, 521.0)
    assert core.core_loss_resistance_ohm == pytest.approx(101.54, abs=5e-3)
    assert core.magnetizing_current_a == pytest.approx(12.8417, abs=5e-5)
    assert core.magnetizing_reactance_ohm == pytest.approx(17.9103, abs=5e-5)
    series = circuit.series_impedance(160.8, 16.3, 1200.0)
    assert series.resistance_ohm == pytest.approx(4.51654, abs=5e-6)
    assert series.reactance_ohm == pytest.approx(8.77, abs=5e-3)
    e_r, e_x, e_z = (
        circuit.percent(ohm, 4600, 75e3)
        for ohm in (series.resistance_ohm, series.reactance_ohm, series.impedance_ohm)
    )
    assert e_r == pytest.approx(1.60085, abs=5e-6)
    assert e_x == pytest.approx(3.10860, abs=5e-6)
    assert e_z == pytest.approx(3.49658, abs=5e-6)
    drop = performance.regulation_percent(1.0, 0.75, e_r, e_x)
    assert drop == pytest.approx(3.26463, abs=5e-6)


def test_b4_theraja_32_45_and_32_54() -> None:
    """Theraja, Ex. 32.45 p. 1159, 32.54 p. 1164: 20 kVA, 2200/220 V. The source's efficiency at
    half load, 95.036 %, keeps the full-load copper loss: 97.3773 % is right.
    """
    series = circuit.series_impedance(86.0, 10.5, 360.0)
    assert series.resistance_ohm == pytest.approx(3.265306, abs=5e-7)
    assert series.reactance_ohm == pytest.approx(7.511436, abs=5e-7)
    assert series.resistance_ohm / series.impedance_ohm == pytest.approx(0.398671, abs=5e-7)
    e_r = circuit.percent(series.resistance_ohm, 2200, 20e3)
    e_x = circuit.percent(series.reactance_ohm, 2200, 20e3)
    exact = performance.regulation_percent(1.0, 0.8, e_r, e_x)
    assert exact == pytest.approx(2.95538, abs=5e-6)
    expanded = performance.regulation_expansion_percent(1.0, 0.8, e_r, e_x)
    assert expanded == pytest.approx(2.95578, abs=5e-6)
    assert e_r * 0.8 + e_x * 0.6 == pytest.approx(2.94178, abs=5e-6)
    assert performance.efficiency(1.0, 0.8, 20e3, 148.0, 269.860) == pytest.approx(
        0.9745484, abs=5e-8
    )
    assert performance.efficiency(0.5, 0.8, 20e3, 148.0, 269.860) == pytest.approx(
        0.973773, abs=5e-7
    )


def test_b5_kosow_14_20_to_14_31() -> None:
    """Kosow, 2nd ed., Ex. 14.20 to 14.31 pp. 515-535: 500 kVA, 2300/208 V."""
    series = circuit.series_impedance(95.0, 217.4, 8200.0)
    to_lv = circuit.referred(series.resistance_ohm, 208 / 2300)
    assert to_lv == pytest.approx(1.41895e-3, abs=5e-9)
    # The LV winding has half of it, and carried the open-circuit current.
    assert 85**2 * to_lv / 2 == pytest.approx(5.12594, abs=5e-6)
    assert 1800 - 85**2 * to_lv / 2 == pytest.approx(1794.87, abs=5e-3)
    for load, pf, percent in (
        (1.0, 1.0, 98.0392),
        (1.0, 0.8, 97.5610),
        (0.75, 1.0, 98.3187),
        (0.25, 0.8, 97.7398),
        (1.25, 0.8, 97.1605),
    ):
        got = 100 * performance.efficiency(load, pf, 500e3, 1800.0, 8200.0)
        assert got == pytest.approx(percent, abs=5e-5)
    best = performance.load_of_maximum_efficiency(1800.0, 8200.0)
    assert best == pytest.approx(0.468521, abs=5e-7)
    for pf, percent in ((1.0, 98.4865), (0.8, 98.1153)):
        got = 100 * performance.efficiency(best, pf, 500e3, 1800.0, 8200.0)
        assert got == pytest.approx(percent, abs=5e-5)


def test_b8_verma_3_9_predicts_the_readings() -> None:
    """Verma & Ahuja, Ex. 3.9 p. 282: 4 kVA, 460/230 V, inverse. The transcription divides
    integers; these are the recomputed readings.
    """
    current, power = circuit.no_load_reading(460.0, 650.0, 250.0)
    assert current == pytest.approx(1.97140, abs=5e-6)
    assert power == pytest.approx(325.538, abs=5e-4)
    resistance = 0.4 + circuit.referred(0.1, 2)
    x = 0.5 + circuit.referred(0.12, 2)
    rated = 4000 / 460
    assert rated == pytest.approx(8.69565, abs=5e-6)
    voltage, power = circuit.short_circuit_reading(rated, resistance, x)
    assert voltage == pytest.approx(11.0006, abs=5e-5)
    assert power == pytest.approx(60.4915, abs=5e-5)
