"""Rises of a heat run: by hand, at their bounds, and their budgets. Constructed data throughout."""

from dataclasses import replace

import numpy as np
import pytest

from calculation.cooling_curve import cooling_curve
from calculation.errors import ImpossibleReading
from calculation.monte_carlo import monte_carlo
from calculation.rise_budget import (
    BALANCE,
    Extrapolated,
    RiseAllowance,
    extrapolated,
    rise_budgets,
    rise_model,
    rise_sources,
)
from calculation.rises import (
    DryTest,
    Liquid,
    LiquidTest,
    Winding,
    at_rated_current,
    at_rated_loss,
    combined_dry_rise,
    quantities_of,
)
from calculation.two_readings import cooling_constant, heating_constant, ultimate_rise
from tests.calculation.cooling import COPPER_K, Truth

# A winding of 80 degC: 315/255 of its resistance at 20 degC.
HV = Winding(2.8, 20.0, 2.8 * 315 / 255, COPPER_K, 1.0)
LV = Winding(0.010, 20.0, 0.010 * 317 / 255, COPPER_K, 1.0)
LIQUID = Liquid(70.0, 50.0, 22.0)
TEST = LiquidTest({"a_hv": HV, "a_lv": LV}, LIQUID, LIQUID, 1.0, "ONAN", 100e3)
DRY = DryTest({"a_hv": HV}, 22.0, "AN")
KNOWN = {name: Extrapolated(0.2, 0.0, 0.05) for name in ("a_hv", "a_lv")}
# What one asked about: everything else is without error.
NOTHING = RiseAllowance(0, 0, None, 0, 0, 0, 0, 0, 0)


class TestLiquid:
    def test_by_hand_at_rated(self) -> None:
        """Top 48, average 38, winding 58 with a gradient of 20, hot spot 48 + 1.1 x 20."""
        rises = TEST.rises()
        assert rises.top_liquid_k == pytest.approx(48.0)
        assert rises.average_liquid_k == pytest.approx(38.0)
        hv = rises.windings["a_hv"]
        assert hv.temperature_c == pytest.approx(80.0)
        assert hv.gradient_k == pytest.approx(20.0)
        assert hv.average_k == pytest.approx(58.0)
        assert hv.hot_spot_k == pytest.approx(70.0)
        assert rises.windings["a_lv"].gradient_k == pytest.approx(22.0)

    def test_off_rated_each_part_by_its_own_power(self) -> None:
        """Liquid with loss to the 0.8, gradient with the winding's own current to the 1.6."""
        hv = replace(HV, current_ratio=1 / 0.95)
        rises = replace(TEST, windings={"a_hv": hv}, loss_ratio=1 / 0.9).rises()
        assert rises.top_liquid_k == pytest.approx(48.0 / 0.9**0.8)
        gradient = 20.0 / 0.95**1.6
        assert rises.windings["a_hv"].gradient_k == pytest.approx(gradient)
        assert rises.windings["a_hv"].average_k == pytest.approx(38.0 / 0.9**0.8 + gradient)
        assert rises.windings["a_hv"].hot_spot_k == pytest.approx(48 / 0.9**0.8 + 1.1 * gradient)

    def test_gradient_at_shutdown_on_the_liquid_of_the_steady_hour(self) -> None:
        """The liquid fell by 2 K before the shutdown: its rise is that of the hour all the same."""
        cooler = Liquid(68.0, 48.0, 22.0)
        hv = replace(TEST, shutdown=cooler).rises().windings["a_hv"]
        assert hv.gradient_k == pytest.approx(22.0)
        assert hv.average_k == pytest.approx(60.0)

    @pytest.mark.parametrize(
        ("change", "why"),
        [
            ({"loss_ratio": 1 / 0.79}, "loss of the test over rated = 0.79"),
            ({"loss_ratio": 1 / 1.21}, "loss of the test over rated = 1.21"),
            ({"loss_ratio": 0.0}, "loss of the test over rated = 0:"),
            ({"steady": Liquid(20.0, 20.0, 22.0)}, "liquid no warmer than its coolant"),
            ({"steady": Liquid(50.0, 51.0, 22.0)}, "warmer at the bottom"),
            ({"shutdown": Liquid(90.0, 80.0, 22.0)}, "a_hv.temperature_c = 80.*colder than"),
        ],
    )
    def test_refused_by_name(self, change: dict[str, object], why: str) -> None:
        """What can't be, and what is too far from rated to be corrected."""
        with pytest.raises(ImpossibleReading, match=why):
            replace(TEST, **change).rises()  # type: ignore[arg-type]  # names of the table above

    @pytest.mark.parametrize("share", [0.8, 1.2])
    def test_the_bounds_themselves_are_corrected(self, share: float) -> None:
        """20 % of loss and 10 % of current either way."""
        assert at_rated_loss(50.0, 1 / share, 1.0) == pytest.approx(50.0 / share)
        half = 1 + (share - 1) / 2
        assert at_rated_current(20.0, 1 / half, 1.6) == pytest.approx(20.0 / half**1.6)

    @pytest.mark.parametrize("share", [0.899, 1.101])
    def test_current_beyond_its_bound(self, share: float) -> None:
        """10 % of current, in the winding itself."""
        hv = replace(HV, current_ratio=1 / share)
        with pytest.raises(ImpossibleReading, match="current of the test over rated"):
            replace(TEST, windings={"a_hv": hv}).rises()


class TestDry:
    @pytest.mark.parametrize(("cooling", "q"), [("AN", 1.6), ("AF", 1.8)])
    def test_over_cooling_air_by_its_power(self, cooling: str, q: float) -> None:
        """58 K at 96 % of rated current."""
        hv = replace(HV, current_ratio=1 / 0.96)
        rises = replace(DRY, windings={"a_hv": hv}, cooling=cooling).rises()  # type: ignore[arg-type]  # a name of the table
        assert rises.windings["a_hv"].average_k == pytest.approx(58.0 / 0.96**q)
        assert set(quantities_of(rises)) == {"temperature_c(a_hv)", "average_k(a_hv)"}

    def test_a_winding_colder_than_its_air(self) -> None:
        """Named."""
        with pytest.raises(ImpossibleReading, match="no warmer than its cooling air"):
            replace(DRY, ambient_c=80.0).rises()

    def test_combination_of_separate_runs(self) -> None:
        """Without a no-load rise that of the load alone; two equal ones make 2^K."""
        assert combined_dry_rise(80.0, 0.0, "AN") == pytest.approx(80.0)
        assert combined_dry_rise(40.0, 40.0, "AF") == pytest.approx(40.0 * 2**0.9)
        with pytest.raises(ImpossibleReading, match="above zero"):
            combined_dry_rise(0.0, 18.0, "AN")


class TestTwoReadings:
    @pytest.mark.parametrize(("first", "second"), [(25.0, 50.0), (25.0, 25.0), (0.0, 10.0)])
    def test_what_no_exponential_is(self, first: float, second: float) -> None:
        """No fall of the gain from interval to interval, or no gain at all."""
        with pytest.raises(ImpossibleReading):
            ultimate_rise(first, second)
        with pytest.raises(ImpossibleReading):
            heating_constant(first, second, 1.0)

    def test_a_rise_that_cools_falls(self) -> None:
        """Refused where it doesn't."""
        with pytest.raises(ImpossibleReading, match="must fall"):
            cooling_constant(10.0, 10.0, 1.0)


class TestBudget:
    def test_values_are_those_of_the_rises(self) -> None:
        """The same lines: a budget can't disagree with its value."""
        budgets = rise_budgets(TEST, KNOWN)
        assert {n: b.value for n, b in budgets.items()} == pytest.approx(
            quantities_of(TEST.rises())
        )

    def test_the_cold_temperature_dominates(self) -> None:
        """With usual limits the winding's rise has U of 1.1 to 2.6 K, most of it from there."""
        budget = rise_budgets(TEST, KNOWN)["average_k(a_hv)"]
        assert budget.rows[0].source == BALANCE
        assert budget.rows[0].sensitivity == pytest.approx(-315 / 255)
        assert 1.1 < budget.expanded < 2.6

    def test_the_meters_error_of_reading_drops_out(self) -> None:
        """5 % of both resistances is nothing; a linearity of 0.05 % in each is not."""
        scale = replace(NOTHING, meter_percent=5.0)
        budget = rise_budgets(TEST, {n: Extrapolated(0, 0, 0) for n in KNOWN}, scale)
        assert budget["average_k(a_hv)"].standard == pytest.approx(0.0, abs=1e-9)
        bent = replace(NOTHING, linearity_percent=0.05)
        budget = rise_budgets(TEST, {n: Extrapolated(0, 0, 0) for n in KNOWN}, bent)
        expected = 315 * 5e-4 * (2 / 3) ** 0.5
        assert budget["average_k(a_hv)"].standard == pytest.approx(expected)

    def test_zeroed_sensors_share_what_drops_out_of_differences(self) -> None:
        """1 K of all together: nothing in the liquid's rise, R2/R1 - 1 in the winding's."""
        known = {n: Extrapolated(0, 0, 0) for n in KNOWN}
        zeroed = rise_budgets(TEST, known, replace(NOTHING, sensor_k=1.0, zeroed_k=0.0))
        assert zeroed["top_liquid_k"].standard == pytest.approx(0.0, abs=1e-9)
        share = 315 / 255 - 1
        assert zeroed["average_k(a_hv)"].standard == pytest.approx(share / 3**0.5)
        apart = rise_budgets(TEST, known, replace(NOTHING, sensor_k=1.0))
        assert apart["top_liquid_k"].standard == pytest.approx((2 / 3) ** 0.5)
        assert apart["average_k(a_hv)"].standard > 1.0 / 3**0.5

    def test_a_fixed_error_is_never_divided_by_a_count(self) -> None:
        """A hundred readings of the cold resistance leave the cold temperature's part as it was."""
        truth = Truth()
        readings = truth.read(np.arange(30.0, 1500.0, 15.0))
        cold = replace(truth.cold(), scatter_ohm=1e-3, readings=1)
        shares = []
        for count in (1, 100):
            of_many = replace(cold, readings=count)
            known = extrapolated(cooling_curve(readings, of_many, COPPER_K), of_many)
            assert known.cold_standard_ohm == pytest.approx(1e-3 / count**0.5)
            budget = rise_budgets(TEST, dict.fromkeys(KNOWN, known))["average_k(a_hv)"]
            shares += [abs(r.contribution) for r in budget.rows if r.source == BALANCE]
        assert shares[0] == pytest.approx(shares[1])

    def test_extrapolation_and_instant(self) -> None:
        """0.3 K as it is; half a second of 0.1 K/s as 0.05 K of half-width."""
        known = dict.fromkeys(KNOWN, Extrapolated(0.3, 0.0, 0.1))
        budget = rise_budgets(TEST, known, replace(NOTHING, shutdown_s=0.5))
        found = budget["gradient_k(a_hv)"].standard
        assert found == pytest.approx((0.3**2 + 0.05**2 / 3) ** 0.5)

    def test_exponents_count_only_off_rated(self) -> None:
        """At rated loss the power of the liquid is nothing, at 0.9 of it 0.1 of it is."""
        loose = replace(NOTHING, exponent=0.1)
        known = {n: Extrapolated(0, 0, 0) for n in KNOWN}
        assert rise_budgets(TEST, known, loose)["top_liquid_k"].standard == 0.0
        off = rise_budgets(replace(TEST, loss_ratio=1 / 0.9), known, loose)["top_liquid_k"]
        expected = 48 / 0.9**0.8 * np.log(1 / 0.9) * 0.1 / 3**0.5
        assert off.standard == pytest.approx(expected)

    @pytest.mark.parametrize("test", [TEST, DRY], ids=["liquid", "dry"])
    def test_drawing_agrees(self, test: LiquidTest[float] | DryTest[float]) -> None:
        """First order against 50,000 draws through the same model: within 3 %."""
        sources, model = rise_sources(KNOWN), rise_model(test, KNOWN)
        budgets = rise_budgets(test, KNOWN)
        drawn = monte_carlo(sources, model, list(budgets), draws=50_000)
        for name, budget in budgets.items():
            assert drawn[name].standard == pytest.approx(budget.standard, rel=0.03)
            half = (drawn[name].upper - drawn[name].lower) / 2
            assert half == pytest.approx(budget.expanded, rel=0.06)
