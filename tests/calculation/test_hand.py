"""Readings by hand: what is taken as it is, what is corrected, what is refused."""

import json
import math
from dataclasses import replace
from typing import Any

import pytest
from pydantic import TypeAdapter

from calculation.errors import ImpossibleReading
from calculation.hand.budget import hand_budgets
from calculation.hand.readings import (
    HandInstrument,
    HandLoad,
    HandNoLoad,
    HandRating,
    HandReadings,
    HandTemperature,
    Instrument,
)
from calculation.hand.reduction import hand_result, hand_verdict
from calculation.nameplate import Guarantee
from calculation.results import as_plain

RATING = HandRating(100e3, 400, 6600, 50)
# Rows j1 and j2 of the check values, d = 0.1 %.
PAIR = HandReadings(
    RATING,
    HandNoLoad(400.0, 8.996882, 640.1232, series_voltage_v=6.597713),
    HandLoad(534.5062, 15.15152, 3542.313, lv_voltage_v=400.0, lv_power_w=596.8366),
    temperature=HandTemperature(75.0, 0.01, 2.8, 20.0),
)
SINGLE = replace(
    PAIR, units=1, no_load=HandNoLoad(400, 4.5, 320), load=HandLoad(264, 15.15152, 1750)
)


def test_balance_where_the_second_wattmeter_was_read() -> None:
    """With the LV supply's power beside it the load loss is right, without it is the split."""
    balanced = hand_result(PAIR)
    assert balanced.method == "balance"
    assert balanced.unit.load_loss_w == pytest.approx(1749.522, rel=1e-4)
    assert balanced.plain_split is not None
    assert balanced.plain_split.load_loss_w == pytest.approx(1771.16, abs=5e-3)
    assert balanced.ratio_mismatch_percent == pytest.approx(0.1, rel=5e-4)
    split = hand_result(replace(PAIR, load=HandLoad(534.5062, 15.15152, 3542.313)))
    assert split.method == "plain split"
    assert split.unit.load_loss_w == pytest.approx(1771.16, abs=5e-3)


def test_the_side_measured_on_does_not_matter() -> None:
    """The same transformer, no load from HV and load from LV, gives the same circuit."""
    n = 6600 / 400
    turned = replace(
        SINGLE,
        no_load=HandNoLoad(400 * n, 4.5 / n, 320, side="hv"),
        load=HandLoad(264 / n, 15.15152 * n, 1750, side="lv"),
    )
    expected, got = as_plain(hand_result(SINGLE).unit), as_plain(hand_result(turned).unit)
    for name in ("core_loss_resistance_ohm", "equivalent_reactance_ohm", "load_loss_reference_w"):
        assert got[name] == pytest.approx(expected[name], rel=1e-12)


@pytest.mark.parametrize(("lv", "hv"), [("star", "star"), ("star", "delta"), ("delta", "star")])
def test_connection_changes_the_winding_not_the_transformer(lv: Any, hv: Any) -> None:
    """Losses and percent are those of the lines, whichever way the windings are connected."""
    rating = HandRating(300e3, 400, 6600, 50, 3, lv, hv)
    three = replace(
        SINGLE,
        rating=rating,
        no_load=HandNoLoad(400, 4.5 * 3**0.5, 960),
        load=HandLoad(264, 15.15152 * 3**0.5, 5250),
        temperature=None,
    )
    one, got = hand_result(replace(SINGLE, temperature=None)).unit, hand_result(three).unit
    assert got.no_load_loss_w == pytest.approx(3 * one.no_load_loss_w)
    assert got.load_loss_w == pytest.approx(3 * one.load_loss_w)
    assert got.impedance_percent == pytest.approx(one.impedance_percent)
    assert got.no_load_current_percent == pytest.approx(one.no_load_current_percent)
    assert got.no_load_current_a == pytest.approx(4.5 * 3**0.5)


def test_two_wattmeters_make_the_total() -> None:
    """Two wattmeters, one reading backwards, are the total of three wires."""
    three = replace(
        SINGLE,
        rating=HandRating(300e3, 400, 6600, 50, 3),
        no_load=HandNoLoad(400, 4.5 * 3**0.5, wattmeters_w=(1400.0, -440.0)),
        load=HandLoad(264, 15.15152 * 3**0.5, wattmeters_w=(1750.0, 1750.0, 1750.0)),
        temperature=None,
    )
    assert hand_result(three).unit.no_load_loss_w == pytest.approx(960)


def test_transformers_before_the_meters() -> None:
    """A CT of 20/5 that reads 0.5 % high and leads, a VT of 10: the plant's side is what counts."""
    primary = hand_result(SINGLE).unit
    through: dict[Instrument, HandInstrument] = {
        "hv_ammeter": HandInstrument(ratio=4.0, ratio_error_percent=0.5, displacement_minutes=10),
        "hv_voltmeter": HandInstrument(ratio=10.0),
    }
    # What the wattmeter shows when the current's phasor comes 10' early: phi is less by that.
    arc = math.radians(10 / 60)
    apparent = 264 * 15.15152
    phi = math.acos(1750 / apparent)
    shown = 1.005 * apparent * math.cos(phi - arc) / 40
    read = replace(
        SINGLE,
        load=HandLoad(26.4, 15.15152 * 1.005 / 4, shown),
        instruments=through,
    )
    assert hand_result(read).unit.load_loss_w == pytest.approx(primary.load_loss_w, rel=1e-8)


def test_the_wattmeters_own_take() -> None:
    """A voltage circuit of 10 kOhm on the load's side took 16 W of what was shown."""
    meter = HandInstrument(voltage_circuit_ohm=10e3)
    read = replace(SINGLE, no_load=HandNoLoad(400, 4.5, 336), instruments={"lv_wattmeter": meter})
    assert hand_result(read).unit.no_load_loss_w == pytest.approx(320)


def test_negative_lv_power_in_the_load_stage_is_accepted() -> None:
    """The second supply may be fed by the loop; the balance stays right."""
    read = replace(PAIR, load=HandLoad(534.5, 15.15152, 4189.2, lv_voltage_v=400, lv_power_w=-50.0))
    assert hand_result(read).unit.load_loss_w == pytest.approx((4189.2 - 50 - 640.1232) / 2)


REFUSED = [
    ({"no_load": HandNoLoad(0.4, 4.5, 320)}, "no_load.voltage_v = 0.4.*k or m forgotten"),
    ({"load": HandLoad(264, 15151.52, 1750)}, "load.current_a = 15151.5.*k or m forgotten"),
    ({"rating": HandRating(100, 400, 6600, 50)}, "k or m forgotten"),
    ({"no_load": HandNoLoad(400, 4.5, 1801)}, "no_load.power_w = 1801, .*: power above U·I"),
    ({"load": HandLoad(264, 15.15, -1750)}, "load.power_w = -1750"),
    ({"load": HandLoad(264, 15.15)}, "load.power_w = missing"),
    ({"load": HandLoad(264, 15.15, math.nan)}, "load.power_w = nan"),
    ({"load": HandLoad(264, 15.15, 1750, (1.0, 2.0))}, "not both"),
    ({"load": HandLoad(264, 15.15, 1750, lv_voltage_v=400, lv_power_w=1)}, "no second supply"),
    ({"temperature": HandTemperature(20.0)}, "temperature.lv_ohm = missing"),
    ({"lv_branch_ohm": 0.05}, "lv_branch_ohm = 0.05: the load loss would not be above zero"),
]


@pytest.mark.parametrize(("change", "message"), REFUSED)
def test_refused_by_name_value_and_reason(change: dict[str, Any], message: str) -> None:
    """What is missing, impossible or in another unit is refused in one line."""
    with pytest.raises(ImpossibleReading, match=message) as caught:
        hand_result(replace(SINGLE, **change))
    assert "\n" not in str(caught.value)


def test_half_a_balance_is_refused() -> None:
    """LV voltage without the second wattmeter gives no balance."""
    with pytest.raises(ImpossibleReading, match=r"load\.lv_power_w = missing"):
        hand_result(replace(PAIR, load=HandLoad(534.5, 15.15, 3542.0, lv_voltage_v=400.0)))


def test_a_single_wattmeter_of_three_phases_is_refused() -> None:
    """One wattmeter of two is missing."""
    three = replace(
        SINGLE,
        rating=HandRating(300e3, 400, 6600, 50, 3),
        no_load=HandNoLoad(400, 7.8, wattmeters_w=(480.0, None)),
        temperature=None,
    )
    with pytest.raises(ImpossibleReading, match=r"wattmeters_w\[1\] = missing"):
        hand_result(three)


def test_verdict_needs_reference_temperature() -> None:
    """With a temperature the guarantee is judged; without there is no verdict, and why."""
    guarantee = Guarantee(320, 1750, 4.0, 1.8)
    read = replace(PAIR, guarantee=guarantee)
    judged = hand_verdict(read, hand_result(read))
    assert judged is not None
    assert judged.verdict == "within"
    read = replace(read, temperature=None)
    cold = hand_verdict(read, hand_result(read))
    assert cold is not None
    assert cold.verdict is None
    assert "temperature" in cold.reason


def test_budget_of_a_single_transformer() -> None:
    """A wattmeter of class 0.5 on 2 kW and a CT that may displace by 10'."""
    instruments: dict[Instrument, HandInstrument] = {
        "hv_wattmeter": HandInstrument(class_percent=0.5, range=2000),
        "hv_ammeter": HandInstrument(displacement_limit_minutes=10.0),
    }
    budget = hand_budgets(replace(SINGLE, instruments=instruments))["load_loss_w"]
    found = {row.source: abs(row.contribution) for row in budget.rows}
    assert found.keys() == {"hv.power, of range", "hv.ct, displacement"}
    # 10' on a power factor of 0.4375: 10 x 0.0598 % of 1750 W, rectangular.
    arc = math.radians(10 / 60) * math.tan(math.acos(1750 / 264 / 15.15152)) * 1750
    rated = (15.1515151515 / 15.15152) ** 2
    assert found["hv.ct, displacement"] == pytest.approx(arc * rated / 3**0.5, rel=1e-6)
    assert found["hv.power, of range"] == pytest.approx(10 * rated / 3**0.5, rel=1e-6)


def test_an_unknown_exchange_is_in_the_plain_splits_budget() -> None:
    """Without the second wattmeter the mismatch seen in the gap is the load loss's first source."""
    split = replace(PAIR, load=HandLoad(534.5062, 15.15152, 3542.313))
    rows = hand_budgets(split)["load_loss_w"].rows
    assert rows[0].source == "method: power exchanged, plain split"
    assert rows[0].limit == pytest.approx(0.001 * 100e3 / 2, rel=1e-3)


def test_read_from_a_table_and_given_as_json() -> None:
    """The dataclasses are what a file is validated against, and the result goes through JSON."""
    table = {
        "rating": {
            "power_va": 100e3,
            "lv_voltage_v": 400,
            "hv_voltage_v": 6600,
            "frequency_hz": 50,
        },
        "no_load": {"voltage_v": 400, "current_a": 9, "power_w": 640},
        "load": {"voltage_v": 528, "current_a": 15.15, "power_w": 3500},
        "evaluate": {"load": [1.0], "power_factor": [0.8], "leading": [False, True]},
    }
    plain = as_plain(hand_result(TypeAdapter(HandReadings).validate_python(table)))
    assert json.loads(json.dumps(plain)) == plain
    assert len(plain["unit"]["regulation_percent"]) == 2
