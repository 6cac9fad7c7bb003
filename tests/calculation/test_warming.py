"""What a winding's warming does to its loss, and back."""

from math import exp

import pytest

from calculation.correction import WindingLoss, load_loss_at_reference
from calculation.errors import ImpossibleReading
from calculation.warming import warmed_by

WINDINGS = (WindingLoss(650.0, 235.0), WindingLoss(640.0, 235.0))
LOSS_W = 1500.0


def loss_at(kelvin: float) -> float:
    """Return the load loss of the constructed unit so much above 20 °C, W."""
    return load_loss_at_reference(LOSS_W, WINDINGS, 20.0, 20.0 + kelvin)


def test_a_straight_warming_is_told_back() -> None:
    """2 K in a minute: constructed from the correction of IEC 60076-1 itself."""
    slope = (loss_at(2.0) - loss_at(0.0)) / loss_at(1.0) / 60.0
    assert warmed_by(slope, 60.0, LOSS_W, WINDINGS, 20.0) == pytest.approx(2.0, rel=0.01)


def test_a_warming_that_slows_down_is_told_a_little_too_small() -> None:
    """14 K with 5.5 minutes, read at 90 s: constructed."""

    def warmth(t_s: float) -> float:
        return 14.0 * (1 - exp(-t_s / 330.0))

    slope = (loss_at(warmth(120.0)) - loss_at(warmth(60.0))) / loss_at(warmth(90.0)) / 60.0
    told = warmed_by(slope, 90.0, LOSS_W, WINDINGS, 20.0)
    assert 0.8 * warmth(90.0) < told < warmth(90.0)


def test_a_falling_loss_tells_of_cooling() -> None:
    """Its sign is kept: noise of both signs leaves no bias."""
    assert warmed_by(-1e-5, 90.0, LOSS_W, WINDINGS, 20.0) < 0


def test_what_no_winding_does_is_refused() -> None:
    with pytest.raises(ImpossibleReading, match="warming windings"):
        warmed_by(1e-3, 90.0, LOSS_W, WINDINGS, 20.0)


def test_without_ohmic_loss_nothing_is_told() -> None:
    """Additional loss falls with temperature."""
    assert warmed_by(1e-5, 90.0, LOSS_W, (WindingLoss(100.0, 235.0),), 20.0) == 0.0
