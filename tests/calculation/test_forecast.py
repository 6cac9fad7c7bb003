"""Where a run ends: bodies whose end is known on paper (constructed unless a source is named)."""

from collections.abc import Callable
from math import exp, log

import numpy as np
import pytest

from calculation.coverage import Part
from calculation.errors import ImpossibleReading
from calculation.forecast import Forecast, forecast
from calculation.heat_readings import Floats
from calculation.one_body import BLOCKS, Rows, balance, blocks
from calculation.stated import stated

MINUTE_S, HOUR_S = 60.0, 3600.0
LIMITS_K = (0.5, 0.1, 0.1, 0.1)


def always(value: float) -> Callable[[float], float]:
    return lambda _: value


RATED, ROOM = always(1000.0), always(20.0)


def one_body(
    hours: float,
    loss_w: Callable[[float], float] = RATED,
    ambient_c: Callable[[float], float] = ROOM,
    exponent: float = 0.85,
) -> Rows:
    """50 K at 1000 W, 3 h about it, in a room of 20 degC; minute rows, steps of 10 s between."""
    minutes = np.arange(int(hours * 60) + 1, dtype=np.float64) * MINUTE_S
    heat_j_k = 3 * HOUR_S * 1000.0 / (exponent * 50.0)
    top_c = ambient_c(0.0)
    seen = []
    for t_s in minutes:
        seen.append(top_c)
        for second in range(0, 60, 10):
            over = top_c - ambient_c(t_s + second)
            away_w = 1000.0 * np.sign(over) * (abs(over) / 50.0) ** (1 / exponent)
            top_c += 10 * (loss_w(t_s + second) - away_w) / heat_j_k
    room = np.array([ambient_c(t_s) for t_s in minutes])
    losses = np.array([loss_w(t_s) for t_s in minutes])
    return Rows(minutes, np.array(seen), room, losses)


def told(rows: Rows, **more: float) -> Forecast:
    found = forecast(rows, rule="IEC 60076-2", limits_k=LIMITS_K, **more)
    assert found is not None
    return found


def without(rows: Rows, missing: slice) -> Rows:
    """Rows in which nobody looked for a while."""
    columns = [column.copy() for column in (rows.temperature_c, rows.ambient_c, rows.loss_w)]
    for column in columns:
        column[missing] = np.nan
    return Rows(rows.t_s, *columns)


def test_two_readings_of_a_book_tell_the_same_ultimate() -> None:
    """Theraja vol. III, Ex. 45.13: 25 K after 1 h, 37.5 K after 2 h; ultimate 50 K, 1.44270 h."""
    t_s = np.arange(0, 4 * HOUR_S, MINUTE_S)
    rise_k = 50 * (1 - np.exp(-t_s * log(2) / HOUR_S))
    assert rise_k[[60, 120]] == pytest.approx([25.0, 37.5])
    found = told(Rows(t_s, 20 + rise_k, 0 * t_s + 20, 0 * t_s + 1), exponent=1.0)
    assert found.ultimate_k.value == pytest.approx(50.0, abs=0.02)
    assert found.time_constant_s == pytest.approx(1.44270 * HOUR_S, rel=0.005)


@pytest.mark.parametrize("exponent", [0.8, 0.9, 1.0])
def test_one_body_is_found_whatever_its_exponent(exponent: float) -> None:
    found = told(one_body(6, exponent=exponent), exponent=exponent)
    assert found.ultimate_k.value == pytest.approx(50.0, abs=0.05)
    assert found.time_constant_s == pytest.approx(3 * HOUR_S, rel=0.01)
    assert found.exponent == exponent


def test_a_drifting_room_and_a_wandering_loss_are_inputs() -> None:
    """The room 5 K warmer and the loss 5 % up by the end; told is the rise at 1000 W."""
    rows = one_body(
        7,
        loss_w=lambda t_s: 1000 * (1 + 0.05 * t_s / (7 * HOUR_S)),
        ambient_c=lambda t_s: 20 + 5 * t_s / (7 * HOUR_S),
    )
    assert told(rows, at_loss_w=1000.0).ultimate_k.value == pytest.approx(50.0, abs=0.15)


def test_loss_that_grows_as_the_unit_warms_is_followed_to_where_it_ends() -> None:
    """0.2 %/K: the end is where 1000 W (1 + 0.002 (rise - 40)) meets the cooling."""
    heat_j_k, top_c = 3 * HOUR_S * 1000 / (0.85 * 50), 20.0
    t_s, seen, losses = np.arange(0, 7 * HOUR_S, MINUTE_S), [], []
    for _ in t_s:
        loss_w = 1000 * (1 + 0.002 * (top_c - 60))
        seen.append(top_c)
        losses.append(loss_w)
        top_c += MINUTE_S * (loss_w - 1000 * ((top_c - 20) / 50) ** (1 / 0.85)) / heat_j_k
    end_k = 50.0
    for _ in range(100):
        end_k = 50 * (1 + 0.002 * (end_k - 40)) ** 0.85
    found = told(Rows(t_s, np.array(seen), 0 * t_s + 20, np.array(losses)))
    assert found.ultimate_k.value == pytest.approx(end_k, abs=0.1)


def test_overload_tells_the_rise_at_rated_loss() -> None:
    """A warm-up at half as much loss again; what model and x leave open is in the interval."""
    rated = told(one_body(3, loss_w=always(1500.0)), at_loss_w=1000.0)
    assert rated.ultimate_k.value == pytest.approx(50.0, abs=0.1)
    assert told(one_body(5, loss_w=always(1500.0))).ultimate_k.value == pytest.approx(
        50 * 1.5**0.85, abs=0.2
    )
    assert rated.model_k > 0.1 * log(1.5) * 50 > 2


def test_a_step_of_the_loss_is_no_change_of_the_unit() -> None:
    """Overload for three hours, rated since then: the end at rated loss, at once."""
    rows = one_body(6, loss_w=lambda t_s: 1500.0 if t_s < 3 * HOUR_S else 1000.0)
    assert told(rows).ultimate_k.value == pytest.approx(50.0, abs=0.3)


@pytest.mark.parametrize("missing", [slice(100, 106), slice(200, 290), slice(0, 30)])
def test_a_gap_is_bridged_by_nothing(missing: slice) -> None:
    found = told(without(one_body(7), missing))
    assert found.ultimate_k.value == pytest.approx(50.0, abs=0.15)


def test_wild_readings_are_weighed_down() -> None:
    """Twelve minutes of 40 K too much in seven hours move the forecast by under half a kelvin."""
    rows = one_body(7)
    top_c = rows.temperature_c.copy()
    top_c[np.random.default_rng(1).choice(np.arange(180, 400), 12, replace=False)] += 40
    found = told(Rows(rows.t_s, top_c, rows.ambient_c, rows.loss_w))
    assert found.ultimate_k.value == pytest.approx(50.0, abs=0.5)


def test_nothing_is_told_before_a_third_of_the_warm_up() -> None:
    """About 11.3 h here, by the rule on paper: 3 h ln(50/3) + 0.5 h and the hold of 3 h."""
    warm_up_h = 3 * log(50 / 3) + 0.5 + 3
    for hours in (0.5, 1, 2, 3.4):
        rows = one_body(hours)
        assert forecast(rows, rule="IEC 60076-2", limits_k=LIMITS_K) is None
    assert told(one_body(4.3)).warm_up_s / HOUR_S == pytest.approx(warm_up_h, rel=0.1)


def test_when_the_rule_will_be_met() -> None:
    """A linear body, exactly exponential: each rule on paper, told at 6 h."""
    rows = one_body(6, exponent=1.0)
    iec = told(rows, exponent=1.0)
    assert iec.steady_at_s / HOUR_S == pytest.approx(3 * log(50 / 3) + 0.5 + 3, abs=0.15)
    dry = forecast(rows, rule="IEC 60076-11", limits_k=LIMITS_K, exponent=1.0)
    assert dry is not None
    assert iec.steady_at_s - dry.steady_at_s == pytest.approx(2 * HOUR_S)
    ieee = forecast(rows, rule="IEEE C57.12.90", limits_k=LIMITS_K, exponent=1.0)
    assert ieee is not None
    on_paper_h = 3 * log(50 * (exp(1) - 1) / (0.025 * 50))
    assert ieee.steady_at_s / HOUR_S == pytest.approx(on_paper_h, abs=0.15)


def test_what_is_already_held_counts() -> None:
    rows = one_body(10)
    newest_s = told(rows).at_s
    assert told(rows, held_s=2 * HOUR_S).steady_at_s == pytest.approx(newest_s + HOUR_S)
    assert told(rows, held_s=4 * HOUR_S).steady_at_s == newest_s


def test_both_statements_carry_the_sensors_and_their_difference_does_not() -> None:
    """Limits of 0.5 and 3 x 0.1 K, rectangular: their sum alone is 0.5 K and more."""
    found = told(one_body(12))
    least = stated(0.0, [Part(limit / 3**0.5, "rectangular") for limit in LIMITS_K]).expanded
    assert least > 0.45
    assert found.last_hour_k.expanded == pytest.approx(least, rel=0.02)
    assert found.ultimate_k.expanded > least
    blind = forecast(one_body(12), rule="IEC 60076-2", limits_k=[5.0])
    assert blind is not None
    assert blind.remaining_k == found.remaining_k
    assert blind.ultimate_k.expanded > 4
    difference = found.ultimate_k.value - found.last_hour_k.value
    assert found.remaining_k.value == pytest.approx(difference)
    mean_k = 50 - found.remaining_k.value
    assert found.last_hour_k.value == pytest.approx(mean_k, abs=0.02)


def test_more_readings_take_nothing_off_a_fixed_error() -> None:
    at_12, at_20 = told(one_body(12)).last_hour_k, told(one_body(20)).last_hour_k
    assert at_20.expanded == pytest.approx(at_12.expanded, rel=0.01)


def test_the_interval_shrinks_as_the_run_goes_on() -> None:
    widths = [told(one_body(hours)).ultimate_k.expanded for hours in (5, 7, 9, 11)]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] > 2 * widths[-1]


def test_rows_that_tell_nothing() -> None:
    """A unit that stays cold, one that was never read, a loss that wasn't, hardly any rows."""
    t_s = np.arange(0, 8 * HOUR_S, MINUTE_S)
    still, nothing = 0 * t_s + 20.0, t_s * np.nan
    for top_c, loss_w in (
        (still, still),
        (nothing, still),
        (still, nothing),
        (20 - t_s / 1e4, still),
    ):
        rows = Rows(t_s, top_c, still, loss_w)
        assert forecast(rows, rule="IEC 60076-2", limits_k=LIMITS_K) is None
    assert forecast(one_body(0.05), rule="IEC 60076-2", limits_k=LIMITS_K) is None


def test_refusals() -> None:
    three, two = np.arange(3.0), np.arange(2.0)
    with pytest.raises(ImpossibleReading, match="every row"):
        Rows(three, three, two, three + 1)
    with pytest.raises(ImpossibleReading, match="time rising"):
        Rows(three[::-1], three, three, three + 1)
    with pytest.raises(ImpossibleReading, match="finite"):
        Rows(three, three + np.inf, three, three + 1)
    with pytest.raises(ImpossibleReading, match="loss_w"):
        Rows(three, three, three, three)
    rows = one_body(6)
    for more in ({"exponent": 0.0}, {"lag_s": 0.0}, {"at_loss_w": -1.0}):
        with pytest.raises(ImpossibleReading, match="above zero"):
            told(rows, **more)
    with pytest.raises(ImpossibleReading, match="limit of error"):
        forecast(rows, rule="IEC 60076-2", limits_k=[-0.1])


def test_blocks_are_means_and_few() -> None:
    """Twelve hours and twenty-four: at most 120 blocks, whole ones from the newest back."""
    for hours in (1, 12, 24):
        rows = one_body(hours)
        means = blocks(rows)
        assert len(means.t_s) <= BLOCKS
        size = round(means.length_s / MINUTE_S)
        assert means.temperature_c[-1] == pytest.approx(rows.temperature_c[-size:].mean())
        assert means.t_s[-1] == pytest.approx(rows.t_s[-size:].mean())
    missing = without(one_body(2), slice(100, 110))
    assert (
        len(blocks(missing).t_s) == 121 - 10 - (121 - BLOCKS) * 0 or len(blocks(missing).t_s) > 50
    )


def test_balance_finds_gain_and_pull_with_their_covariance() -> None:
    """Scatter of 200 noisy repetitions of a linear body against what the covariance says."""
    rng = np.random.default_rng(2)
    rows = one_body(6, exponent=1.0)
    found = []
    for _ in range(200):
        noisy = rows.temperature_c + 0.05 * rng.standard_normal(len(rows.t_s))
        means = blocks(Rows(rows.t_s, noisy, rows.ambient_c, rows.loss_w))
        fit = balance(means, means.loss_w, means.rise_k)
        assert fit is not None
        found.append((fit.pull, fit.covariance[1, 1] ** 0.5))
    pulls: Floats
    pulls, stated_ = np.array(found).T
    assert pulls.mean() == pytest.approx(1 / (3 * HOUR_S), rel=0.005)
    assert 0.7 < np.median(stated_) / pulls.std() < 1.6
