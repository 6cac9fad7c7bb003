"""Three phases, instruments, resistance, loaded circuit: what they refuse and how they add up."""

from cmath import rect
from math import cos, radians

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calculation import correction, peak_efficiency, resistance, t_circuit, three_phase
from calculation.decision import guard_band, probability_outside, risk_at_limit
from calculation.errors import ImpossibleReading
from calculation.instruments import (
    Transformer,
    less_current_circuit,
    primary_power,
    reactive_power,
)
from calculation.performance import Hours, all_day
from calculation.three_phase import PhaseReading


@given(
    line_v=st.floats(100, 1e5),
    line_a=st.floats(0.1, 1e3),
    connection=st.sampled_from(["star", "delta"]),
)
def test_apparent_power_is_that_of_the_lines(line_v: float, line_a: float, connection: str) -> None:
    """Three times winding voltage times winding current is sqrt(3) U I, however connected."""
    phase = three_phase.phase_reading(line_v, line_a, 0.0, connection)  # type: ignore[arg-type]  # both words
    total = 3 * phase.voltage_v * phase.current_a
    assert total == pytest.approx(3**0.5 * line_v * line_a, rel=1e-12)
    back = three_phase.line_current(phase.current_a, connection)  # type: ignore[arg-type]  # both words
    assert back == pytest.approx(line_a, rel=1e-12)


def test_mean_of_phases_keeps_the_total() -> None:
    """Uneven phases: mean voltage and current, a third of the total power."""
    phases = [PhaseReading(230.0 + k, 5.0 - k / 10, 100.0 * k) for k in range(3)]
    mean = three_phase.mean_of_phases(phases)
    assert (mean.voltage_v, mean.current_a, 3 * mean.power_w) == pytest.approx((231.0, 4.9, 300.0))
    with pytest.raises(ImpossibleReading, match="phases = 2"):
        three_phase.mean_of_phases(phases[:2])


@given(phi=st.floats(0.1, 1.5), watts=st.floats(10, 1e4))
def test_two_wattmeters_know_the_power_factor(phi: float, watts: float) -> None:
    """U I cos(30 - phi) and U I cos(30 + phi) give cos phi back (a textbook identity)."""
    pair = [watts * cos(radians(30) - phi), watts * cos(radians(30) + phi)]
    assert three_phase.two_wattmeter_power_factor(*pair) == pytest.approx(cos(phi), rel=1e-9)


@pytest.mark.parametrize(
    ("watts", "phases", "needed"),
    [({"w1": 5.0}, 3, "two or three"), ({"w1": 5.0, "w2": 6.0}, 1, "one wattmeter")],
)
def test_the_number_of_wattmeters_must_measure_a_total(
    watts: dict[str, float], phases: int, needed: str
) -> None:
    """One wattmeter on three phases, or two on one, measures nothing."""
    with pytest.raises(ImpossibleReading, match=needed):
        three_phase.total_power(watts, phases)


def test_phase_ratio() -> None:
    """7200 V delta to 208 V star turns 59.96 to one."""
    ratio = three_phase.phase_ratio(7200, 208, hv="delta", lv="star")
    assert ratio == pytest.approx(59.95560, abs=5e-6)


@given(
    pf=st.floats(0.02, 0.9),
    vt=st.floats(-60, 60),
    ct=st.floats(-60, 60),
)
def test_displacement_there_and_back(pf: float, vt: float, ct: float) -> None:
    """Turning a reading by the displacements and back gives it again, to fifth order."""
    u, i, p = 100.0, 5.0, 500.0 * pf
    there = primary_power(u, i, p, Transformer(1, 0, vt), Transformer(1, 0, ct))
    # Beyond these the angle turned passes zero or a right angle: no inductive load any more.
    assume(0 < there < 0.99 * u * i)
    back = primary_power(u, i, there, Transformer(1, 0, -vt), Transformer(1, 0, -ct))
    assert back == pytest.approx(p, rel=1e-7)


def test_ratio_errors_are_taken_out() -> None:
    """A VT that reads 0.2 % high and a CT that reads 0.5 % low leave the true power."""
    vt, ct = Transformer(10.0, 0.2), Transformer(20.0, -0.5)
    assert primary_power(100.0, 5.0, 100.0, vt, ct) == pytest.approx(20_000 / 1.002 / 0.995)
    assert less_current_circuit(100.0, 5.0, 0.1) == pytest.approx(97.5)


def test_power_above_apparent_has_no_reactive_part() -> None:
    """Refused by name, not given as NaN."""
    with pytest.raises(ImpossibleReading, match="power_w = 501"):
        reactive_power(100.0, 5.0, 501.0)


def test_resistance_that_falls_on_heating() -> None:
    """A winding that got colder while heated was read wrongly."""
    with pytest.raises(ImpossibleReading, match=r"hot_ohm = 1\.2, cold_ohm = 1\.25"):
        resistance.winding_rise(1.20, 1.25, 20.0, 235.0)


@given(
    cold=st.floats(0.01, 100), rise=st.floats(0.0, 120), constant=st.sampled_from([225.0, 235.0])
)
def test_rise_of_a_resistance_carried_up(cold: float, rise: float, constant: float) -> None:
    """A resistance carried to a temperature shows that temperature."""
    hot = correction.resistance_at(cold, 20.0, 20.0 + rise, constant)
    assert resistance.winding_temperature(hot, cold, 20.0, constant) == pytest.approx(20.0 + rise)


def test_cold_resistance_of_readings_at_different_temperatures() -> None:
    """Readings of one winding at 20, 21 and 22 degrees agree once carried to their mean."""
    readings = [correction.resistance_at(1.0, 20.0, c, 235.0) for c in (20.0, 21.0, 22.0)]
    cold = resistance.cold_resistance(readings, [20.0, 21.0, 22.0], 235.0)
    assert cold.temperature_c == pytest.approx(21.0)
    assert cold.resistance_ohm == pytest.approx(readings[1])
    assert cold.spread_ohm == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(ImpossibleReading, match="needs its temperature"):
        resistance.cold_resistance(readings, [20.0], 235.0)
    with pytest.raises(ImpossibleReading, match=r"cold_ohm\[0\]"):
        resistance.cold_resistance([-1.0], [20.0], 235.0)


@given(load=st.floats(0.0, 1.2), angle=st.floats(-1.2, 1.2))
def test_a_loaded_circuit_balances_its_energy(load: float, angle: float) -> None:
    """What goes in is what comes out and what is lost, in windings and core."""
    series, core = t_circuit.series_of(6.0, 0.012), t_circuit.core_of(1.0, 0.002)
    fed = t_circuit.feed(1.0, rect(load, angle), series, core)
    current = (rect(load, angle) / fed.lv_voltage).conjugate()
    point = fed.lv_voltage + series / 2 * current
    taken = current + core * point
    lost = series.real / 2 * (abs(current) ** 2 + abs(taken) ** 2) + core.real * abs(point) ** 2
    assert fed.loss == pytest.approx(lost, rel=1e-9, abs=1e-12)
    assert fed.input_power.real == pytest.approx(rect(load, angle).real + lost, abs=1e-9)


def test_what_a_circuit_refuses() -> None:
    """Impedance below resistance, cos phi above 1, a load beyond what can be carried."""
    with pytest.raises(ImpossibleReading, match="impedance below resistance"):
        t_circuit.series_of(1.0, 0.02)
    with pytest.raises(ImpossibleReading, match="cos φ"):
        t_circuit.core_of(0.1, 0.002)
    with pytest.raises(ImpossibleReading, match="beyond"):
        t_circuit.feed(1.0, 20.0 + 20.0j, 0.01 + 0.06j, 0.002 - 0.01j)


def test_separation_refuses_what_would_be_negative() -> None:
    """Loss per hertz that falls with frequency leaves a negative eddy loss."""
    with pytest.raises(ImpossibleReading, match="negative"):
        correction.separated_core_loss(30.0, 0.40, 60.0, 0.75)
    with pytest.raises(ImpossibleReading, match="frequencies"):
        correction.separated_core_loss(60.0, 0.40, 60.0, 0.75)
    with pytest.raises(ImpossibleReading, match="hysteresis_share"):
        correction.no_load_loss_ieee(1000.0, 400.0, 404.0, 1.2)


def test_a_day_without_output_has_no_efficiency() -> None:
    """All hours off load: refused, not zero over zero."""
    with pytest.raises(ImpossibleReading, match="output_wh"):
        all_day([Hours(24, 0.0)], 1e5, 300, 1750)
    with pytest.raises(ImpossibleReading, match="no_load_w"):
        peak_efficiency.peak_efficiency_index_percent(1e5, 0.0, 1750.0)


@given(value=st.floats(0, 10), more=st.floats(0.01, 5))
def test_probability_outside_grows_with_the_value(value: float, more: float) -> None:
    """A higher reading is never less likely to be outside; on the limit it is one half."""
    low, high = (probability_outside(v, 0.7, 5.0) for v in (value, value + more))
    assert low <= high
    assert probability_outside(5.0, 0.7, 5.0) == 0.5
    assert risk_at_limit(guard_band("simple", 1.4), 0.7) == 0.5
