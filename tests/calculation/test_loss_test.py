"""The reduction of a back-to-back loss test, against circuits whose truth is known."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calculation.errors import ImpossibleReading
from calculation.loss_test import (
    LossReadings,
    LossTestResult,
    ProveMeans,
    as_plain,
    loss_test_result,
)
from calculation.nameplate import Nameplate, Resistances
from tests.calculation.twins import PAIR_J, Twins, angle_of

NAMEPLATE = Nameplate(100e3, 400, 6600, 50, 4.0, 1.8, 320, 1750)
COLD = Resistances(0.01, 2.8, 20.0)
RATED_A = NAMEPLATE.hv_current_a


def read(twins: Twins, angle: float, lv_v: float = 400.0, hv_a: float = RATED_A) -> LossReadings:
    """What perfect meters read of a pair, prove stage at half of 4 %."""
    return LossReadings(
        no_load=twins.no_load(lv_v),
        load=twins.loaded(lv_v, hv_a, angle)[0],
        prove=twins.loaded(0.02 * lv_v, hv_a, angle)[1],
        series_voltage_v=twins.gap_v(lv_v),
        loss_exponent=2.0,
        winding_temperature_c=75.0,
        prove_temperature_c=75.0,
    )


def reduce(readings: LossReadings, lv_branch_ohm: float = 0.0) -> LossTestResult:
    """The reduction, at a few loads."""
    return loss_test_result(
        readings,
        NAMEPLATE,
        COLD,
        lv_branch_ohm=lv_branch_ohm,
        evaluate_load=[0.5, 1.0],
        power_factors=[1.0, 0.8],
        leading=[False, True],
    )


@given(
    angle=st.floats(-math.pi, math.pi),
    mismatch=st.floats(-0.002, 0.002),
)
def test_balance_holds_at_any_phase_of_the_loop_current(angle: float, mismatch: float) -> None:
    """To d = 0.2 % the balance gives P_k of one unit alone within 0.01 %, whatever the phase."""
    result = reduce(read(replace(PAIR_J, mismatch=mismatch), angle))
    assert result.pair_mean.load_loss_w == pytest.approx(1749.522, rel=1.2e-4)
    assert result.pair_mean.no_load_loss_w == pytest.approx(320.0616, rel=1e-6)


def test_prove_stage_gives_the_impedance_clean() -> None:
    """Z_e from the prove stage is within 0.03 % at d = 0.1 % where rated voltage is 1.25 % off."""
    result = reduce(read(PAIR_J, angle_of(0.4328))).pair_mean
    true = abs(7.620917 + 15.66564j)
    assert result.equivalent_impedance_ohm == pytest.approx(true, rel=3e-4)
    assert result.impedance_at_rated_voltage_ohm == pytest.approx(true * 1.0125, rel=1e-3)


def test_without_a_prove_stage_the_impedance_is_that_at_rated_voltage() -> None:
    """A pair that wasn't proven has no other impedance, and no result of prove."""
    result = reduce(replace(read(PAIR_J, -1.0), prove=None))
    mean = result.pair_mean
    assert mean.equivalent_impedance_ohm == pytest.approx(mean.impedance_at_rated_voltage_ohm)
    assert result.prove is None


def test_leads_are_taken_out() -> None:
    """A pair on long leads gives the same load loss, resistance and impedance as without."""
    bare = reduce(read(PAIR_J, -1.0))
    with_leads = replace(PAIR_J, lv_branch_ohm=0.0012)
    result = reduce(read(with_leads, -1.0), lv_branch_ohm=0.0012)
    for name in ("load_loss_w", "equivalent_resistance_ohm", "equivalent_impedance_ohm"):
        expected = getattr(bare.pair_mean, name)
        assert getattr(result.pair_mean, name) == pytest.approx(expected, rel=2e-4)
    left_in = reduce(read(with_leads, -1.0)).pair_mean.load_loss_w
    assert left_in > 1.04 * bare.pair_mean.load_loss_w


def test_results_hold_for_rated_voltage_and_current() -> None:
    """Readings 1 % low in voltage and 5 % low in current reduce to the same results."""
    rated, off = reduce(read(PAIR_J, -1.0)), reduce(read(PAIR_J, -1.0, 396.0, 0.95 * RATED_A))
    for name in (
        "no_load_loss_w",
        "no_load_current_a",
        "core_loss_resistance_ohm",
        "magnetizing_reactance_ohm",
        "load_loss_w",
        "equivalent_resistance_ohm",
        "equivalent_impedance_ohm",
    ):
        expected = getattr(rated.pair_mean, name)
        assert getattr(off.pair_mean, name) == pytest.approx(expected, rel=1e-4), name


def test_equal_readings_give_equal_results_as_arrays() -> None:
    """A reading as an array of equal numbers gives arrays of the scalar result."""
    readings = read(PAIR_J, -1.0)
    many = replace(
        readings,
        load=replace(readings.load, hv_power_w=np.full(3, readings.load.hv_power_w)),  # type: ignore[arg-type]  # a Monte Carlo's way in
    )
    scalar, array = reduce(readings).pair_mean, reduce(many).pair_mean
    assert np.asarray(array.load_loss_reference_w) == pytest.approx(
        np.full(3, scalar.load_loss_reference_w)
    )


def test_the_warmer_reference_costs_more_and_keeps_the_reactance() -> None:
    """From 25 to 75 degrees load loss and impedance rise, X_e stays."""
    mean = reduce(replace(read(PAIR_J, -1.0), winding_temperature_c=25.0)).pair_mean
    assert mean.load_loss_reference_w > mean.load_loss_w
    assert mean.impedance_reference_percent > mean.impedance_percent
    reference_r = mean.load_loss_reference_w / RATED_A**2
    reference_z = mean.impedance_reference_percent / 100 * 6600**2 / 100e3
    assert math.hypot(reference_r, mean.equivalent_reactance_ohm) == pytest.approx(reference_z)


def test_negative_lv_power_in_the_load_stage_is_a_reading_like_any() -> None:
    """A large mismatch drives power back into the LV supply; P_k stays right."""
    pair = replace(PAIR_J, mismatch=0.008)
    readings = read(pair, 0.0)
    assert readings.load.lv_power_w < 0
    result = reduce(readings)
    assert result.plain_split.no_load_loss_w < 0
    assert result.pair_mean.load_loss_w == pytest.approx(1749.522, rel=1e-3)


def test_exponent_carries_the_no_load_loss() -> None:
    """With an exponent of 2.2, readings 1 % low in voltage rise by 1.01^2.2 in loss."""
    low = replace(read(PAIR_J, -1.0, lv_v=400 / 1.01), loss_exponent=2.2)
    expected = low.no_load.power_w / 2 * 1.01**2.2
    assert reduce(low).pair_mean.no_load_loss_w == pytest.approx(expected, rel=1e-12)


BAD = [
    ("no_load", "power_w", 4000.0, "no_load.power_w"),
    ("no_load", "current_a", 0.0, "no_load.current_a"),
    ("no_load", "voltage_mean_v", 430.0, "voltage_mean_v"),
    ("load", "hv_power_w", 2.0, "load.hv_power_w"),
    ("load", "hv_current_a", math.nan, "load.hv_current_a"),
    ("load", "lv_power_w", math.inf, "load.lv_power_w"),
    ("prove", "hv_voltage_v", 100.0, "prove.hv_voltage_v"),
]


@pytest.mark.parametrize(("stage", "name", "value", "named"), BAD)
def test_impossible_readings_are_named(stage: str, name: str, value: float, named: str) -> None:
    """What physics forbids is refused in one line that names the reading and its value."""
    readings = read(PAIR_J, -1.0)
    changed = replace(getattr(readings, stage), **{name: value})
    with pytest.raises(ImpossibleReading, match=named) as caught:
        reduce(replace(readings, **{stage: changed}))
    assert "\n" not in str(caught.value)
    assert caught.value.why in str(caught.value)


def test_prove_without_its_temperature_is_refused() -> None:
    """Cold values without a temperature mean nothing."""
    with pytest.raises(ImpossibleReading, match="prove_temperature_c = missing"):
        reduce(replace(read(PAIR_J, -1.0), prove_temperature_c=None))


def test_load_loss_far_below_its_resistances_is_refused() -> None:
    """Resistances that alone would lose more than was read can't be of these windings."""
    with pytest.raises(ImpossibleReading, match="i2r_w"):
        loss_test_result(
            read(PAIR_J, -1.0),
            NAMEPLATE,
            Resistances(0.02, 5.6, 20.0),
            lv_branch_ohm=0.0,
            evaluate_load=[],
            power_factors=[],
            leading=[],
        )


def test_as_plain_is_json_with_the_agreed_names() -> None:
    """The plain form goes through JSON unchanged and carries the agreed parts."""
    plain = as_plain(reduce(read(PAIR_J, -1.0)))
    assert json.loads(json.dumps(plain)) == plain
    assert plain.keys() == {
        "pair_mean",
        "plain_split",
        "prove",
        "ratio_mismatch_percent",
        "series_ratio_percent",
    }
    wanted = {"load": 0.5, "power_factor": 0.8, "leading": True}
    found = [
        row for row in plain["pair_mean"]["regulation_percent"] if wanted.items() <= row.items()
    ]
    assert len(found) == 1
    assert isinstance(ProveMeans(**as_plain(read(PAIR_J, -1.0).prove)), ProveMeans)
