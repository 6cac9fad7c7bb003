"""A heat run as it is followed: how warm, how steady, how long to go; its marks in trade terms."""

import io
from dataclasses import replace
from typing import Any

import pytest
from rich.console import Console

from acquire.heat_lines import hours, shown
from acquire.report import Report
from tests.acquire.canned import OUTCOME, RESULT
from tests.acquire.heat_canned import DRY, HEAT, LIMITS, judged, soaking

S = 1_000_000_000
HOUR = 3600


def told(*events: tuple[int, dict[str, Any]], width: int = 80) -> list[str]:
    """Return what a report makes of some `shows` events: seconds of stand time and facts."""
    out = io.StringIO()
    report = Report(Console(file=out, width=width))
    for second, facts in events:
        report.event(second * S, "shows", facts)
    return [line.rstrip() for line in out.getvalue().splitlines()]


def closing(**changes: Any) -> str:
    """Return what a report says at the end of a heat run, its spaces put together."""
    out = io.StringIO()
    Report(Console(file=out, width=80)).result(replace(OUTCOME, **({"result": HEAT} | changes)))
    return " ".join(out.getvalue().split())


WARM = {"a": soaking(0.923, 1380.0, 45.11), "b": soaking(0.988, 240.0, 47.89)}
FORECAST = {
    "a": {"ultimate_k": 47.5, "expanded": 0.6, "steady_at_s": 12.0 * HOUR},
    "b": {"ultimate_k": 50.5, "expanded": 0.7, "steady_at_s": 12.5 * HOUR},
}


class TestSoak:
    def test_one_line_for_both_units(self) -> None:
        """Rise, rate, and for how long the slower of both has kept the rule."""
        assert told((33190, WARM)) == [
            " 9:13:10  soak       rises A 45.1, B 47.9 K; +0.92, +0.99 K/h; held 0:04 h"
        ]

    def test_of_how_long_where_it_is_known(self) -> None:
        """What the rule wants held stands beside what has been."""
        units = {"a": soaking(0.9, 1380.0, 45.1, 10800.0), "b": soaking(0.9, 240.0, 47.9, 10800.0)}
        assert told((33190, units))[0].endswith("held 0:04 of 3 h")

    def test_nothing_is_held_by_one_unit_alone(self) -> None:
        """The pair is steady when both are."""
        units = {"a": soaking(0.9, 600.0, 45.1), "b": soaking(1.1, 0.0, 47.9)}
        assert "held" not in told((33190, units))[0]

    def test_a_cooling_unit_keeps_its_sign(self) -> None:
        """After a shortened warm-up rates are negative."""
        units = {"a": soaking(-0.3, 0.0, 45.1), "b": soaking(0.2, 0.0, 47.9)}
        assert "-0.30, +0.20 K/h" in told((33190, units))[0]

    def test_the_first_hour_has_no_rate(self) -> None:
        """It is said, rather than nothing shown."""
        nothing = {"rate_k_per_h": None, "held_s": 0.0, "steady_at_s": None, "rise_k": None}
        line = told((2590, {"a": nothing, "b": nothing}))[0]
        assert line.endswith("no rise and no rate yet: they are taken over an hour")

    def test_one_unit_without_a_rate(self) -> None:
        """A dash stands for what isn't known."""
        nothing = {"rate_k_per_h": None, "held_s": 0.0, "steady_at_s": None, "rise_k": None}
        assert "rises A 45.1, B – K; +0.92, – K/h" in told((9000, {**WARM, "b": nothing}))[0]

    def test_a_forecast_with_its_interval_and_the_time_to_go(self) -> None:
        """Until the later unit is steady."""
        lines = told((9 * HOUR, WARM | {"forecast": FORECAST}))
        assert lines[1] == (
            "          forecast   ultimate A 47.5 ± 0.6, B 50.5 ± 0.7 K; steady in 3:30 h"
        )

    def test_a_forecast_of_one_unit_tells_no_time(self) -> None:
        """The other one may be the later."""
        lines = told((9 * HOUR, WARM | {"forecast": {"b": FORECAST["b"]}}))
        assert lines[1].endswith("ultimate B 50.5 ± 0.7 K")

    def test_no_forecast_no_line(self) -> None:
        """Before a third of the warm-up there is none."""
        assert len(told((9 * HOUR, WARM | {"forecast": {}}))) == 1

    @pytest.mark.parametrize("width", [40, 80])
    def test_no_line_is_wider_than_the_terminal(self, width: int) -> None:
        """With everything that there may be."""
        lines = told((9 * HOUR, WARM | {"forecast": FORECAST}), width=width)
        assert max(map(len, lines)) <= width


class TestMarks:
    @pytest.mark.parametrize(
        ("facts", "words"),
        [
            ({"mark": "cold", "position": 1}, "applied at position 1: resistances before the run"),
            ({"mark": "cold_read", "position": 1}, "read at position 1: resistances before"),
            ({"mark": "hot", "position": 2}, "applied at position 2: resistances after the"),
            ({"mark": "hot", "position": 0}, "applied by hand: resistances after the shutdown"),
            ({"mark": "losses", "readings": {"load": 1}}, "losses and impedance are read"),
            ({"mark": "soak"}, "soak begins"),
            ({"mark": "warmed_up"}, "shortened warm-up ends"),
            ({"mark": "overload", "current": 1.3}, "overload step begins: 1.3 of rated current"),
            ({"mark": "overloaded"}, "overload step ends"),
            ({"mark": "shutdown"}, "current begins to fall"),
            ({"mark": "some_other"}, "some other"),
        ],
    )
    def test_each_mark_has_its_words(self, facts: dict[str, Any], words: str) -> None:
        """And never the dict that it is in the record."""
        text = " ".join(" ".join(told((7, facts | {"at_s": 7.25}))).split())
        assert words in text
        assert "{" not in text

    def test_steady(self) -> None:
        """Since when, with what rate."""
        units = {
            unit: at | {"steady_at_s": 43650.0 - 600.0 * (unit == "a")} for unit, at in WARM.items()
        }
        lines = shown(0, {"mark": "soaked", "at_s": 43691.0, "movements": 27} | units)
        assert lines[0][0] == "steady"
        assert lines[0][2].startswith("both units since 12:08; rises A 45.1")

    def test_not_steady(self) -> None:
        """One unit that isn't is enough."""
        units = {"a": WARM["a"] | {"steady_at_s": 43650.0}, "b": WARM["b"]}
        words = shown(0, {"mark": "soaked", "at_s": 43691.0} | units)[0][2]
        assert words.startswith("soak ends, not steady")

    def test_a_show_of_neither_kind_is_nothing(self) -> None:
        """What a later version may show prints no dict."""
        assert shown(0, {"other": 1}) == []


class TestEnding:
    def test_the_verdict_follows_the_rises(self) -> None:
        """Losses come first, the judged rises last, and then the word."""
        text = closing()
        order = ("Results of the pair's mean", "Steadiness", "Rises over cooling air", "Verdict:")
        places = [text.index(words) for words in order]
        assert places == sorted(places)
        assert text.count("P0 no-load loss") == 1

    def test_outside_says_which(self) -> None:
        """Whoever reads only the end knows."""
        limits = [*LIMITS[:-1], judged("b.hot_spot_k(b_lv)", 79.0, 78.0, False)]
        text = closing(result=HEAT | {"limits": limits}, verdict="outside")
        assert "Verdict: outside limits Outside: hot-spot rise of the LV winding, unit B" in text

    def test_no_verdict_has_its_reason(self) -> None:
        """As the finding that the reduction made."""
        finding = {"name": "no_verdict", "seen": "unit A: not steady", "check": "soak"}
        text = closing(verdict=None, finding=finding)
        assert "No verdict Found: no verdict: unit A: not steady Check: soak" in text

    def test_a_run_that_read_its_losses_only(self) -> None:
        """Aborted in its soak, or forbidden by physics: the losses stay."""
        result = {key: value for key, value in HEAT.items() if key in RESULT}
        text = closing(result=result, state="aborted", end="aborted", verdict=None)
        assert "P0 no-load loss" in text
        assert "Rises" not in text

    def test_a_dry_type(self) -> None:
        """Its table has windings only."""
        assert "HV winding, average 80.9 ± 1.4 (1.7)" in closing(result=DRY)


@pytest.mark.parametrize(
    ("seconds", "text"), [(0.0, "0:00"), (1380.0, "0:23"), (43650.0, "12:08"), (3599.0, "1:00")]
)
def test_hours_and_minutes(seconds: float, text: str) -> None:
    """Rounded, so that no 60 stands among the minutes."""
    assert hours(seconds) == text
