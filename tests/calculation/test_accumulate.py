"""Streaming accumulators equal the batch result."""

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calculation.accumulate import Accumulator, Window
from calculation.errors import ImpossibleReading


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=50))
def test_streaming_equals_batch(values: list[float]) -> None:
    """Mean and spread equal those of the whole list, to rounding."""
    folded = Accumulator()
    for t, value in enumerate(values):
        folded.add(value, t)
    scale = max(map(abs, values)) + 1e-100  # below it squares underflow
    assert folded.mean == pytest.approx(statistics.fmean(values), abs=1e-12 * scale)
    assert folded.spread == pytest.approx(statistics.stdev(values), rel=1e-9, abs=1e-7 * scale)
    assert folded.count == len(values)
    assert (folded.first_t, folded.last_t) == (0, len(values) - 1)


def test_small_spread_on_a_large_value_is_not_lost() -> None:
    """1e9 plus 4, 7, 13, 16 has a sample variance of 30; sums of squares would lose it."""
    folded = Accumulator()
    for t, value in enumerate((4.0, 7.0, 13.0, 16.0)):
        folded.add(1e9 + value, t)
    assert folded.spread**2 == pytest.approx(30.0, rel=1e-12)
    assert folded.spread_of_mean == pytest.approx(math.sqrt(30.0 / 4))


def test_no_reading_has_no_mean() -> None:
    """An empty average is refused by name; its spread is zero."""
    empty = Accumulator("lv.power.1")
    with pytest.raises(ImpossibleReading, match=r"lv\.power\.1 = missing"):
        _ = empty.mean
    assert (empty.count, empty.first_t, empty.spread, empty.spread_of_mean) == (0, None, 0.0, 0.0)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_number_is_refused(value: float) -> None:
    """One such reading would spoil the mean for ever."""
    folded = Accumulator("hv.current.1")
    with pytest.raises(ImpossibleReading, match=r"hv\.current\.1"):
        folded.add(value, 0)
    assert folded.count == 0


@given(
    steps=st.lists(st.tuples(st.integers(0, 5), st.floats(-1e3, 1e3)), min_size=1, max_size=40),
    length=st.integers(1, 20),
)
def test_window_holds_exactly_the_last_stretch(steps: list[tuple[int, float]], length: int) -> None:
    """A window equals the batch of the readings younger than its length."""
    window, kept, t = Window(length), [], 0
    for step, value in steps:
        t += step
        window.add(value, t)
        kept.append((t, value))
    young = [value for at, value in kept if at > t - length]
    folded = window.accumulated()
    assert folded.count == len(young)
    assert folded.mean == pytest.approx(statistics.fmean(young), rel=1e-9, abs=1e-9)


def test_window_refuses_time_that_runs_backwards() -> None:
    """Stand time only grows; a reading out of order is refused by name."""
    window = Window(10, "hv.power.1")
    window.add(1.0, 5)
    with pytest.raises(ImpossibleReading, match=r"hv\.power\.1 = 2: stand time"):
        window.add(2.0, 4)
