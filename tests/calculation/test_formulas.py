"""Properties of circuit, pair, performance and correction."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calculation import circuit, correction, pair, performance
from calculation.errors import ImpossibleReading

share = st.floats(0.01, 0.999)
size = st.floats(1e-2, 1e4)


@given(u=size, i=size, pf=share)
def test_core_branch_takes_what_was_read(u: float, i: float, pf: float) -> None:
    """The branch put back on its voltage draws the current and power it was made of."""
    branch = circuit.core_branch(u, i, u * i * pf)
    current, power = circuit.no_load_reading(
        u, branch.core_loss_resistance_ohm, branch.magnetizing_reactance_ohm
    )
    assert current == pytest.approx(i, rel=1e-9)
    assert power == pytest.approx(u * i * pf, rel=1e-9)


@given(u=size, i=size, pf=share)
def test_series_impedance_takes_what_was_read(u: float, i: float, pf: float) -> None:
    """The impedance fed with its current needs the voltage and power it was made of."""
    series = circuit.series_impedance(u, i, u * i * pf)
    voltage, power = circuit.short_circuit_reading(i, series.resistance_ohm, series.reactance_ohm)
    assert voltage == pytest.approx(u, rel=1e-9)
    assert power == pytest.approx(u * i * pf, rel=1e-9)


@given(ohm=size, ratio=st.floats(0.01, 100))
def test_referral_there_and_back(ohm: float, ratio: float) -> None:
    """Referring to the other side and back changes nothing."""
    there = circuit.referred(ohm, ratio)
    assert circuit.referred(there, 1 / ratio) == pytest.approx(ohm, rel=1e-12)


@given(load=st.floats(0.1, 1.5), pf=share, e_r=st.floats(0.01, 10), e_x=st.floats(0.01, 15))
def test_expansion_follows_the_exact_drop(load: float, pf: float, e_r: float, e_x: float) -> None:
    """The expansion leaves less than a third-order rest: along x across² / (2 x 100²)."""
    for leading in (False, True):
        exact = performance.regulation_percent(load, pf, e_r, e_x, leading)
        near = performance.regulation_expansion_percent(load, pf, e_r, e_x, leading)
        size_of = load * (e_r + e_x)
        assert abs(exact - near) <= size_of**3 / 1e4


@given(load=st.floats(0.1, 1.5), pf=share, e_r=st.floats(0.01, 10), e_x=st.floats(0.01, 15))
def test_leading_is_lagging_with_the_reactance_turned_round(
    load: float, pf: float, e_r: float, e_x: float
) -> None:
    """Lead and lag mirror each other in the sign of the reactance."""
    lead = performance.regulation_percent(load, pf, e_r, e_x, leading=True)
    assert lead == pytest.approx(performance.regulation_percent(load, pf, e_r, -e_x), abs=1e-9)


@given(p0=st.floats(1, 1e4), pk=st.floats(1, 1e4), off=st.floats(-0.5, 0.5))
def test_efficiency_is_greatest_where_the_losses_are_equal(
    p0: float, pk: float, off: float
) -> None:
    """No other load does better than the square root of P0/Pk."""
    best = performance.load_of_maximum_efficiency(p0, pk)
    peak = performance.efficiency(best, 0.9, 1e5, p0, pk)
    assert performance.efficiency(best * (1 + off), 0.9, 1e5, p0, pk) <= peak * (1 + 1e-15)


def test_power_factor_above_one_is_refused() -> None:
    """No sine for a cosine of 1.2."""
    with pytest.raises(ImpossibleReading, match=r"power_factor = 1\.2"):
        performance.regulation_percent(1.0, 1.2, 1.0, 5.0)


@given(loss=st.floats(100, 1e5), ohmic=st.floats(0.3, 1.0), cold=st.floats(5, 60))
def test_temperature_correction_there_and_back(loss: float, ohmic: float, cold: float) -> None:
    """Load loss carried to 75 degrees and back again is what was read."""
    there = correction.load_loss_at_reference(
        loss, [correction.WindingLoss(loss * ohmic, 235.0)], cold, 75.0
    )
    warm = correction.WindingLoss(loss * ohmic * (235 + 75) / (235 + cold), 235.0)
    back = correction.load_loss_at_reference(there, [warm], 75.0, cold)
    assert back == pytest.approx(loss, rel=1e-12)


def test_windings_of_two_metals_each_rise_by_their_own() -> None:
    """Copper HV and aluminium LV without additional loss: each by its own constant."""
    windings = [correction.WindingLoss(400.0, 235.0), correction.WindingLoss(600.0, 225.0)]
    got = correction.load_loss_at_reference(1000.0, windings, 20.0, 75.0)
    assert got == pytest.approx(400 * 310 / 255 + 600 * 300 / 245, rel=1e-12)


def test_slightly_less_than_no_additional_loss_is_a_measurement() -> None:
    """A small unit may read 2 % less than its I²R; 11 % less is refused."""
    windings = [correction.WindingLoss(100.0, 235.0)]
    assert correction.load_loss_at_reference(98.0, windings, 20.0, 75.0) > 98.0
    with pytest.raises(ImpossibleReading, match="below the I²R"):
        correction.load_loss_at_reference(89.0, windings, 20.0, 75.0)


def test_constant_of_a_coefficient() -> None:
    """0.00393 per K at 20 degrees is 234.45 K, not 254.45."""
    assert correction.temperature_constant_of(0.00393, 20.0) == pytest.approx(234.4529, abs=5e-5)


@pytest.mark.parametrize("n", [1.6, 2.0, 2.7])
def test_local_exponent_finds_the_exponent(n: float) -> None:
    """Powers made with an exponent give that exponent back."""
    volts = [360.0, 370.0, 385.0, 400.0]
    assert pair.local_exponent(volts, [0.01 * u**n for u in volts]) == pytest.approx(n, rel=1e-9)


@pytest.mark.parametrize(
    ("volts", "watts"), [([400.0], [600.0]), ([400.0, 400.0], [600.0, 601.0]), ([1, 0], [1, 1])]
)
def test_local_exponent_needs_voltages_apart(volts: list[float], watts: list[float]) -> None:
    """One voltage has no slope."""
    with pytest.raises(ImpossibleReading, match="exponent needs"):
        pair.local_exponent(volts, watts)


def test_arrays_equal_scalars() -> None:
    """Every formula on an array is the formula on each of its numbers."""
    u, i, w = np.array([400.0, 395.0]), np.array([9.0, 8.8]), np.array([640.0, 620.0])
    core = circuit.core_branch(u, i, w)
    series = circuit.series_impedance(u, i, w)
    drop = performance.regulation_percent(np.ones(2), np.array([0.8, 1.0]), u / 400, i)
    for k in range(2):
        one = circuit.core_branch(float(u[k]), float(i[k]), float(w[k]))
        assert core.magnetizing_reactance_ohm[k] == one.magnetizing_reactance_ohm
        short = circuit.series_impedance(float(u[k]), float(i[k]), float(w[k]))
        assert series.reactance_ohm[k] == pytest.approx(short.reactance_ohm, rel=1e-15)
        expected = performance.regulation_percent(
            1.0, [0.8, 1.0][k], float(u[k]) / 400, float(i[k])
        )
        assert drop[k] == pytest.approx(expected, rel=1e-12)


def test_one_impossible_number_of_an_array_is_enough() -> None:
    """An array is refused when any of its readings is impossible."""
    with pytest.raises(ImpossibleReading, match="power_w"):
        circuit.series_impedance(
            np.array([10.0, 10.0]), np.array([1.0, 1.0]), np.array([5.0, 11.0])
        )


def test_the_loss_test_path_imports_no_heavy_library() -> None:
    """Importing the reduction loads neither numpy nor scipy, pydantic or uncertainties."""
    code = (
        "import sys, calculation.loss_test, calculation.limits, calculation.accumulate;"
        "print(*(set(sys.modules) & {'numpy', 'scipy', 'pydantic', 'uncertainties'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""
