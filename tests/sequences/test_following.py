"""Where the LV voltage last came up with a raise: dead or stuck, a voltmeter shows nothing new."""

import pytest

from drivers.outputs import LV_REGULATOR
from sequences.following import NOTHING_RAISED, Rest, has_followed, lv_followed
from tests.sequences.paper import shipped

EXPECTED = shipped()
FULL_V = EXPECTED.lv_regulator.full_voltage_v
WAS = Rest(0.5, 0.5 * FULL_V)


def after(*rests: tuple[float, float], was: Rest = WAS) -> Rest:
    """Return what has followed after rests: position, and voltage as a share of full."""
    for position, share in rests:
        was = lv_followed(EXPECTED, was, Rest(position, share * FULL_V))
    return was


@pytest.mark.parametrize(("gained", "follows"), [(0.0251, True), (0.0249, False), (-0.1, False)])
def test_a_quarter_of_what_a_raise_promises_has_to_show(gained: float, follows: bool) -> None:
    now = Rest(0.6, (0.5 + gained) * FULL_V)
    assert has_followed(EXPECTED, LV_REGULATOR, WAS, now) is follows


def test_a_raise_of_two_per_cent_is_too_small_to_tell() -> None:
    for position, told in ((0.5, None), (0.4, None), (0.5199, None), (0.5201, False)):
        assert has_followed(EXPECTED, LV_REGULATOR, WAS, Rest(position, WAS.voltage_v)) is told


def test_a_voltage_that_comes_up_is_taken_with_its_drop() -> None:
    assert after((0.6, 0.57)) == Rest(0.6, 0.57 * FULL_V)


def test_a_voltage_that_does_not_come_up_shows_nothing() -> None:
    """Dead or stuck, in one raise or in many small ones."""
    creeping = [(0.5 + 0.005 * n, 0.5) for n in range(1, 80)]
    assert after(*creeping) == WAS
    assert after((0.6, 0.0), (0.6, 0.0), (0.9, 0.0)) == WAS


def test_small_raises_that_are_followed_count_together() -> None:
    small = [(0.5 + 0.0045 * n, 0.5 + 0.004 * n) for n in range(1, 6)]
    position, share = small[-1]
    assert after(*small).position == position
    assert after(*small).voltage_v == pytest.approx(share * FULL_V)


def test_a_slow_supply_may_come_up_at_a_later_reading() -> None:
    assert after((0.6, 0.5), (0.6, 0.58)) == Rest(0.6, 0.58 * FULL_V)


def test_lowered_a_supply_drops_no_more_than_before() -> None:
    """A voltmeter that dies and is then lowered shows no drop by that."""
    dropping = Rest(0.5, 0.45 * FULL_V)
    assert after((0.4, 0.0), was=dropping).voltage_v == pytest.approx(0.35 * FULL_V)
    assert after((0.4, 0.38), was=dropping) == Rest(0.4, 0.38 * FULL_V)


def test_a_voltmeter_that_is_dead_from_the_start_never_follows() -> None:
    assert after((0.1, 0.0), (0.5, 0.0), (0.9, 0.0), was=NOTHING_RAISED) == NOTHING_RAISED
