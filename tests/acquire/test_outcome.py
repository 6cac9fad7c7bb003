"""What a run's readings come to: uncertainty from the stand's accuracies, verdict by its rule."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from acquire.configuration import Scenario, load_scenario
from acquire.outcome import Reduced, instruments_of, reduced
from acquire.stand import expected_of
from calculation.readings import LoadMeans, LossReadings, NoLoadMeans, ProveMeans
from drivers.description import Accuracy
from sequences.expected import Expected
from tests.calculation.twins import PAIR_J

SCENARIO: Scenario = load_scenario("distribution_pair", "loss_test")
EXPECTED = expected_of(SCENARIO)
READ = LossReadings(
    NoLoadMeans(400.0, 400.0, 8.996882, 640.1232),
    LoadMeans(534.5062, 15.15152, 3542.313, 400.0, 596.8366),
    ProveMeans(*(getattr(PAIR_J.loaded(8.0, 15.15, -1.0)[1], f) for f in (
        "hv_voltage_v", "hv_current_a", "hv_power_w", "lv_voltage_v", "lv_power_w"))),
    6.597713,
    2.0,
    70.0,
    70.0,
)  # fmt: skip
BLANK = Accuracy(0.0, 0.0)


def result(expected: Expected = EXPECTED, **guarantee: Any) -> Reduced:
    """Reduce the readings with another stand or guarantee."""
    own = replace(SCENARIO.pair.guarantee, **guarantee)
    return reduced(READ, replace(SCENARIO.pair, guarantee=own), expected)


def with_accuracy(of: Callable[[str], Accuracy]) -> Expected:
    """Return what to expect of a stand whose channels have these accuracies."""
    channels = {
        name: replace(channel, accuracy=of(name)) for name, channel in EXPECTED.channels.items()
    }
    return replace(EXPECTED, channels=channels)


def test_every_measured_quantity_has_its_uncertainty() -> None:
    """Standard, expanded and factor for each name of the pair's mean, efficiency included."""
    found = result().result
    assert found is not None
    known = found["uncertainty"]
    for name in (
        "no_load_loss_w",
        "load_loss_reference_w",
        "efficiency(1, 0.8)",
        "prove_load_loss_w",
    ):
        assert known[name].keys() >= {"standard", "expanded", "factor"}
        assert known[name]["expanded"] == pytest.approx(
            known[name]["factor"] * known[name]["standard"]
        )
    assert found["decision_rule"] == "simple"


def test_it_comes_from_the_channels_accuracies() -> None:
    """A wattmeter of ±1 % of 1200 W makes P0 uncertain by 6 W/√3, and by nothing else here."""

    def only(channel: str) -> Accuracy:
        return Accuracy(0.0, 0.1) if channel == "lv.power.1" else BLANK

    found = result(with_accuracy(only)).result
    assert found is not None
    known = found["uncertainty"]["no_load_loss_w"]
    # 0.1 % of the range of 12 kW, both units; next to it only the leads' little loss.
    assert known["standard"] == pytest.approx(12.0 / 2 / 3**0.5, rel=1e-4)
    assert known["factor"] == pytest.approx(0.95 * 3**0.5, rel=1e-3)


def test_a_range_is_the_lowest_that_holds_the_reading() -> None:
    """6.6 V across the gap is read on 150 V, not on 15 kV."""
    meters = instruments_of(READ, EXPECTED).meters
    assert meters["series.voltage"].range_value == 150
    assert meters["hv.voltage"].range_value == 1000


def test_a_guarded_guarantee_is_judged_with_the_uncertainty() -> None:
    """A value less below its limit than its uncertainty is within simply, and outside guarded."""
    bare = result().result
    assert bare is not None
    value = bare["pair_mean"]["impedance_reference_percent"]
    expanded = bare["uncertainty"]["impedance_reference_percent"]["expanded"]
    near = {"impedance_percent": (value + expanded / 2) / 1.1}
    # The upper limit is then half an uncertainty above the value.
    simple, guarded = result(**near), result(**near, rule="guarded")
    assert (simple.verdict, guarded.verdict) == ("within", "outside")
    assert guarded.result is not None
    assert guarded.result["decision_rule"] == "guarded"
