"""Settling of a resistance reading: constructed records with known constants, noise, outliers."""

import numpy as np
import pytest

from calculation.errors import ImpossibleReading
from calculation.settling import cold_reading, selector_suits, settled_after_s, settling_constant
from tests.calculation.cooling import Floats

RESISTANCE_OHM = 1.245


def record(
    settling_s: float, pace_s: float = 2.0, noise: float = 0.0, overshoot: float = 0.3
) -> tuple[Floats, Floats]:
    """Return times since the d.c. was applied, and what is read; noise as a share."""
    time_s = np.arange(pace_s, max(120.0, 15 * settling_s), pace_s)
    shape = 1 + overshoot * np.exp(-time_s / settling_s)
    scatter = np.random.default_rng(3).normal(0.0, noise, len(time_s))
    return time_s, RESISTANCE_OHM * (shape + scatter)


class TestConstant:
    @pytest.mark.parametrize("settling_s", [3.0, 8.0, 20.0, 45.0, 90.0])
    @pytest.mark.parametrize("overshoot", [0.3, -0.3])
    def test_found_without_noise(self, settling_s: float, overshoot: float) -> None:
        """To a thousandth, whether the reading comes from above or from below."""
        found = settling_constant(*record(settling_s, overshoot=overshoot))
        assert found == pytest.approx(settling_s, rel=1e-3)

    @pytest.mark.parametrize("settling_s", [3.0, 8.0, 20.0, 45.0, 90.0])
    def test_found_in_noise(self, settling_s: float) -> None:
        """Within 5 % at a scatter of 0.02 % of the resistance (0.05 K)."""
        found = settling_constant(*record(settling_s, noise=2e-4))
        assert found == pytest.approx(settling_s, rel=0.05)

    @pytest.mark.parametrize("at", [4, 20, 50])
    def test_one_reading_far_off_does_not_move_it(self, at: int) -> None:
        """2 % wrong, a hundred times the scatter, wherever in the record."""
        time_s, ohm = record(8.0, noise=2e-4)
        ohm[at] *= 1.02
        assert settling_constant(time_s, ohm) == pytest.approx(8.0, rel=0.06)

    @pytest.mark.parametrize("noise", [0.0, 2e-4])
    def test_none_where_it_is_too_fast_to_be_seen(self, noise: float) -> None:
        """A twentieth of the pace: over before the first reading."""
        assert settling_constant(*record(0.1, noise=noise)) is None

    def test_none_of_noise_alone(self) -> None:
        """Of 300 records without settling, none is given a constant."""
        rng = np.random.default_rng(4)
        time_s = np.arange(2.0, 120.0, 2.0)
        found = [settling_constant(time_s, 1 + rng.normal(0, 1e-4, 59)) for _ in range(300)]
        assert found == [None] * 300

    def test_where_only_the_first_reading_shows_it_errs_to_the_long_side(self) -> None:
        """Amount and constant can't be told apart then; a reading too many is left out, not in."""
        time_s, ohm = record(1.0, pace_s=5.0, noise=2e-4)
        found = settling_constant(time_s, ohm)
        assert found is not None
        assert 0.9 < found < 5.0

    def test_a_record_that_ends_too_early(self) -> None:
        """Half a minute of a reading that settles with 30 s tells no constant."""
        time_s, ohm = record(30.0)
        with pytest.raises(ImpossibleReading, match=r"settling_s = .*ends before"):
            settling_constant(time_s[:15], ohm[:15])

    @pytest.mark.parametrize(
        ("time_s", "ohm", "why"),
        [
            ([1, 2, 3, 4, 5], [1.0] * 5, "at least 6 readings"),
            ([1, 2, 3, 4, 5, 6], [1.0] * 5, "each with its time"),
            ([1, 2, 3, 3, 5, 6], [1.0] * 6, "must rise"),
            ([-1, 2, 3, 4, 5, 6], [1.0] * 6, "must rise"),
            ([1, 2, 3, 4, 5, 6], [1.0] * 5 + [0.0], "resistance_ohm .*above zero"),
            ([1, 2, 3, 4, 5, 6], [1.0] * 5 + [np.nan], "resistance_ohm .*above zero"),
            ([1, 2, 3, 4, 5, np.inf], [1.0] * 6, "time_s .*finite"),
        ],
    )
    def test_refused_by_name(self, time_s: list[float], ohm: list[float], why: str) -> None:
        """Too few readings, times that don't rise, a resistance that isn't one."""
        with pytest.raises(ImpossibleReading, match=why):
            settling_constant(np.array(time_s, dtype=float), np.array(ohm))


class TestRule:
    def test_ten_constants(self) -> None:
        """From ten settling constants on; where none was seen, at once."""
        assert settled_after_s(4.0) == 40.0
        assert settled_after_s(45.0) == 450.0
        assert settled_after_s(None) == 0.0

    def test_above_45_s_it_says_that_it_cannot(self) -> None:
        """No cooling curve, and the reason."""
        with pytest.raises(ImpossibleReading, match="at most 45 s"):
            settled_after_s(45.1)

    def test_a_selector_may_go_round_below_a_tenth_of_its_dwell(self) -> None:
        """6 s at a dwell of 60 s is not below."""
        assert selector_suits(5.9, 60.0)
        assert not selector_suits(6.0, 60.0)
        assert selector_suits(None, 60.0)


class TestColdReading:
    def test_settled_readings_alone_are_averaged(self) -> None:
        """Resistance, scatter and count are those after ten constants of 5 s."""
        time_s, ohm = record(5.0, noise=2e-4)
        cold = cold_reading(time_s, ohm, 21.3)
        assert cold.settling_s == pytest.approx(5.0, rel=0.05)
        assert cold.resistance_ohm == pytest.approx(RESISTANCE_OHM, rel=1e-4)
        assert cold.readings == int((time_s >= 10 * (cold.settling_s or 0)).sum())
        assert cold.scatter_ohm == pytest.approx(2e-4 * RESISTANCE_OHM, rel=0.3)
        assert cold.temperature_c == 21.3

    def test_a_record_without_settled_readings(self) -> None:
        """Two minutes at 20 s are six constants: none of it counts."""
        time_s, ohm = record(20.0)
        with pytest.raises(ImpossibleReading, match="fewer than two cold readings"):
            cold_reading(time_s[:60], ohm[:60], 21.3)
