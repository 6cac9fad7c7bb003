"""Pt100: check h5, IEC 60751. Coefficients as public drivers have them, the table from memory."""

from math import isnan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.pt100 import resistance, temperature

TABLE = {
    -200: 18.52, -100: 60.26, -50: 80.31, -20: 92.16, 0: 100.00, 20: 107.79, 50: 119.40,
    100: 138.51, 150: 157.33, 200: 175.86, 300: 212.05, 400: 247.09, 600: 313.71, 850: 390.48,
}  # fmt: skip


@pytest.mark.parametrize(("celsius", "ohm"), TABLE.items())
def test_resistances_are_the_tables(celsius: int, ohm: float) -> None:
    """h5: to the table's last digit."""
    assert round(resistance(celsius), 2) == ohm


@pytest.mark.parametrize(("celsius", "ohm"), list(TABLE.items())[1:-1])
def test_temperatures_are_the_tables(celsius: int, ohm: float) -> None:
    """h5 backwards: within half of the table's last digit, 0.005 ohm at 0.38 ohm/K or less."""
    assert temperature(ohm) == pytest.approx(celsius, abs=0.005 / 0.29)


@given(st.floats(-200, 850))
def test_one_undoes_the_other(celsius: float) -> None:
    """Over the whole range of the standard."""
    assert temperature(resistance(celsius)) == pytest.approx(celsius, abs=1e-7)


@pytest.mark.parametrize("ohm", [0.0, 18.0, 391.0, 655.35, 1e6, -100.0])
def test_open_and_shorted_sensors_have_no_temperature(ohm: float) -> None:
    """A resistance that no temperature of the standard has is none."""
    assert isnan(temperature(ohm))


def test_beyond_the_standard_there_is_no_resistance() -> None:
    """It isn't defined there."""
    for celsius in (-200.1, 850.1):
        with pytest.raises(ValueError, match="isn't defined"):
            resistance(celsius)
