"""A heat run's tables: the judged rises last, each value with its uncertainty, in 80 columns."""

import io
from typing import Any

import pytest
from rich.console import Console

from acquire.heat_cells import stated
from acquire.heat_table import heat_tables, judged_outside
from tests.acquire.canned import RESULT
from tests.acquire.heat_canned import DRY, HEAT, LIMITS, PERMISSIBLE, STEADY, curve, doubt, judged


def printed(result: dict[str, Any], width: int = 80) -> list[str]:
    """Return the lines of a result's tables."""
    out = io.StringIO()
    console = Console(file=out, width=width)
    for part in heat_tables(result):
        console.print(part)
    return out.getvalue().splitlines()


def rows(result: dict[str, Any]) -> list[str]:
    """Return the lines with their spaces put together."""
    return [" ".join(line.split()) for line in printed(result)]


class TestRises:
    @pytest.mark.parametrize(
        "row",
        [
            "top liquid 47.02 ± 0.26 (1.9) 49.72 ± 0.26 (1.9) ≤ 60 within",
            "average liquid 39.20 ± 0.26 (1.9) 41.90 ± 0.26 (1.9)",
            "LV winding, average 51.20 ± 0.26 (1.9) 53.90 ± 0.26 (1.9) ≤ 65 within",
            "hot spot, the warmer 63.00 ± 0.26 (1.9) 65.70 ± 0.26 (1.9) ≤ 78 within",
            "HV winding 14.5 ± 1.2 (1.7) 14.5 ± 1.2 (1.7)",
        ],
    )
    def test_both_units_stand_side_by_side_with_limit_and_verdict(self, row: str) -> None:
        """Rises that have a limit are judged; gradients and average liquid have none."""
        assert row in rows(HEAT)

    def test_the_judged_table_is_the_last(self) -> None:
        """Just above the verdict, where the eye is when the run has ended."""
        heads = [n for n, row in enumerate(rows(HEAT)) if row.startswith("Rises over cooling air")]
        others = [n for n, row in enumerate(rows(HEAT)) if row.startswith("Permissible load")]
        assert len(heads) == 1
        assert heads[0] > others[0]

    def test_a_rise_outside_names_its_unit(self) -> None:
        """One unit's alone, in the table and in words."""
        limits = [*LIMITS[:9], judged("b.hot_spot_k(b_lv)", 79.0, 78.0, False)]
        result = HEAT | {"limits": limits}
        assert any(row.endswith("≤ 78 B OUTSIDE") for row in rows(result))
        assert judged_outside(result) == ["hot-spot rise of the LV winding, unit B"]

    def test_a_rise_of_which_nothing_is_said_is_not_within(self) -> None:
        """Weakly determined and near its limit."""
        limits = [LIMITS[0], judged("a.average_k(a_hv)", 64.9, 65.0, None), *LIMITS[2:]]
        assert any(row.endswith("≤ 65 A not said") for row in rows(HEAT | {"limits": limits}))

    def test_a_loss_outside_is_said_again(self) -> None:
        """Its own table stands far above."""
        assert judged_outside(HEAT | {"limits": RESULT["limits"]}) == ["P_k load loss"]

    def test_a_loss_test_has_none(self) -> None:
        """Its one table is enough."""
        assert printed(RESULT) == []
        assert judged_outside(RESULT) == []


class TestSteadiness:
    def test_rule_rate_hour_and_movements(self) -> None:
        """When and by which rule, and what the rule left."""
        text = " ".join(rows(HEAT))
        assert "Steady by IEC 60076-2 at 12:08 h, the faster unit still at +0.32 K/h." in text
        assert "The hour that counts: 11:08 to 12:08 h. Regulators were moved 27 times." in text
        assert "left unreached by the rule 0.82 ± 0.24 0.82 ± 0.24" in text

    def test_a_run_that_did_not_become_steady_says_so(self) -> None:
        """In capitals, with the rate that it still had."""
        steady = STEADY | {"at_s": None, "rate_k_per_h": 1.4}
        text = " ".join(rows(HEAT | {"steady": steady}))
        assert "NOT STEADY by IEC 60076-2 within the time limit" in text
        assert "+1.40 K/h" in text

    def test_without_a_forecast(self) -> None:
        """The rest stands."""
        text = " ".join(rows(HEAT | {"steady": STEADY | {"units": {}}}))
        assert "No forecast could be made." in text
        assert "Regulators were moved 27 times." in text


class TestCooling:
    def test_each_winding_has_a_row(self) -> None:
        """In the order of the terminals; small resistances in milliohm."""
        found = rows(HEAT)
        at = found.index("A LV 12.4923 ± 0.0075 mΩ 74.20 ± 0.18 5.2 min 65 s 865 of 885")
        assert found[at + 1].startswith("A HV 3.4224 ± 0.0021 Ω 76.62 ± 0.18")
        assert found[at + 2].startswith("B LV")

    def test_weak_and_impossible_curves_say_why(self) -> None:
        """A curve that isn't there has its reason, not a row of dashes."""
        cooling = {"a_lv": {"impossible": "it never cooled"}, "b_hv": curve(3.5, 79.4, weak=True)}
        text = " ".join(rows(HEAT | {"cooling": cooling}))
        assert "A LV: no curve: it never cooled." in text
        assert "B HV: weakly determined: the first settled reading came later than T_w" in text

    def test_no_curve_at_all(self) -> None:
        """Reasons alone, under the same title."""
        cooling = {w: {"impossible": "stuck"} for w in ("a_lv", "b_lv")}
        found = rows(HEAT | {"cooling": cooling})
        at = found.index("Cooling curves, back to the shutdown")
        assert found[at + 1 : at + 3] == ["A LV: no curve: stuck.", "B LV: no curve: stuck."]


class TestLoading:
    def test_losses_of_the_run_and_at_reference(self) -> None:
        """With current and winding temperature of the run."""
        text = " ".join(rows(HEAT))
        assert (
            "2072 W in the steady hour (15.13 A and windings at 77.0 °C at the shutdown);" in text
        )
        assert "2073.2 ± 8.6 W at rated, 75 °C reference." in text

    def test_what_is_assumed_is_not_called_fitted(self) -> None:
        """The exponent where the run didn't show it; k11 where it changes the time constant."""
        text = " ".join(rows(HEAT))
        assert "exponent of liquid, x, assumed" in text
        assert "that by k11" not in text
        half = HEAT["fitted"]["a"] | {"k11": 0.5, "exponent_assumed": False}
        text = " ".join(rows(HEAT | {"fitted": {"a": half, "b": None}}))
        assert "assumed" not in text
        assert "oil time constant, that by k11, min" in text

    def test_loads_are_rounded_down_and_say_what_limits_them(self) -> None:
        """A search that stopped just below a round value gives that value."""
        found = rows(HEAT)
        assert "20 °C A 1.50c 1.37±0.04h" in found
        assert "B 1.30±0.04h none" in found
        assert "None: even no load goes beyond the limit." in found
        assert any("h hot spot, c current" in row for row in found)

    def test_one_unit_alone(self) -> None:
        """A unit of which too little is known leaves the other's loads."""
        overload = {"a": None, "b": {"permissible": PERMISSIBLE}}
        assert "20 °C B 1.50c 1.37±0.04h" in rows(HEAT | {"overload": overload})

    def test_an_overload_step_has_prediction_beside_measurement(self) -> None:
        """At its end, for both units."""
        found = rows(HEAT)
        assert "Overload step: 1.2 of rated current for 2 h" in found
        assert "at its end, predicted 55.2 ± 1.1 55.2 ± 1.1" in found
        assert "at its end, measured 54.6 54.6" in found


class TestTwins:
    def test_a_difference_beyond_chance_names_the_warmer_unit(self) -> None:
        """One within it is alike."""
        found = rows(HEAT)
        assert "top liquid -2.7 ±0.4 unit B is warmer" in found
        assert "LV gradient -0.3 ±1.2 alike" in found

    def test_unequal_currents_are_told(self) -> None:
        """Where the stand knows them; where not, that it doesn't."""
        assert any("A 251.2, B 248.9 A; that makes +0.2 K" in row for row in rows(HEAT))
        twins = HEAT["twins"] | {"lv_currents_a": None, "current_effect_k": None}
        text = " ".join(rows(HEAT | {"twins": twins}))
        assert "Own LV currents are not known here" in text


class TestEveryKind:
    def test_a_dry_type_has_no_liquid(self) -> None:
        """Windings alone; nothing is fitted, no load is told."""
        text = " ".join(rows(DRY))
        assert "LV winding, average 70.9 ± 1.4 (1.7) 70.9 ± 1.4 (1.7) ≤ 100 within" in text
        for words in ("liquid 4", "Gradients", "Thermal parameters", "Permissible", "Overload"):
            assert words not in text

    @pytest.mark.parametrize("result", [HEAT, DRY], ids=["liquid", "dry"])
    def test_eighty_columns_hold_it(self, result: dict[str, Any]) -> None:
        """No line is wider, and no head is cut."""
        lines = printed(result)
        assert max(len(line.rstrip()) for line in lines) <= 80
        assert not any("…" in line for line in lines)


@pytest.mark.parametrize(
    ("value", "known", "text"),
    [
        (47.0188, doubt(0.257, 1.89), "47.02 ± 0.26 (1.9)"),
        (53.654, doubt(1.228, 1.7), "53.7 ± 1.2 (1.7)"),
        (5.0, doubt(0.0996), "5.00 ± 0.10"),
        (1234.5, doubt(31.0), "1234 ± 31"),
        (-0.001, doubt(0.26), "0.00 ± 0.26"),
        (54.6, None, "54.6"),
    ],
)
def test_a_value_ends_where_its_uncertainty_does(
    value: float, known: dict[str, float] | None, text: str
) -> None:
    """Two digits of U, the factor where it isn't 2, and no sign on nothing (JCGM 100, 7.2.6)."""
    assert stated(value, known) == text
