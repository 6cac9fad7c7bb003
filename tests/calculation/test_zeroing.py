"""Cold windings by their own sensors, air sensors against each other; constructed readings."""

from dataclasses import replace

import numpy as np
import pytest

from calculation.heat_readings import ColdResistance, HeatReadings, History
from calculation.readings import LoadMeans, LossReadings, NoLoadMeans
from calculation.rise_budget import (
    BALANCE,
    COLD,
    Extrapolated,
    RiseAllowance,
    rise_budgets,
)
from calculation.rises import DryTest, Liquid, LiquidTest, Winding
from calculation.zeroing import zeroed

LOSS = LossReadings(
    NoLoadMeans(400.0, 400.0, 1.0, 1.0), LoadMeans(1.0, 1.0, 1.0, 1.0, 1.0), None, 1.0, 2.0, 20.0
)
LIQUID = {"ambient.1": 22.4, "ambient.2": 22.0, "a.top_liquid": 21.0, "a.bottom_liquid": 20.4}
DRY = {"ambient.1": 22.0, "a.winding_lv": 21.0, "a.winding_hv": 20.5, "a.core": 19.0}
WINDING = Winding(2.8, 20.0, 2.8 * 315 / 255, 235.0, 1.0)


def read(balance_c: dict[str, float]) -> HeatReadings:
    """Return readings of two minutes in balance as given."""
    cold = ColdResistance(1.0, 99.0, None, 0.0, 10)
    columns = {name: np.array([c, c + 1.0]) for name, c in balance_c.items()}
    history = History(np.array([30.0, 90.0]), columns)
    return HeatReadings(
        LOSS, history, balance_c, {"a_lv": cold, "a_hv": cold}, {}, 0.0, None, 120.0
    )


class TestCold:
    def test_a_winding_in_liquid_has_the_mean_of_its_sensors(self) -> None:
        """20.7 of top and bottom; half of 0.6 as a triangle, a tenth of 1.5 to the air."""
        cold = zeroed(read(LIQUID), 1e-6).cold["a_hv"]
        assert cold.temperature_c == pytest.approx(20.7)
        assert cold.sensors == 2
        assert cold.apart_k == pytest.approx((0.3**2 / 6 + 0.15**2 / 3) ** 0.5)

    def test_what_sensors_differ_by_anyway_is_no_layer(self) -> None:
        """0.6 K of sensors of 0.3 K, whose difference has a variance of 0.06; of 1 K none."""
        apart = zeroed(read(LIQUID), 0.3).cold["a_hv"].apart_k
        assert apart == pytest.approx(((0.36 - 0.06) / 4 / 6 + 0.15**2 / 3) ** 0.5)
        apart = zeroed(read(LIQUID), 1.0).cold["a_hv"].apart_k
        assert apart == pytest.approx(0.15 / 3**0.5)

    def test_what_lies_in_the_morning_between_air_and_liquid_stays(self) -> None:
        """1.5 K of air over liquid is no error of sensors: the liquid's readings are as read."""
        history = zeroed(read(LIQUID), 2.0).history
        assert history.channels["a.top_liquid"] == pytest.approx([21.0, 22.0])
        assert history.channels["a.bottom_liquid"] == pytest.approx([20.4, 21.4])

    def test_a_dry_winding_has_its_own(self) -> None:
        """Not its neighbour's, and not the core's."""
        cold = zeroed(read(DRY), 0.5).cold
        assert cold["a_lv"].temperature_c == 21.0
        assert cold["a_hv"].temperature_c == 20.5
        assert cold["a_hv"].apart_k == pytest.approx(0.15 / 3**0.5)

    @pytest.mark.parametrize("without", ["a.bottom_liquid", "ambient"])
    def test_what_was_not_seen_is_not_known(self, without: str) -> None:
        """One sensor shows no layers, none in the air no imbalance."""
        balance = {name: c for name, c in LIQUID.items() if not name.startswith(without)}
        assert zeroed(read(balance), 0.5).cold["a_hv"].apart_k is None

    def test_without_a_sensor_of_its_own_it_stays(self) -> None:
        """Another thermometer's temperature is kept."""
        readings = read({"ambient.1": 22.0})
        assert zeroed(readings, 0.5).cold == readings.cold


class TestAir:
    def test_the_sensors_of_the_air_read_alike(self) -> None:
        """22.4 and 22.0: both 22.2 in balance, and 0.2 K from there for the whole night."""
        found = zeroed(read(LIQUID), 0.5)
        assert found.balance_c["ambient.1"] == pytest.approx(22.2)
        assert found.history.channels["ambient.1"] == pytest.approx([22.2, 23.2])
        assert found.history.channels["ambient.2"] == pytest.approx([22.2, 23.2])

    def test_sensors_too_far_apart_stay(self) -> None:
        """0.2 K from their mean with a limit of 0.05 K: one of them isn't in the same air."""
        found = zeroed(read(LIQUID), 0.05)
        assert found.history.channels["ambient.1"] == pytest.approx([22.4, 23.4])
        assert found.cold["a_hv"].sensors == 2


class TestBudget:
    known = Extrapolated(0.0, 0.0, 0.0, cold_sensors=2, apart_k=0.2)
    nothing = RiseAllowance(0, 0, None, 0, 0, 0, 0, 0, 0)
    liquid = Liquid(70.0, 50.0, 22.0)
    test = LiquidTest({"a_hv": WINDING}, liquid, liquid, 1.0, "ONAN", 100e3)

    def test_what_the_run_showed_goes_before_the_allowance(self) -> None:
        """0.2 K standard times 315/255, though 5 K would have been allowed."""
        allowance = replace(self.nothing, balance_k=5.0)
        budget = rise_budgets(self.test, {"a_hv": self.known}, allowance)["average_k(a_hv)"]
        assert budget.standard == pytest.approx(0.2 * 315 / 255)
        unseen = replace(self.known, apart_k=None)
        budget = rise_budgets(self.test, {"a_hv": unseen}, allowance)["average_k(a_hv)"]
        assert budget.rows[0].source == BALANCE
        assert budget.standard == pytest.approx(5.0 / 3**0.5 * 315 / 255)

    @pytest.mark.parametrize(("sensors", "mean"), [(2, 2**-0.5), (1, 1.0)])
    def test_sensors_that_told_both_drop_out_of_the_gradient(
        self, sensors: int, mean: float
    ) -> None:
        """315/255 - 1 of their mean's error stays; over ambient 315/255 and the air's."""
        known = replace(self.known, cold_sensors=sensors, apart_k=0.0)
        allowance = replace(self.nothing, sensor_k=1.0, air_sensors=3)
        budgets = rise_budgets(self.test, {"a_hv": known}, allowance)
        own = mean / 3**0.5
        assert budgets["gradient_k(a_hv)"].standard == pytest.approx((315 / 255 - 1) * own)
        air = 1 / 3
        expected = ((own * 315 / 255) ** 2 + air**2) ** 0.5
        assert budgets["average_k(a_hv)"].standard == pytest.approx(expected)

    def test_dry_its_own_sensor_and_the_airs(self) -> None:
        """The cold sensor's error times 315/255, the mean of three in the air."""
        dry = DryTest({"a_hv": WINDING}, 22.0, "AN")
        known = replace(self.known, cold_sensors=1, apart_k=0.0)
        allowance = replace(self.nothing, sensor_k=1.0, air_sensors=3)
        budget = rise_budgets(dry, {"a_hv": known}, allowance)["average_k(a_hv)"]
        assert budget.rows[0].source == COLD
        assert budget.standard == pytest.approx(((315 / 255) ** 2 / 3 + 1 / 9) ** 0.5)
