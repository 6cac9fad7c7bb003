"""The command `supplies`: from a pair file or a scenario; its trips are those of the table."""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from acquire.commands import app
from acquire.configuration import load_scenario
from acquire.stand import expected_of
from acquire.supplying import Plan, plain_supplies
from drivers.description import Accuracy
from sequences import trips
from sequences.meter_rule import unsuited_meters
from sequences.scan import SERIES_VOLTAGE

Spoil = Callable[[str, str, str], None]


@pytest.fixture(name="pair_file")
def _pair_file(folder: Path, tmp_path: Path) -> Path:
    """Return the shipped pair's file, alone."""
    return Path(shutil.copy(folder / "pair.toml", tmp_path / "twins.toml"))


def told(*arguments: object, code: int = 0) -> dict[str, Any]:
    """Return the JSON of the command."""
    result = CliRunner().invoke(app, ["supplies", *(str(a) for a in arguments), "--json"])
    assert (result.exit_code, result.stderr) == (code, "")
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def limits(found: dict[str, Any], trip: str) -> list[float]:
    return [t["above"] for t in found["trips"] if t["trip"] == trip]


class TestPairFile:
    def test_both_supplies_at_the_worst_mismatch(self, pair_file: Path) -> None:
        """u_k 4 %: r up to 0.4 %, d 0.8 %: 2 P0 + d S from LV, 2 P_k + d S into the loop."""
        found = told(pair_file)
        assert found["worst_mismatch_percent"] == pytest.approx(0.8)
        lv, loop = found["supplies"]["lv"], found["supplies"]["loop"]
        assert (lv["voltage_v"], lv["power_w"]) == (400.0, pytest.approx(1440.0))
        assert (loop["voltage_v"], loop["power_w"]) == (pytest.approx(580.8), pytest.approx(4300))
        assert found["stand"] is None

    def test_every_stage_has_its_readings(self, pair_file: Path) -> None:
        """Prove with its steps, the pause, no load, closing, load."""
        stages = [s["stage"] for s in told(pair_file)["stages"]]
        assert stages == ["prove"] * 5 + [
            "energise",
            "no_load_readings",
            "circulate",
            "load_readings",
        ]

    def test_transformers_where_a_meter_ends(self, pair_file: Path) -> None:
        """Above so many V or A there is a VT or CT of preferred ratio; the gap takes no VT."""
        found = told(pair_file, "--direct-v", 300, "--direct-a", 5)
        meters = {m["channel"]: m for m in found["meters"]}
        assert meters["lv.voltage.1"]["transformer"] == "VT 400/100 V"
        assert meters["hv.current.1"]["transformer"] == "CT 20/5 A"
        assert meters["series.voltage.1"]["transformer"] == "divider 50:1, no VT"
        assert meters["lv.power.1"]["transformer"] == "as its V and A"

    def test_energy_at_a_price(self, pair_file: Path) -> None:
        """Ten hours at 0.30 a kWh: 41.4 kWh against 2041.4 kWh."""
        found = told(pair_file, "--hours", 10, "--price", 0.3)["energy"]
        assert found["back_to_back_kwh"] == pytest.approx(41.4)
        assert found["back_to_back_cost"] == pytest.approx(12.42)
        assert found["loaded_fully_kwh"] == pytest.approx(2041.4)

    def test_the_tables_are_printed(self, pair_file: Path) -> None:
        """Everything of the JSON is on the terminal, in eighty columns."""
        lines = CliRunner().invoke(app, ["supplies", str(pair_file)]).stdout.splitlines()
        assert max(len(line) for line in lines) <= 80
        text = " ".join(" ".join(lines).split())
        for words in (
            "What the supplies must deliver",
            "auxiliary supply of the loop 580.8",
            "if aiding",
            "opposition lost",
            "Energy of 8 h",
            "range at least 14520 V",
        ):
            assert words in text, words

    def test_a_file_that_is_none(self, tmp_path: Path, pair_file: Path) -> None:
        """What isn't there, isn't a pair, or contradicts itself is one line and code 2."""
        wrong = tmp_path / "wrong.toml"
        text = pair_file.read_text()
        for content, words in (
            ("x = 1\n", "x = 1: expected one of"),
            (
                text.replace("impedance_percent = 4.0", "impedance_percent = 1.0"),
                "below resistance",
            ),
            (text.replace("hv_voltage_v = 6600", "hv_voltage_v = 1e308"), "beyond all measure"),
        ):
            wrong.write_text(content)
            result = CliRunner().invoke(app, ["supplies", str(wrong)])
            assert (result.exit_code, result.stdout) == (2, "")
            assert words in result.stderr
            assert result.stderr.count("\n") == 1
        result = CliRunner().invoke(app, ["supplies", "nowhere.toml"])
        assert "shipped scenario" in result.stderr


class TestScenario:
    def test_the_stand_reaches_what_is_needed(self) -> None:
        """The shipped stand suits the shipped pair; its leads and sources are counted."""
        found = told("distribution_pair")
        assert found["stand"]["suits"]
        assert found["stand"]["breaches"] == []
        regulator = found["stand"]["regulators"]["loop"]
        loop = found["supplies"]["loop"]
        assert regulator["needed_v"] == pytest.approx(loop["voltage_v"] + 1.3 * loop["current_a"])

    def test_a_stand_that_does_not_suit_is_told(self, folder: Path, spoil: Spoil) -> None:
        """A voltmeter without the range and a regulator without the volts: named, code 4."""
        spoil("stand.toml", "ranges = [150, 15000]", "ranges = [150, 12000]")
        spoil("stand.toml", "full_voltage_v = 700.0", "full_voltage_v = 590.0")
        stand = told(folder, code=4)["stand"]
        assert [b["channel"] for b in stand["breaches"]] == [SERIES_VOLTAGE]
        assert not stand["regulators"]["loop"]["reaches"]
        text = CliRunner().invoke(app, ["supplies", str(folder)]).stdout
        assert "NOT ENOUGH" in text
        assert "Meter rule: series.voltage.1" in text


class TestTrips:
    def test_limits_are_those_of_the_table(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """A trip that is tightened in the table is tightened here: nothing is retyped."""
        plate = load_scenario("distribution_pair", "loss_test").pair.nameplate
        found = told("distribution_pair")
        assert limits(found, "overvoltage") == [pytest.approx(1.1 * plate.lv_voltage_v)]
        assert limits(found, "loop_current") == [pytest.approx(1.15 * plate.hv_current_a)]

        def tighter(value: float, _at: Any) -> bool:
            return value > 1.05 * plate.lv_voltage_v

        rows = tuple(
            row._replace(exceeded=tighter) if row.name == "overvoltage" else row
            for row in trips.TRIPS
        )
        monkeypatch.setattr("acquire.trip_limits.TRIPS", rows)
        found = told("distribution_pair")
        assert limits(found, "overvoltage") == [pytest.approx(1.05 * plate.lv_voltage_v)]

    def test_every_limit_has_its_unit(self) -> None:
        """Also a winding's and the room's, of a dry-type pair."""
        units = {
            t["channel"]: t["unit"] for t in told("dry_pair", "--schedule", "heat_run")["trips"]
        }
        assert all(units.values())
        assert units["a.winding_hv"] == "°C"
        text = CliRunner().invoke(app, ["supplies", "dry_pair", "--schedule", "heat_run"]).stdout
        assert "155 °C" in text

    def test_lv_supply_current_has_a_limit_of_its_own_at_each_point(self) -> None:
        """4 I0 in prove, 1.25 of rated while its loop is closed, 3 shares at rated, and the loop's
        part when loaded.
        """
        assert limits(told("distribution_pair"), "lv_supply_current") == [
            pytest.approx(4 * 4.5),
            pytest.approx(1.25 * 250),
            pytest.approx(6 * 4.5),
            pytest.approx(6 * 4.5 + 0.015 * 250),
        ]

    def test_nothing_expected_trips(self) -> None:
        """With the worst mismatch that is let pass, nothing to expect is over a limit there."""
        found = told("distribution_pair")
        fields = {
            "lv.voltage.1": "lv_voltage_v",
            "lv.current.1": "lv_current_a",
            "series.voltage.1": "series_voltage_v",
            "hv.voltage.1": "hv_voltage_v",
            "hv.current.1": "hv_current_a",
        }
        stages = {f"{s['stage']}, {s['at']}": s for s in found["stages"]}
        for trip in found["trips"]:
            field = fields.get(trip["channel"])
            if field is None:
                continue
            seen = stages[trip["stage"]][field]
            most = seen if isinstance(seen, float) else seen["most"]
            assert trip["above"] is None or most < trip["above"] * (1 + 1e-9), trip["trip"]


class TestMeterRule:
    def test_the_voltmeter_asked_for_is_the_one_that_suits(self) -> None:
        """A range and class just as told pass the meter rule; a hundredth less or worse don't."""
        expected = expected_of(load_scenario("distribution_pair", "loss_test"))
        needs = plain_supplies(expected, Plan(), stand_known=True)["series_voltmeter"]

        def suits(range_v: float, percent: float) -> bool:
            channels = dict(expected.channels)
            channels[SERIES_VOLTAGE] = replace(
                channels[SERIES_VOLTAGE], ranges=(range_v,), accuracy=Accuracy(0.0, percent)
            )
            found = unsuited_meters(replace(expected, channels=channels))
            return all(u.channel != SERIES_VOLTAGE for u in found)

        top, error = needs["range_v"], needs["range_error_percent"]
        assert suits(top, 0.99 * error)
        assert not suits(0.99 * top, 0.99 * error)
        assert not suits(top, 1.01 * error)
