"""Verdicts on rises: limits by standard and cooling (60, 65, 78 K T; rest M), the decision rule."""

import pytest

from calculation.errors import ImpossibleReading
from calculation.rise_limits import RiseLimits, dry_limits, liquid_limits, rise_verdict
from calculation.rises import Rises, WindingRises

LIMITS = liquid_limits("ONAN")


def rises(top: float = 50.0, winding: float = 60.0, hot_spot: float = 70.0) -> Rises[float]:
    """Return rises of a unit with one winding; its gradient and temperature aren't judged."""
    return Rises({"a_hv": WindingRises(80.0, winding, 20.0, hot_spot)}, top, 40.0)


class TestLimits:
    def test_directed_flow_has_70_k(self) -> None:
        """IEC 60076-2 (M): windings of OD units; top liquid and hot spot as others."""
        assert liquid_limits("ODAF") == RiseLimits(70.0, 60.0, 78.0)
        assert liquid_limits("OFAF") == RiseLimits(65.0, 60.0, 78.0)

    def test_ieee(self) -> None:
        """65 K average winding, 65 K top liquid, 80 K hottest spot (M)."""
        assert liquid_limits("ODAF", "IEEE") == RiseLimits(65.0, 65.0, 80.0)

    def test_ieee_above_1000_m_is_refused(self) -> None:
        """Its rule isn't here: no number rather than a wrong one."""
        with pytest.raises(ImpossibleReading, match="altitude_m"):
            liquid_limits("ONAN", "IEEE", 1001.0)

    @pytest.mark.parametrize("altitude_m", [-501.0, 6001.0, float("nan")])
    def test_an_altitude_that_is_none(self, altitude_m: float) -> None:
        """Feet for metres, mostly."""
        with pytest.raises(ImpossibleReading, match="altitude_m"):
            liquid_limits("ONAN", altitude_m=altitude_m)
        with pytest.raises(ImpossibleReading, match="altitude_m"):
            dry_limits(155, "AN", altitude_m)


class TestVerdict:
    @pytest.mark.parametrize(
        ("unit", "word"),
        [
            (rises(), "within"),
            (rises(60.0, 65.0, 78.0), "within"),
            (rises(top=60.01), "outside"),
            (rises(winding=65.01), "outside"),
            (rises(hot_spot=78.01), "outside"),
        ],
    )
    def test_simple_rule(self, unit: Rises[float], word: str) -> None:
        """A value on its limit is within; any one outside makes the unit outside."""
        verdict = rise_verdict(unit, LIMITS)
        assert verdict.verdict == word
        assert [row.quantity for row in verdict.rows] == [
            "top_liquid_k",
            "average_k(a_hv)",
            "hot_spot_k(a_hv)",
        ]

    def test_guarded_rule_draws_limits_in_by_u(self) -> None:
        """64 K with U 1.5 K is outside of 65 K guarded, within simply."""
        expanded = {"top_liquid_k": 0.5, "average_k(a_hv)": 1.5, "hot_spot_k(a_hv)": 1.5}
        unit = rises(winding=64.0)
        assert rise_verdict(unit, LIMITS, expanded).verdict == "within"
        guarded = rise_verdict(unit, LIMITS, expanded, "guarded")
        assert guarded.verdict == "outside"
        assert guarded.rows[1].guard == 1.5
        assert guarded.rule == "guarded"

    @pytest.mark.parametrize(
        ("winding", "word"), [(63.4, "within"), (63.6, None), (66.4, None), (66.6, "outside")]
    )
    def test_no_verdict_near_a_limit_of_a_weak_winding(
        self, winding: float, word: str | None
    ) -> None:
        """U 1.5 K about 65 K; farther off the word stands."""
        expanded = {"average_k(a_hv)": 1.5, "hot_spot_k(a_hv)": 1.5}
        verdict = rise_verdict(rises(winding=winding), LIMITS, expanded, weak={"a_hv"})
        assert verdict.verdict == word
        if word is None:
            assert verdict.reason.startswith("average_k(a_hv): nearer to the limit")
            assert verdict.rows[1].within is None

    def test_outside_elsewhere_is_outside_all_the_same(self) -> None:
        """A weak winding near its limit excuses no top liquid of 61 K."""
        expanded = {"average_k(a_hv)": 1.5, "hot_spot_k(a_hv)": 1.5}
        unit = rises(top=61.0, winding=65.0)
        assert rise_verdict(unit, LIMITS, expanded, weak={"a_hv"}).verdict == "outside"

    @pytest.mark.parametrize("how", [{"rule": "guarded"}, {"weak": {"a_hv"}}])
    def test_without_uncertainty_it_is_refused(self, how: dict[str, object]) -> None:
        """Guarded or weak: both need U."""
        with pytest.raises(ImpossibleReading, match="needs its uncertainty"):
            rise_verdict(rises(), LIMITS, **how)  # type: ignore[arg-type]  # names of the table above

    def test_a_dry_unit_has_windings_alone(self) -> None:
        """Class 155: 100 K."""
        unit = Rises({"a_hv": WindingRises(120.0, 100.0)})
        verdict = rise_verdict(unit, dry_limits(155, "AN"))
        assert verdict.verdict == "within"
        assert [row.quantity for row in verdict.rows] == ["average_k(a_hv)"]
