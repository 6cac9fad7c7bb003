"""The instant of a shutdown from ramps made by hand."""

import numpy as np
import pytest

from calculation.errors import ImpossibleReading
from calculation.shutdown import loss_equivalent_instant


def ramp(began_s: float, lasts_s: float, noise_a: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Return a second's readings of 15 A that run straight to nothing from `began_s` on."""
    t_s = np.arange(0.0, 200.0)
    current = 15.0 * np.clip(1 - (t_s - began_s) / lasts_s, 0.0, 1.0)
    return t_s, current + np.random.default_rng(1).normal(0.0, noise_a, len(t_s))


@pytest.mark.parametrize("lasts_s", [5.0, 22.0, 60.0])
def test_a_straight_ramp_heats_like_a_third_of_its_time(lasts_s: float) -> None:
    """The integral of (1 - x)² is a third; the current's last percents are left out of it."""
    assert loss_equivalent_instant(*ramp(80.0, lasts_s), 80.0) == pytest.approx(
        80.0 + lasts_s / 3, abs=0.05
    )


def test_noise_of_the_meter_moves_it_little() -> None:
    at_s = loss_equivalent_instant(*ramp(80.0, 22.0, noise_a=0.015), 80.0)
    assert at_s == pytest.approx(80.0 + 22.0 / 3, abs=0.1)


def test_an_interruption_is_its_own_instant() -> None:
    """Between two readings, that is: half of the second in which it fell, in heat a third."""
    t_s = np.arange(0.0, 200.0)
    current = np.where(t_s <= 80.0, 15.0, 0.0)
    assert loss_equivalent_instant(t_s, current, 80.0) == pytest.approx(80.0 + 1 / 3)


def test_a_current_that_stays_is_refused() -> None:
    t_s = np.arange(0.0, 200.0)
    with pytest.raises(ImpossibleReading, match="did not go"):
        loss_equivalent_instant(t_s, np.full(200, 15.0), 80.0)


def test_without_readings_before_or_after_there_is_none() -> None:
    t_s, current = ramp(80.0, 22.0)
    with pytest.raises(ImpossibleReading, match="before and after"):
        loss_equivalent_instant(t_s, current, 300.0)
    with pytest.raises(ImpossibleReading, match="before and after"):
        loss_equivalent_instant(t_s, current, -1.0)


def test_no_current_before_is_no_shutdown() -> None:
    t_s = np.arange(0.0, 200.0)
    with pytest.raises(ImpossibleReading, match="no current"):
        loss_equivalent_instant(t_s, np.zeros(200), 80.0)
