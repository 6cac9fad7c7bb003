"""The stated intervals hold the simulated truth as often as they say."""

import pytest

from benchmarks.coverage import QUANTITIES, coverage


def test_stated_intervals_hold_the_truth_in_a_tenth_of_the_campaign() -> None:
    """Of 200 pairs, 95 % intervals hold as many truths as chance allows 93 to 97 of 100.

    Three standard deviations of a count of 200: 5.4 below 186, 3.6 above 194, so 176 to 200.
    """
    found = coverage(pairs=200)
    for name in QUANTITIES:
        assert found.held[name] >= 176, name
        assert found.mean_factor[name] < 2.05


@pytest.mark.campaign
def test_stated_intervals_hold_the_truth_in_93_to_97_of_100() -> None:
    """Over 2000 pairs the share lies between 93 and 97 %."""
    found = coverage(pairs=2000)
    for name in QUANTITIES:
        assert 93 <= found.percent(name) <= 97, name
