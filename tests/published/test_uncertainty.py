"""Uncertainty and decisions: rows g1 to g5, through the machinery that makes our budgets."""

from collections.abc import Mapping
from math import exp
from statistics import fmean, stdev
from typing import Any

import numpy as np
import pytest
from uncertainties import umath

from calculation.accumulate import Accumulator
from calculation.coverage import Part, half_width, student_factor
from calculation.decision import acceptance_limit_for, accepted_though_bad, risk_at_limit
from calculation.monte_carlo import monte_carlo
from calculation.source import Source
from calculation.uncertainty import Propagation, propagate

# JCGM 100:2008 H.2, table H.2 (T).
VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
MILLIAMPERES = [19.663, 19.639, 19.640, 19.685, 19.678]
RADIANS = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def correlation(a: list[float], b: list[float]) -> float:
    mean_a, mean_b = fmean(a), fmean(b)
    products = sum((x - mean_a) * (y - mean_b) for x, y in zip(a, b, strict=True))
    return products / (len(a) - 1) / stdev(a) / stdev(b)


def impedance(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """R, X, Z of voltage, current and phase, of uncertain numbers or arrays."""
    phase = inputs["phase"]
    sine, cosine = (
        (np.sin(phase), np.cos(phase))
        if isinstance(phase, np.ndarray)
        else (umath.sin(phase), umath.cos(phase))
    )
    z = inputs["voltage"] / inputs["current"]
    return {"R": z * cosine, "X": z * sine, "Z": z}


H2_SOURCES = [
    Source("voltage", fmean(VOLTS), stdev(VOLTS) / 5**0.5, "normal"),
    Source("current", fmean(MILLIAMPERES) / 1000, stdev(MILLIAMPERES) / 1000 / 5**0.5, "normal"),
    Source("phase", fmean(RADIANS), stdev(RADIANS) / 5**0.5, "normal"),
]
H2_CORRELATIONS = {
    ("voltage", "current"): correlation(VOLTS, MILLIAMPERES),
    ("voltage", "phase"): correlation(VOLTS, RADIANS),
    ("current", "phase"): correlation(MILLIAMPERES, RADIANS),
}


@pytest.fixture(name="h2", scope="module")
def _h2() -> Propagation:
    return propagate(H2_SOURCES, impedance, H2_CORRELATIONS)


def test_g1_correlations_of_the_readings() -> None:
    """H.2 (T): r(V,I) -0.355311, r(V,phi) 0.857624, r(I,phi) -0.645111."""
    assert list(H2_CORRELATIONS.values()) == pytest.approx(
        [-0.355311, 0.857624, -0.645111], abs=5e-7
    )


@pytest.mark.parametrize(
    ("name", "value", "standard"),
    [
        ("R", 127.73217, 0.0710714),
        ("X", 219.84651, 0.2955817),
        ("Z", 254.25970, 0.2363361),
    ],
)
def test_g1_values_and_uncertainties(
    h2: Propagation, name: str, value: float, standard: float
) -> None:
    """H.2 (T): R 127.732 ± 0.071, X 219.847 ± 0.295, Z 254.260 ± 0.236 ohm."""
    assert h2.budgets[name].value == pytest.approx(value, abs=5e-6)
    assert h2.budgets[name].standard == pytest.approx(standard, abs=5e-8)
    assert sum(row.share for row in h2.budgets[name].rows) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("one", "other", "r"), [("R", "X", -0.588), ("R", "Z", -0.485), ("X", "Z", 0.992512)]
)
def test_g1_correlations_of_the_results(h2: Propagation, one: str, other: str, r: float) -> None:
    """H.2 (T): results that share inputs stay correlated."""
    assert h2.correlation(one, other) == pytest.approx(r, abs=5e-4)
    assert h2.correlation(other, one) == pytest.approx(h2.correlation(one, other), rel=1e-12)


def test_g1_each_set_by_itself_then_the_mean() -> None:
    """H.2, approach 2 (T): 127.7316, 219.8469, 254.2600; u 0.07127, 0.29549, 0.23625."""
    sets = [
        impedance({"voltage": v, "current": i / 1000, "phase": phi})
        for v, i, phi in zip(VOLTS, MILLIAMPERES, RADIANS, strict=True)
    ]
    for name, value, standard in (
        ("R", 127.7316, 0.07127),
        ("X", 219.8469, 0.29549),
        ("Z", 254.2600, 0.23625),
    ):
        folded = Accumulator(name)
        for k, one in enumerate(sets):
            folded.add(one[name], k)
        assert folded.mean == pytest.approx(value, abs=5e-5)
        assert folded.spread_of_mean == pytest.approx(standard, abs=5e-6)


def test_g1_by_monte_carlo() -> None:
    """H.2 by drawing: the same uncertainties, correlations drawn as well."""
    drawn = monte_carlo(
        H2_SOURCES, impedance, ["R", "X", "Z"], draws=200_000, correlations=H2_CORRELATIONS
    )
    # 200 000 draws know a standard deviation to 0.16 %; four of that.
    for name, standard in (("R", 0.0710714), ("X", 0.2955817), ("Z", 0.2363361)):
        assert drawn[name].standard == pytest.approx(standard, rel=0.0064)


# JCGM 100:2008 H.1 (T): an end gauge; lengths in nm, temperatures in K.
H1_SOURCES = [
    Source("standard", 50_000_623.0, 25.0, "normal", 18),
    Source("comparator, readings", 0.0, 5.8, "normal", 24),
    Source("comparator, random", 0.0, 3.9, "normal", 5),
    Source("comparator, systematic", 0.0, 6.7, "normal", 8),
    Source("expansion, difference", 0.0, 1e-6, "rectangular", 50),
    Source("temperature, difference", 0.0, 0.05, "rectangular", 2),
    Source("expansion", 11.5e-6, 2e-6, "rectangular"),
    Source("temperature, mean", -0.1, 0.2, "normal"),
    Source("temperature, cycle", 0.0, 0.5, "arcsine"),
]


def end_gauge(x: Mapping[str, Any]) -> dict[str, Any]:
    """Length of the gauge, and its deviation from 50 000 838 nm to save digits."""
    difference = sum((x[name] for name in x if name.startswith("comparator")), 215.0)
    temperature = x["temperature, mean"] + x["temperature, cycle"]
    warm = x["expansion, difference"] * temperature
    warm = warm + x["expansion"] * x["temperature, difference"]
    return {"length": x["standard"] + difference - x["standard"] * warm}


def test_g2_end_gauge() -> None:
    """H.1 (T): 50 000 838 nm, u 32 nm (31.664), effective degrees of freedom 16 (16.752)."""
    budget = propagate(H1_SOURCES, end_gauge).budgets["length"]
    assert budget.value == pytest.approx(50_000_838, abs=0.5)
    assert budget.standard == pytest.approx(31.664, abs=5e-4)
    assert budget.freedom == pytest.approx(16.752, abs=5e-4)
    parts = {row.source: abs(row.contribution) for row in budget.rows}
    assert parts["standard"] == pytest.approx(25, abs=0.05)
    comparator = sum(v**2 for k, v in parts.items() if k.startswith("comparator")) ** 0.5
    assert comparator == pytest.approx(9.7, abs=0.05)
    assert parts["expansion, difference"] == pytest.approx(2.9, abs=0.05)
    assert parts["temperature, difference"] == pytest.approx(16.6, abs=0.05)
    t = student_factor(0.99, 16)
    assert t == pytest.approx(2.92, abs=5e-3)
    # The printed 93 nm is t times the rounded 32 nm.
    assert round(t * 32) == 93


def test_g2_second_order_terms_appear_in_the_draws() -> None:
    """H.1 (T): with second-order terms u is 34 nm (33.807); Monte Carlo has them by itself."""
    drawn = monte_carlo(H1_SOURCES, end_gauge, ["length"], draws=400_000)["length"]
    assert drawn.standard == pytest.approx(33.807, rel=0.005)


def test_g3_four_rectangles_and_four_normals() -> None:
    """JCGM 101, 9.2.3 (M): true end points ±3.88 (exact 3.879407), not ±3.92; 9.2.2: ±3.92."""
    assert half_width([Part(1.0, "rectangular")] * 4) == pytest.approx(3.879407, abs=1e-5)
    assert half_width([Part(1.0, "normal")] * 4) == pytest.approx(3.919928, abs=1e-5)
    sources = [Source(f"x{k}", 0.0, 3**0.5, "rectangular") for k in range(4)]
    drawn = monte_carlo(sources, lambda x: {"sum": sum(x.values())}, ["sum"], draws=400_000)["sum"]
    assert drawn.standard == pytest.approx(2.0, rel=0.005)
    assert drawn.upper == pytest.approx(3.879, abs=0.02)
    assert drawn.lower == pytest.approx(-3.879, abs=0.02)


def radial_error_motion(micrometres: float) -> float:
    """Prior of JCGM 106, 9.5.4: gamma of shape 4 and mean 1 µm."""
    return 4**4 / 6 * micrometres**3 * exp(-4 * micrometres)


def test_g4_global_consumers_risk() -> None:
    """JCGM 106:2012 9.5.4 (T): 4.2 % bad; 0.8 % accepted though bad; 1.67 µm for 0.1 %."""
    everything = accepted_though_bad(radial_error_motion, 2.0, 1e9, 0.25, 12.0)
    assert everything == pytest.approx(0.0423801, abs=5e-8)
    risk = accepted_though_bad(radial_error_motion, 2.0, 2.0, 0.25, 12.0)
    assert risk == pytest.approx(0.00801911, abs=5e-9)
    limit = acceptance_limit_for(0.001, radial_error_motion, 2.0, 0.25, 12.0)
    assert limit == pytest.approx(1.671829, abs=5e-7)


@pytest.mark.parametrize(("guard_in_u", "risk"), [(2.0, 0.0227501), (1.65, 0.0494715)])
def test_g5_guarded_acceptance(guard_in_u: float, risk: float) -> None:
    """M, recomputed: w = U gives 2.3 %, w = 1.65 u gives 5 % at the limit."""
    assert risk_at_limit(guard_in_u * 0.7, 0.7) == pytest.approx(risk, abs=5e-8)


@pytest.mark.parametrize(
    ("coverage", "freedom", "t"),
    [
        (0.95, 1, 12.71),
        (0.95, 10, 2.23),
        (0.95, 50, 2.01),
        (0.9545, 1, 13.97),
        (0.9545, 2, 4.53),
        (0.9545, 20, 2.13),
        (0.99, 5, 4.03),
        (0.9973, 100, 3.077),
    ],
)
def test_student_factors(coverage: float, freedom: float, t: float) -> None:
    """JCGM 100:2008 Table G.2 (from memory)."""
    assert student_factor(coverage, freedom) == pytest.approx(t, abs=5e-3)
