"""The pair's circuit: rows j1 to j3 (D; two independent solvers agree to 2e-7)."""

import pytest

from calculation.loss_test import LoadMeans, LossReadings, LossTestResult, NoLoadMeans
from calculation.loss_test import loss_test_result as reduce
from calculation.nameplate import Nameplate, Resistances

NAMEPLATE = Nameplate(100e3, 400, 6600, 50, 4.0, 1.8, 320, 1750)


@pytest.fixture(name="result")
def _result() -> LossTestResult:
    readings = LossReadings(
        no_load=NoLoadMeans(400.0, 400.0, 8.996882, 640.1232),
        load=LoadMeans(534.5062, 15.15152, 3542.313, 400.0, 596.8366),
        prove=None,
        series_voltage_v=6.597713,
        loss_exponent=2.0,
        winding_temperature_c=75.0,
    )
    return reduce(
        readings,
        NAMEPLATE,
        Resistances(0.01, 2.8, 20.0),
        lv_branch_ohm=0.0,
        evaluate_load=[1.0],
        power_factors=[1.0],
        leading=[False],
    )


def test_no_load_is_that_of_one_unit(result: LossTestResult) -> None:
    """j3: P0 320.0616 W and I0 4.498441 A of one unit alone come back from the pair."""
    assert result.pair_mean.no_load_loss_w == pytest.approx(320.0616, abs=5e-5)
    assert result.pair_mean.no_load_current_a == pytest.approx(4.498441, abs=5e-7)


def test_balance_is_right_within_a_ten_thousandth(result: LossTestResult) -> None:
    """j3: P_k 1749.522 W, by balance within 0.01 % (the bound stated for a linear core)."""
    assert result.pair_mean.load_loss_w == pytest.approx(1749.522, rel=1e-4)


def test_plain_split_is_visibly_wrong(result: LossTestResult) -> None:
    """At d = 0.1 % the split is off by 6.8 % in P0 and 1.2 % in P_k, as the circuit says."""
    assert result.plain_split.no_load_loss_w / 320.0616 - 1 == pytest.approx(-0.0676, abs=5e-5)
    assert result.plain_split.load_loss_w / 1749.522 - 1 == pytest.approx(0.0124, abs=5e-5)


def test_impedance_at_rated_voltage_is_shifted(result: LossTestResult) -> None:
    """j3: |Z_k| = 17.4208 ohm; at rated voltage it reads up to d/(2 u_k) = 1.25 % off, and does."""
    true = abs(7.620917 + 15.66564j)
    shift = result.pair_mean.impedance_at_rated_voltage_ohm / true - 1
    assert shift == pytest.approx(0.0125, abs=5e-5)


def test_mismatch_from_the_gap(result: LossTestResult) -> None:
    """j1: the gap's 6.597713 V are d = 0.1 % (less the half impedance's 0.03 % share), r half."""
    assert result.ratio_mismatch_percent == pytest.approx(0.1, rel=5e-4)
    assert result.series_ratio_percent == result.ratio_mismatch_percent / 2


def test_the_split_alone_shows_only_part_of_the_mismatch(result: LossTestResult) -> None:
    """j2: loop current at -64.35 degrees shows d x cos of it, never more than d."""
    assert result.plain_split.least_ratio_mismatch_percent == pytest.approx(0.0433, abs=5e-5)
