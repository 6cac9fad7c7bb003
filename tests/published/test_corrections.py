"""Corrections of losses: rows e1 to e4. K: T transcribed, M from memory, D derived."""

from math import log

import pytest

from calculation import correction
from calculation.correction import WindingLoss
from calculation.errors import ImpossibleReading


@pytest.mark.parametrize(("constant_k", "total_w"), [(234.5, 716.528), (235.0, 716.351)])
def test_e1_langsdorf_1_15(constant_k: float, total_w: float) -> None:
    """Langsdorf, Ex. 1-15 p. 33 (T): 630 W at 20 degC, I²R 504 W; 716.53 W at 75 degC."""
    got = correction.load_loss_at_reference(630.0, [WindingLoss(504.0, constant_k)], 20.0, 75.0)
    assert got == pytest.approx(total_w, abs=5e-4)


def test_e2_langsdorf_1_16() -> None:
    """Langsdorf, Ex. 1-16 p. 37 (T): separation of core loss, exponent 2.0637323."""
    hysteresis, eddy = correction.separated_core_loss(30.0, 0.31, 60.0, 0.75)
    assert hysteresis == pytest.approx(0.490)
    assert eddy == pytest.approx(0.260)
    assert hysteresis / 2 == pytest.approx(0.245)
    assert eddy / 4 == pytest.approx(0.065)
    eddy_at_8 = eddy / 4 * (8 / 12) ** 2
    assert eddy_at_8 == pytest.approx(0.029, abs=5e-4)
    hysteresis_at_8 = 0.135 - eddy_at_8
    assert hysteresis_at_8 == pytest.approx(0.106, abs=5e-4)
    exponent = log(hysteresis / 2 / hysteresis_at_8) / log(12 / 8)
    assert exponent == pytest.approx(2.0637323, abs=5e-8)


def test_e3_wave_shape_iec() -> None:
    """IEC 60076-1:2011 (formula M, example D): 1000 W at U' 400, U 404 V gives 990.0 W."""
    assert correction.wave_shape(400.0, 404.0) == pytest.approx(-0.0100)
    assert correction.no_load_loss_iec(1000.0, 400.0, 404.0) == pytest.approx(990.0)
    with pytest.raises(ImpossibleReading, match="3 %"):
        correction.no_load_loss_iec(1000.0, 400.0, 412.5)


def test_e4_wave_shape_and_temperature_ieee() -> None:
    """IEEE C57.12.90 (formula M, example D): 990.050 W; to 20 degC from 35: 999.703 W."""
    got = correction.no_load_loss_ieee(1000.0, 400.0, 404.0)
    assert got == pytest.approx(990.050, abs=5e-4)
    assert correction.no_load_loss_at_20_c(got, 35.0) == pytest.approx(999.703, abs=5e-4)
