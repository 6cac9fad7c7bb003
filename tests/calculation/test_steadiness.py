"""The rules of three standards, on rises whose slope is known on paper (constructed data)."""

from collections.abc import Callable
from math import exp, log, nan

import pytest

from calculation.errors import ImpossibleReading
from calculation.steadiness import Rule, Steadiness

MINUTE_S, HOUR_S = 60.0, 3600.0


def fed(
    rule: Rule, rise: Callable[[float], float], hours: float, lag_s: float = 7200.0
) -> Steadiness:
    """Feed minute by minute; ambient 20 degC."""
    steadiness = Steadiness(rule, lag_s)
    for minute in range(int(hours * 60) + 1):
        steadiness.add(minute * MINUTE_S, [20.0 + rise(minute * MINUTE_S)], 20.0)
    return steadiness


def exponential(ultimate_k: float, tau_s: float) -> Callable[[float], float]:
    return lambda t_s: ultimate_k * (1 - exp(-t_s / tau_s))


def test_rate_is_the_slope_of_a_straight_rise() -> None:
    steadiness = fed("IEC 60076-2", lambda t_s: 3.7 * t_s / HOUR_S, 2)
    assert steadiness.rate_k_per_h == pytest.approx(3.7)
    assert steadiness.last_hour_mean_k is not None
    assert steadiness.last_hour_mean_k[0] == pytest.approx(3.7 * 1.5)


@pytest.mark.parametrize(
    ("rate", "steady"), [(0.98, True), (1.02, False), (-0.98, True), (-1.02, False)]
)
def test_iec_counts_a_fall_as_a_change(rate: float, steady: bool) -> None:
    """Below 1 K/h either way, for three hours after the first hour's window (from memory)."""
    steadiness = fed("IEC 60076-2", lambda t_s: 50 + rate * t_s / HOUR_S, 5)
    assert steadiness.steady_at_s == (4 * HOUR_S if steady else None)


@pytest.mark.parametrize(("rate", "steady"), [(0.99, True), (1.01, False)])
def test_dry_type_holds_an_hour(rate: float, steady: bool) -> None:
    """IEC 60076-11, 1 K/h (from memory); the hour is our own."""
    steadiness = fed("IEC 60076-11", lambda t_s: 80 + rate * t_s / HOUR_S, 3)
    assert steadiness.steady_at_s == (2 * HOUR_S if steady else None)


@pytest.mark.parametrize(
    ("start", "change", "steady"),
    [(20.0, 0.99, True), (20.0, 1.01, False), (60.0, 1.5, True), (60.0, 1.6, False)],
)
def test_ieee_allows_one_kelvin_or_two_and_a_half_per_cent(
    start: float, change: float, steady: bool
) -> None:
    """IEEE C57.12.90, the greater of the two over three hours (from memory)."""
    steadiness = fed("IEEE C57.12.90", lambda t_s: start + change * t_s / (3 * HOUR_S), 3.5)
    assert steadiness.steady_at_s == (3 * HOUR_S if steady else None)


def test_iec_meets_an_exponential_when_calculus_says() -> None:
    """Chord and least-squares slope agree within a minute for an hour against three."""
    tau_s, ultimate_k = 3 * HOUR_S, 55.0
    slope_met_s = tau_s * log(ultimate_k / 3) + HOUR_S / 2
    steady_at_s = fed("IEC 60076-2", exponential(ultimate_k, tau_s), 16).steady_at_s
    assert steady_at_s is not None
    assert steady_at_s == pytest.approx(slope_met_s + 3 * HOUR_S, abs=3 * MINUTE_S)


def test_one_minute_over_the_limit_starts_the_hold_again() -> None:
    def rise(t_s: float) -> float:
        return 50.0 + 0.95 * t_s / HOUR_S + (2.0 if t_s == 3.5 * HOUR_S else 0.0)

    assert fed("IEC 60076-2", rise, 6).steady_at_s is None
    steady_at_s = fed("IEC 60076-2", rise, 9).steady_at_s
    assert steady_at_s is not None
    assert steady_at_s > 6.5 * HOUR_S


def test_lost_steadiness_is_not_kept() -> None:
    def rise(t_s: float) -> float:
        return 50.0 if t_s < 5 * HOUR_S else 50.0 + 5 * (t_s / HOUR_S - 5)

    assert fed("IEC 60076-2", rise, 5).steady_at_s == 4 * HOUR_S
    assert fed("IEC 60076-2", rise, 6).steady_at_s is None


def drifting(lag_s: float) -> Steadiness:
    """A unit with a time constant of 2 h whose room warms 2 K/h; losses constant."""
    steadiness, top_c = Steadiness("IEC 60076-2", lag_s), 70.0
    for minute in range(20 * 60):
        ambient_c = 20 + 2.0 * minute / 60
        top_c += (ambient_c + 50 - top_c) * (1 - exp(-MINUTE_S / 7200))
        steadiness.add(minute * MINUTE_S, [top_c], ambient_c)
    return steadiness


def test_a_drifting_room_is_not_a_change_of_the_unit() -> None:
    """Over raw ambient the rise falls by 2 K/h x exp(-t/2 h): under 1 K/h after 2 h x ln 2."""
    lagged, raw = drifting(7200), drifting(1e-3)
    assert lagged.steady_at_s == pytest.approx(4 * HOUR_S, abs=MINUTE_S)
    assert raw.steady_at_s == pytest.approx((2 * log(2) + 0.5 + 3) * HOUR_S, abs=2 * MINUTE_S)
    assert lagged.last_hour_mean_k is not None
    assert lagged.last_hour_mean_k[0] == pytest.approx(50.0, abs=0.05)


@pytest.mark.parametrize("nan_rows", [True, False])
@pytest.mark.parametrize(("gap_minutes", "steady_h"), [(3, 4), (5, 2 + 6 / 60 + 4)])
def test_a_gap_restarts_window_and_hold(gap_minutes: int, steady_h: float, nan_rows: bool) -> None:
    steadiness = Steadiness("IEC 60076-2")
    for minute in range(7 * 60):
        missing = 0 < minute - 120 <= gap_minutes
        if nan_rows or not missing:
            steadiness.add(minute * MINUTE_S, [nan if missing else 60.0], 20.0)
        if steadiness.steady_at_s is not None:
            break
    assert steadiness.steady_at_s == pytest.approx(steady_h * HOUR_S)


def test_a_gap_shows_no_rate() -> None:
    steadiness = fed("IEC 60076-2", lambda _: 50.0, 6)
    for minute in range(1, 7):
        steadiness.add(6 * HOUR_S + minute * MINUTE_S, [70.0], nan)
    assert steadiness.rate_k_per_h is None
    assert steadiness.steady_at_s is None
    assert steadiness.last_hour_mean_k is None


def test_restart_of_load_or_cooling() -> None:
    steadiness = fed("IEC 60076-2", lambda _: 50.0, 5)
    assert steadiness.held_s == 4 * HOUR_S
    steadiness.restart(5 * HOUR_S)
    assert steadiness.steady_at_s is None
    assert steadiness.held_s == 0
    for minute in range(1, 4 * 60 + 1):
        steadiness.add(5 * HOUR_S + minute * MINUTE_S, [70.0], 20.0)
    assert steadiness.steady_at_s == 9 * HOUR_S


def test_every_watched_temperature_has_to_be_steady() -> None:
    """Core steady, winding at 2 K/h: not steady, and the rate shown is the winding's."""
    steadiness = Steadiness("IEC 60076-11", watched=2)
    for minute in range(4 * 60):
        steadiness.add(minute * MINUTE_S, [90.0, 100 + 2 * minute / 60], 20.0)
    assert steadiness.rate_k_per_h == pytest.approx(2.0)
    assert steadiness.steady_at_s is None


def test_refusals() -> None:
    with pytest.raises(ImpossibleReading, match="above zero"):
        Steadiness("IEC 60076-2", lag_s=0)
    with pytest.raises(ImpossibleReading, match="above zero"):
        Steadiness("IEC 60076-2", watched=0)
    steadiness = Steadiness("IEC 60076-2")
    steadiness.add(60.0, [50.0], 20.0)
    with pytest.raises(ImpossibleReading, match="backwards"):
        steadiness.add(60.0, [50.0], 20.0)
    with pytest.raises(ImpossibleReading, match="other temperatures"):
        steadiness.add(120.0, [50.0, 60.0], 20.0)
