"""All-day efficiency and a loaded transformer: rows b5', b7, b9 (T) and c1, c2, c8."""

import pytest

from calculation import correction, performance, resistance, t_circuit
from calculation.performance import Hours


def test_b5_all_day() -> None:
    """Kosow, Ex. 14.31 p. 535 (T): core 43.2, copper 112.87, output 7142 kWh, 97.9 %."""
    cycle = [
        Hours(4, 0.2, 0.7),
        Hours(4, 0.4, 0.8),
        Hours(6, 0.8, 0.9),
        Hours(6, 1.0, 1.0),
        Hours(2, 1.25, 0.85),
        Hours(2, 0.0, 1.0),
    ]
    day = performance.all_day(cycle, 500e3, 1800, 8200)
    assert day.core_wh == pytest.approx(43.2e3)
    assert day.winding_wh == pytest.approx(112.873e3, abs=0.5)
    assert day.output_wh == pytest.approx(7142.5e3, abs=50)
    assert day.efficiency == pytest.approx(0.978616, abs=5e-7)


def test_b7_all_day() -> None:
    """Theraja, Ex. 32.83 p. 1184 (T): ordinary 98.68421 %, all-day 97.14805 %."""
    assert performance.efficiency(1.0, 1.0, 150e3, 1e3, 1e3) == pytest.approx(0.9868421, abs=5e-8)
    cycle = [Hours(3, 50 / 150), Hours(8, 100 / 150), Hours(13, 0.0)]
    day = performance.all_day(cycle, 150e3, 1000, 1000)
    assert day.efficiency == pytest.approx(0.9714805, abs=5e-8)


def test_b9_t_circuit_feeding_a_load() -> None:
    """Standard type 0.4 MVA 20/0.4 kV of a general-purpose load-flow library (T, run there)."""
    series = t_circuit.series_of(6.0, 0.01425)
    assert series.real * 400 == pytest.approx(5.70)
    assert 100 * series.imag == pytest.approx(5.82833, abs=5e-6)
    core = t_circuit.core_of(0.3375, 1.35 / 400)
    fed = t_circuit.feed(1.0, (0.32 + 0.24j) / 0.4, series, core)
    assert abs(fed.lv_voltage) == pytest.approx(0.9503808, abs=1e-6)
    assert fed.input_power.real * 0.4 == pytest.approx(0.3276096, abs=1e-6)
    assert fed.loss * 400 == pytest.approx(7.6096, abs=5e-5)


@pytest.mark.parametrize(
    ("constant_k", "rise_k"),
    [(1 / 0.00426, 59.5887), (235.0, 59.6491), (234.5, 59.5322), (225.0, 57.3099)],
)
def test_c1_kulshreshtha_2_18(constant_k: float, rise_k: float) -> None:
    """Kulshreshtha, Ex. 2.18 p. 32 (T; 59.59 K with alpha_0 0.00426): 3.42 to 4.22 ohm."""
    got = resistance.winding_rise(4.22, 3.42, 20.0, constant_k)
    assert got == pytest.approx(rise_k, abs=5e-5)


def test_c2_muthusubramanian_1_7() -> None:
    """Muthusubramanian & Salivahanan, Ex. 1.7 p. 22 (T): alpha_0 0.004, 45 to 48.5 ohm, 41 degC."""
    constant = correction.temperature_constant_of(0.004)
    assert resistance.winding_temperature(48.5, 45.0, 20.0, constant) == pytest.approx(41.0)


def test_c8_coil_when_hot() -> None:
    """Public course notes on electrical circuits (R): alpha_20 0.0037, 50 ohm, 59.3 ohm at 70 degC.

    With T_k 225 the same coil has 60.2041 ohm: a constant at 20 degC is not one at 0.
    """
    constant = correction.temperature_constant_of(0.0037, at_c=20.0)
    assert constant == pytest.approx(250.27, abs=5e-3)
    assert correction.resistance_at(50.0, 20.0, 70.0, constant) == pytest.approx(59.25)
    assert correction.resistance_at(50.0, 20.0, 70.0, 225.0) == pytest.approx(60.2041, abs=5e-5)
