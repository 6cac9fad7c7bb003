"""The stated uncertainty of a winding's rise against the truth of many simulated heat runs.

Drawn and stated in `winding_units` and `windings`; constructed throughout.
"""

import numpy as np
import pytest

from tests.heat.winding_figures import Figures, campaign, report

SEED = 60076
# One estimated slightly short of 45 s still has a curve.
SURELY_TOO_SLOW_S = 46.0


@pytest.fixture(scope="module", name="hundred")
def _hundred() -> Figures:
    return campaign(SEED, 100)


def test_the_uncertainty_covers_the_truth(hundred: Figures) -> None:
    """One winding of each pair, at least 42 of 50 covered: fewer are once in 140 at 93 %.

    A pair's windings share sensors and meter, so that only one of each is an independent draw. The
    binomial chance of 41 or fewer among 50 is 0.7 % at a coverage of 0.93, 69 % at 0.8. That it is
    no more than 98 % can't be told from 50: then all hold in 36 of 100 cases.
    """
    first = {j.pair: j for j in reversed(hundred.judged)}
    assert len(first) == 50
    assert sum(j.holds for j in first.values()) >= 42


def test_so_does_that_of_the_top_liquid(hundred: Figures) -> None:
    """One unit of each of 38 pairs, at least 31 covered: 30 or fewer are once in 200 at 93 %.

    Air and liquid are a kelvin apart before the run. Sensors set equal all the same leave that in
    every rise, and of 236 such units 82 were covered.
    """
    first = hundred.top_liquid_held[::2]
    assert len(first) == 38
    assert sum(first) >= 31


def test_it_is_neither_far_too_wide_nor_too_narrow(hundred: Figures) -> None:
    """Errors over their standard uncertainties: root mean square between 0.65 and 1.25.

    Of 50 independent normal draws it is 1 within 0.1 (standard deviation, 1/sqrt(2 n)); an
    uncertainty too wide by a half would make it 0.67, one too narrow by a quarter 1.33.
    """
    relative = np.array([j.error_k / j.standard_k for j in hundred.judged if not j.weak])
    assert 0.65 < float((relative**2).mean() ** 0.5) < 1.25


def test_a_winding_that_settles_too_slowly_has_no_number(hundred: Figures) -> None:
    """Above 45 s the run says that it can't; nothing else hinders it."""
    assert max(j.true.settling_s for j in hundred.judged) < SURELY_TOO_SLOW_S
    assert len(hundred.impossible) > 10
    for true, why in hundred.impossible:
        assert true.settling_s > 45 / 1.03
        assert "settles too slowly" in why


def test_a_weak_curve_is_one_that_settles_late(hundred: Figures) -> None:
    """Settling constants below 10 s make no weak curve, above 20 s some are."""
    assert not any(j.weak for j in hundred.judged if j.true.settling_s < 10)
    assert any(j.weak for j in hundred.judged)


@pytest.mark.campaign
def test_a_thousand_units() -> None:
    """The stated 95 % cover 93 to 98 of 100; figures go to docs/heat_run.md."""
    figures = campaign(SEED + 1, 1000)
    print("\n" + report(figures))
    held = 100 * float(np.mean([j.holds for j in figures.judged]))
    assert 93 <= held <= 98
    assert max(j.true.settling_s for j in figures.judged) < SURELY_TOO_SLOW_S
