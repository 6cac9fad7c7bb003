"""The cooling curve on constructed data: truth, what is left out, refusals, and its coverage."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import curve_fit  # type: ignore[import-untyped]  # ships no types

from calculation.cooling_curve import CoolingCurve, cooling_curve
from calculation.errors import ImpossibleReading
from calculation.heat_readings import CoolingReadings
from tests.calculation.cooling import COPPER_K, Floats, Truth, drawn

EVERY_15_S = np.arange(30.0, 1500.0, 15.0)
QUICK = Truth(settling_s=None, applied_s=(0.0,))


def fitted(truth: Truth, times: Floats = EVERY_15_S, noise_k: float = 0.0) -> CoolingCurve:
    """Return the fit of what is read of a truth."""
    rng = np.random.default_rng(5)
    return cooling_curve(truth.read(times, noise_k, rng), truth.cold(), COPPER_K)


class TestTruth:
    @pytest.mark.parametrize("constant_min", [1.5, 4.0, 10.0])
    @pytest.mark.parametrize("gradient_k", [3.0, 30.0])
    def test_its_own_model_without_noise_is_found(
        self, constant_min: float, gradient_k: float
    ) -> None:
        """Parameters and temperature at zero, to a millionth of a kelvin."""
        truth = replace(QUICK, constant_min=constant_min, gradient_k=gradient_k)
        curve = fitted(truth)
        assert curve.winding_0_c == pytest.approx(truth.at_zero_c, abs=1e-6)
        assert curve.time_constant_s == pytest.approx(60 * constant_min, rel=1e-6)
        assert curve.slow == pytest.approx((truth.liquid_c, truth.slope, 0.0), abs=1e-6)
        assert curve.residuals_k == pytest.approx(np.zeros(len(EVERY_15_S)), abs=1e-6)

    def test_resistance_is_that_of_the_temperature(self) -> None:
        """R(0) read back by the same law gives the winding temperature of the truth."""
        curve = fitted(QUICK)
        cold = QUICK.cold()
        back = curve.resistance_0_ohm / cold.resistance_ohm * (COPPER_K + cold.temperature_c)
        assert back - COPPER_K == pytest.approx(QUICK.at_zero_c, abs=1e-6)

    @pytest.mark.parametrize("curvature", [-0.004, 0.004])
    def test_a_curved_liquid_is_followed(self, curvature: float) -> None:
        """Read from 2.5 min on, where a straight line with an exponential is 0.15 K wrong."""
        truth = replace(QUICK, curvature=curvature)
        times = np.arange(150.0, 1500.0, 15.0)
        off = abs(fitted(truth, times, noise_k=0.01).winding_0_c - truth.at_zero_c)
        straight = abs(_straight(truth, times) - truth.at_zero_c)
        assert straight > 0.15
        assert off < straight / 2

    @pytest.mark.parametrize("settling_s", [3.0, 10.0, 20.0])
    @pytest.mark.parametrize("exponent", [1.0, 1.25])
    def test_decays_that_are_not_exponential_are_covered(
        self, settling_s: float, exponent: float
    ) -> None:
        """Convection with the power 1.25 as well as a pure exponential, 0.05 K of noise."""
        truth = Truth(exponent=exponent, settling_s=settling_s)
        curve = fitted(truth, np.arange(30.0, 1800.0, 15.0), 0.05)
        assert abs(curve.winding_0_c - truth.at_zero_c) < 2 * curve.standard_k

    def test_the_model_part_stays_without_noise(self) -> None:
        """(1.25 - 1)/2 t/T of the extrapolated step at 30 s, at 4 min 4 % of it."""
        for first_s, share in ((30.0, 0.125 * 0.5 / 6.0), (240.0, 0.04)):
            times = EVERY_15_S[first_s <= EVERY_15_S]
            curve = fitted(QUICK, times)
            step = QUICK.at_zero_c - float(QUICK.winding_c(times[:1])[0])
            assert share * step * (1 - 1e-6) < curve.standard_k < 4 * share * step

    def test_how_fast_it_cools(self) -> None:
        """The slope at shutdown of the constructed curve: B/T - b."""
        expected = (18.0 / 6.0 + 0.12) / 60
        assert fitted(QUICK).cooling_k_per_s == pytest.approx(expected, rel=1e-6)

    def test_the_curve_at_times(self) -> None:
        """At the readings it is reading less residual, at zero the winding at shutdown."""
        curve = fitted(Truth(), noise_k=0.1)
        at = curve.temperature_c(np.array([0.0]))
        assert at[0] == pytest.approx(curve.winding_0_c)
        assert curve.scatter_k == pytest.approx(0.1, rel=0.25)


class TestLeftOut:
    def test_unsettled_readings_are_shown_and_do_not_count(self) -> None:
        """Ten settling constants of 6 s after the d.c. at 20 s; those before hang far off."""
        truth = Truth(settling_s=6.0)
        curve = fitted(truth, np.arange(25.0, 1500.0, 5.0))
        assert curve.first_settled_s == 80.0
        assert not curve.settled[:11].any()
        assert curve.settled[11:].all()
        assert curve.residuals_k[0] > 10.0
        assert curve.winding_0_c == pytest.approx(truth.at_zero_c, abs=0.01)

    def test_counted_they_would_falsify(self) -> None:
        """The same readings with a settling constant not known: kelvins wrong."""
        truth = Truth(settling_s=6.0)
        readings = truth.read(np.arange(25.0, 1500.0, 5.0))
        curve = cooling_curve(readings, replace(truth.cold(), settling_s=None), COPPER_K)
        assert curve.winding_0_c - truth.at_zero_c > 3.0

    def test_a_selector_that_goes_round_settles_anew_at_each_visit(self) -> None:
        """Four windings, 60 s at each: of every visit the readings after ten times 3 s count."""
        visits = tuple(float(v) for v in range(20, 1500, 240))
        times = np.concatenate([v + np.arange(5.0, 60.0, 5.0) for v in visits])
        truth = Truth(settling_s=3.0, applied_s=visits)
        curve = fitted(truth, times)
        since = times - np.repeat(visits, 11)
        assert (curve.settled == (since >= 30.0)).all()
        assert curve.winding_0_c == pytest.approx(truth.at_zero_c, abs=0.01)

    def test_weak_is_what_began_after_one_time_constant(self) -> None:
        """A winding of 4 min whose reading settles with 30 s, against one with 10 s."""
        assert fitted(Truth(constant_min=4.0, settling_s=30.0), np.arange(20.0, 1800.0, 10.0)).weak
        assert not fitted(Truth(constant_min=4.0, settling_s=10.0)).weak

    @pytest.mark.parametrize("settling_s", [45.5, 60.0, 90.0])
    def test_above_45_s_it_says_that_it_cannot(self, settling_s: float) -> None:
        """Named: the settling constant."""
        with pytest.raises(ImpossibleReading, match=r"settling_s = .*too slowly"):
            fitted(Truth(settling_s=settling_s), np.arange(20.0, 3000.0, 10.0))


class TestRefusals:
    @pytest.mark.parametrize(
        ("times", "ohms", "applied", "why"),
        [
            (EVERY_15_S[:7], None, (0.0,), "at least 8 readings"),
            (EVERY_15_S[:10], None, (0.0,), "at least 300 s of cooling"),
            (EVERY_15_S[::-1], None, (0.0,), "time_s .*must rise"),
            (EVERY_15_S - 60.0, None, (0.0,), "time_s .*from the shutdown on"),
            (EVERY_15_S, "zero", (0.0,), "resistance_ohm = .*above zero"),
            (EVERY_15_S, "nan", (0.0,), "resistance_ohm = .*finite"),
            (EVERY_15_S, "milli", (0.0,), "resistance_ohm = .*an m or k lost"),
            (EVERY_15_S, "short", (0.0,), "each with its time"),
            (EVERY_15_S, None, (), "applied_s"),
            (EVERY_15_S, None, (60.0, 0.0), "applied_s"),
            (EVERY_15_S, None, (45.0,), "before the d.c. was applied"),
            (EVERY_15_S * 60, None, (0.0,), "time_s = .*at most"),
        ],
    )
    def test_named(
        self, times: Floats, ohms: str | None, applied: tuple[float, ...], why: str
    ) -> None:
        """Every reading that can't be is refused by its name."""
        ohm = QUICK.read(np.minimum(np.sort(np.abs(times)), 1500.0)).resistance_ohm
        if ohms == "zero":
            ohm[5] = 0.0
        elif ohms == "nan":
            ohm[5] = np.nan
        elif ohms == "milli":
            ohm = ohm * 1000
        elif ohms == "short":
            ohm = ohm[:-1]
        with pytest.raises(ImpossibleReading, match=why):
            cooling_curve(CoolingReadings(times, ohm, applied), QUICK.cold(), COPPER_K)

    def test_a_winding_that_warms_has_no_cooling_curve(self) -> None:
        """Curved upwards towards the liquid: not what a shut-down winding does."""
        with pytest.raises(ImpossibleReading, match="doesn't cool"):
            fitted(replace(QUICK, gradient_k=-10.0))

    def test_a_winding_no_warmer_than_before(self) -> None:
        """The cold resistance of another winding, or hot and cold interchanged."""
        truth = replace(QUICK, liquid_c=5.0, gradient_k=4.0)
        with pytest.raises(ImpossibleReading, match="no warmer at shutdown"):
            fitted(truth)


def _straight(truth: Truth, times: Floats) -> float:
    """Return the temperature at zero by a line with an exponential, fitted by another library."""

    def model(t: Floats, a: float, b: float, amount: float, constant: float) -> Floats:
        return np.asarray(a + b * t + amount * np.exp(-t / constant))

    start = (truth.liquid_c, 0.0, truth.gradient_k, truth.constant_min)
    found, _ = curve_fit(model, times / 60, truth.winding_c(times), start)
    return float(found[0] + found[2])


def covered(of_each: int) -> dict[tuple[float, bool], list[bool]]:
    """Return by exponent and weakness whether the interval of 95 % held the truth."""
    rng = np.random.default_rng(20)
    found: dict[tuple[float, bool], list[bool]] = {}
    for settling_s in (3.0, 10.0, 20.0, 30.0, 45.0):
        for exponent in (1.0, 1.25):
            for _ in range(of_each):
                truth, times, noise_k = drawn(rng, settling_s, exponent)
                curve = cooling_curve(truth.read(times, noise_k, rng), truth.cold(), COPPER_K)
                held = abs(curve.winding_0_c - truth.at_zero_c) <= 2 * curve.standard_k
                found.setdefault((exponent, curve.weak), []).append(held)
    return found


def _share(found: dict[tuple[float, bool], list[bool]], *, weak: bool) -> float:
    held = [h for (_, is_weak), all_ in found.items() if is_weak is weak for h in all_]
    return sum(held) / len(held)


def test_coverage_of_a_hundred() -> None:
    """Of 100 constructed curves the stated interval holds 9 in 10 truths, were it by chance."""
    assert _share(covered(10), weak=False) >= 0.9


@pytest.mark.campaign
def test_coverage_of_a_thousand() -> None:
    """Of 1000: at least 93 of 100 where not weak, of either decay; weak ones 90.

    Without the other decay's share it is 89 where the liquid convects with the power 1.25.
    """
    found = covered(100)
    for (exponent, weak), held in sorted(found.items()):
        name = "weak" if weak else "not weak"
        print(f"decay of power {exponent}, {name}: {100 * np.mean(held):.1f} of 100, n {len(held)}")
    print(f"not weak: {100 * _share(found, weak=False):.1f}, weak {_share(found, weak=True):.3f}")
    assert np.mean(found[1.0, False]) >= 0.93
    assert np.mean(found[1.25, False]) >= 0.93
    assert _share(found, weak=True) >= 0.9
