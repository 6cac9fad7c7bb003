"""Minute means: the same rows live and out of an archive, NaN where nobody looked."""

from math import inf, isnan, nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calculation.errors import ImpossibleReading
from calculation.minutes import LATEST_S, MinuteMeans

Row = tuple[str, float, float]


def fed(rows: list[Row]) -> MinuteMeans:
    minutes = MinuteMeans()
    for channel, t_s, value in rows:
        minutes.add(channel, t_s, value)
    return minutes


def test_a_minute_is_the_mean_of_its_readings_at_its_middle() -> None:
    rows = [
        ("top", 60.0 * minute + s, 10.0 * minute + s / 60) for minute in (2, 3) for s in (0, 30)
    ]
    history = fed([*rows, ("top", 250.0, 99.0)]).history()
    assert history.t_s.tolist() == [150.0, 210.0]
    assert history.channels["top"].tolist() == [20.25, 30.25]


def test_the_present_minute_is_not_told() -> None:
    """Ten seconds into the next it is, by whichever channel's reading shows that it is over."""
    minutes = fed([("top", 5.0, 1.0), ("top", 59.0, 3.0)])
    assert list(minutes.newly_over()) == []
    minutes.add("ambient", 60.0 + LATEST_S - 0.1, 20.0)
    assert list(minutes.newly_over()) == []
    minutes.add("ambient", 60.0 + LATEST_S, 20.0)
    [(t_s, means)] = minutes.newly_over()
    assert t_s == 30.0
    assert means["top"] == 2.0
    assert isnan(means["ambient"])
    assert list(minutes.newly_over()) == []


def test_a_gap_is_rows_of_nan() -> None:
    history = fed([("top", 10.0, 1.0), ("top", 310.0, 2.0), ("top", 380.0, 3.0)]).history()
    assert history.t_s.tolist() == [30.0, 90.0, 150.0, 210.0, 270.0, 330.0]
    assert np.array_equal(history.channels["top"], [1.0, nan, nan, nan, nan, 2.0], equal_nan=True)


def test_a_channel_that_went_silent_or_came_late_is_nan_there() -> None:
    rows = [("early", 0.0, 1.0), ("late", 130.0, 2.0), ("late", 200.0, 4.0), ("late", 260.0, 4.0)]
    columns = fed(rows).history().channels
    assert np.array_equal(columns["early"], [1.0, nan, nan, nan], equal_nan=True)
    assert np.array_equal(columns["late"], [nan, nan, 2.0, 4.0], equal_nan=True)


scans = st.lists(
    st.tuples(st.floats(0.1, 400.0), st.lists(st.floats(-50, 150), min_size=3, max_size=3)),
    min_size=2,
    max_size=60,
)


@given(scans)
def test_live_and_archived_rows_are_identical(scans: list[tuple[float, list[float]]]) -> None:
    """Scan by scan with questions between, or folded channel by channel: bit for bit the same."""
    live, t_s = MinuteMeans(), 1000.0
    told: list[tuple[float, dict[str, float]]] = []
    rows: list[Row] = []
    for step, values in scans:
        t_s += step
        for k, value in enumerate(values):
            # The third channel is published late, its reading being older.
            rows.append((str(k), t_s - 4.0 * (k == 2), value))
            live.add(*rows[-1])
        told.extend(live.newly_over())
    archived = fed(sorted(rows, key=lambda row: row[0])).history()
    assert [t_s for t_s, _ in told] == archived.t_s.tolist()
    for channel in ("0", "1", "2"):
        column = [means[channel] for _, means in told]
        assert np.array_equal(column, archived.channels[channel], equal_nan=True)
        assert np.array_equal(column, live.history().channels[channel], equal_nan=True)


def test_refusals() -> None:
    with pytest.raises(ImpossibleReading, match="top = 0: stand time runs backwards"):
        fed([("top", 70.0, 1.0), ("top", 10.0, 1.0)])
    for bad in (nan, inf):
        with pytest.raises(ImpossibleReading, match="finite"):
            fed([("top", 10.0, bad), ("top", 70.0, 1.0)])
        with pytest.raises(ImpossibleReading, match="finite"):
            fed([("top", 10.0, bad), ("other", 70.0, 1.0)]).history()
    with pytest.raises(ImpossibleReading, match="no reading"):
        MinuteMeans().history()
    assert list(MinuteMeans().newly_over()) == []
