"""From truth to circuit: a perfect test of each unit reads what the truth file says."""

from dataclasses import replace

import pytest

from drivers.simulated.pair import pair_circuit, unit_circuit
from drivers.simulated.truth import TrueUnit
from tests.drivers.simulated.scenario import nameplate_file, truth_file

NAMEPLATE, TRUTH = nameplate_file(), truth_file()
UNITS = [TRUTH.a, TRUTH.b]


@pytest.mark.parametrize("unit", UNITS, ids=["a", "b"])
def test_open_circuit_reads_the_truth(unit: TrueUnit) -> None:
    """At rated voltage one unit alone takes its true no-load loss and current."""
    circuit = unit_circuit(NAMEPLATE, unit, NAMEPLATE.ratio, 21.0)
    y = circuit.core.admittance(circuit.core.rated_emf)
    current = NAMEPLATE.lv_voltage_v / (circuit.z_lv + 1 / y)
    assert NAMEPLATE.lv_voltage_v * current.real == pytest.approx(unit.no_load_loss_w)
    share = abs(current) / NAMEPLATE.lv_current_a * 100
    assert share == pytest.approx(unit.no_load_current_percent)


@pytest.mark.parametrize("unit", UNITS, ids=["a", "b"])
def test_impedance_at_reference_is_the_truth(unit: TrueUnit) -> None:
    """At 75 degC the series impedance is the true percentage, d.c. and additional loss included."""
    circuit = unit_circuit(NAMEPLATE, unit, NAMEPLATE.ratio, 75.0)
    z = circuit.z_lv * NAMEPLATE.ratio**2 + circuit.z_hv
    base = NAMEPLATE.hv_voltage_v / NAMEPLATE.hv_current_a
    assert abs(z) / base * 100 == pytest.approx(unit.impedance_percent)
    direct = (unit.lv_resistance_ohm * NAMEPLATE.ratio**2 + unit.hv_resistance_ohm) * 310 / 255
    assert z.real - direct == pytest.approx(unit.additional_loss_w / NAMEPLATE.hv_current_a**2)


def test_temperature_moves_both_parts_apart() -> None:
    """From 21 to 75 degC d.c. resistance rises by 310/256 and the additional part falls by it."""
    bare = replace(TRUTH.a, additional_loss_w=0.0)
    cold, hot = (_resistance(bare, t) for t in (21.0, 75.0))
    assert hot / cold == pytest.approx(310 / 256)
    cold_more = _resistance(TRUTH.a, 21.0) - cold
    hot_more = _resistance(TRUTH.a, 75.0) - hot
    assert cold_more / hot_more == pytest.approx(310 / 256)


def _resistance(unit: TrueUnit, celsius: float) -> float:
    circuit = unit_circuit(NAMEPLATE, unit, NAMEPLATE.ratio, celsius)
    return float((circuit.z_lv * NAMEPLATE.ratio**2 + circuit.z_hv).real)


def test_short_circuit_is_all_but_the_series_impedance() -> None:
    """The core shunts the short circuit by less than 0.3 %, low-flux iron included."""
    circuit = unit_circuit(NAMEPLATE, TRUTH.a, NAMEPLATE.ratio, 75.0)
    series = abs(circuit.z_lv * NAMEPLATE.ratio**2 + circuit.z_hv)
    shorted = abs(circuit.short_circuit_impedance(NAMEPLATE.hv_current_a))
    assert 0.997 * series < shorted < series


def test_mismatch_stands_half_on_each_side() -> None:
    """A is above the rated ratio by half the mismatch, B below it."""
    pair = pair_circuit(NAMEPLATE, replace(TRUTH, ratio_mismatch_percent=0.4), 0.0)
    assert pair.a.ratio / NAMEPLATE.ratio == pytest.approx(1.002)
    assert pair.b.ratio / NAMEPLATE.ratio == pytest.approx(0.998)


def test_impossible_truths_are_refused() -> None:
    """Impedance below resistance, or a current that can't carry its loss, is said so."""
    with pytest.raises(ValueError, match="resistance"):
        unit_circuit(NAMEPLATE, replace(TRUTH.a, impedance_percent=1.0), NAMEPLATE.ratio, 21.0)
    with pytest.raises(ValueError, match="no-load current"):
        unit_circuit(
            NAMEPLATE, replace(TRUTH.a, no_load_current_percent=0.1), NAMEPLATE.ratio, 21.0
        )
