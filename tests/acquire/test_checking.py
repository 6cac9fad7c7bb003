"""`twinload check`: what is wrong with a stand before anything moves, and what to do."""

import json
import re
from pathlib import Path

import pytest

from acquire.checking import checked
from acquire.clock import WallClock
from acquire.wires import NoAddress, Wires
from drivers.description import Stand
from drivers.link import Refused
from tests.acquire.wired import WiredStand, unhurried

STAND = "distribution_pair"


class Connecting:
    """A wired stand that `checked` connects to."""

    def __init__(self) -> None:
        self.wired = WiredStand(unhurried(), WallClock())

    def __call__(self, _stand: Stand) -> WiredStand:
        return self.wired


def test_a_stand_in_order_is_fine_and_none_of_its_outputs_was_written(
    capsys: pytest.CaptureFixture[str],
) -> None:
    connecting = Connecting()
    written: list[str] = []
    connecting.wired.plant.written = lambda output, _value: written.append(output)
    assert checked(STAND, False, connecting) == 0
    told = capsys.readouterr().out
    for channel in unhurried().stand.channels():
        assert channel in told
    assert "nothing was written" in told
    assert written == []


@pytest.mark.parametrize("ill", ["lv_analyser", "contacts", "temperatures"])
def test_an_instrument_that_is_not_there_is_named_with_what_to_do(
    capsys: pytest.CaptureFixture[str], ill: str
) -> None:
    connecting = Connecting()
    connecting.wired.gone.add(ill)
    assert checked(STAND, True, connecting) == 4
    told = json.loads(capsys.readouterr().out)
    wrong = [i for i in told["instruments"] if i["wrong"]]
    assert [i["instrument"] for i in wrong] == [ill]
    assert "the wire is cut" in wrong[0]["wrong"]
    assert "address" in wrong[0]["to_do"]
    assert told["outputs"] is None


def test_a_line_names_an_instrument_and_its_address_once(
    capsys: pytest.CaptureFixture[str],
) -> None:
    connecting = Connecting()
    connecting.wired.gone.add("lv_analyser")
    assert checked(STAND, False, connecting) == 4
    resource = next(i for i in unhurried().stand.instrument if i.name == "lv_analyser").resource
    lines = capsys.readouterr().out.splitlines()
    line = next(words for words in lines if "the wire" in words)
    assert line.startswith(f"lv_analyser at {resource}: asked 'anything'")
    assert line.count("lv_analyser") == 1


def test_every_instrument_says_what_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert checked(STAND, True, Connecting()) == 0
    told = {i["instrument"]: i for i in json.loads(capsys.readouterr().out)["instruments"]}
    assert "POWER ANALYSER" in told["lv_analyser"]["identity"]
    assert re.fullmatch("[0-9a-f]{4}( [0-9a-f]{4})*", told["contacts"]["identity"])
    assert checked(STAND, False, Connecting()) == 0
    shown = capsys.readouterr().out
    assert told["contacts"]["identity"] in shown
    assert "POWER ANALYSER" in shown


def test_a_resistance_out_of_range_is_shown_with_its_reason(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert checked(STAND, False, Connecting()) == 0
    shown = capsys.readouterr().out.splitlines()
    row = next(words for words in shown if "a.resistance_hv" in words)
    assert "bad, over range" in row


def test_a_scan_too_slow_for_a_real_stand_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The shipped stand is simulated, and scanned once a second to be quick."""
    text = (unhurried().folder / "stand.toml").read_text()
    (tmp_path / "stand.toml").write_text(
        text.replace("modbus-tcp:127.0.0.1:1503/1", "modbus-tcp:192.0.2.7:1503/1")
    )
    assert checked(str(tmp_path), True, Connecting()) == 4
    assert "at most 0.2 s" in json.loads(capsys.readouterr().out)["scan"]
    assert checked(str(tmp_path), False, Connecting()) == 4
    assert "at most 0.2 s" in capsys.readouterr().out


def test_outputs_that_are_not_there_are_wrong(capsys: pytest.CaptureFixture[str]) -> None:
    connecting = Connecting()
    connecting.wired.gone.add("outputs")
    assert checked(STAND, False, connecting) == 4
    told = capsys.readouterr().out
    assert "\noutputs at modbus-tcp:127.0.0.1:1503/1: asked" in told
    assert told.count("outputs") == 1


class _Unproven:
    """A unit that refuses the registers by which it would be known."""

    def reopen(self) -> None:
        raise Refused("outputs", "identity", "illegal address")

    def close(self) -> None: ...


def test_outputs_that_refuse_to_say_who_they_are_are_wrong(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A unit that can only be written refuses a read, but not its identity."""
    connecting = Connecting()
    monkeypatch.setattr(connecting.wired, "outputs", _Unproven)
    assert checked(STAND, True, connecting) == 4
    assert "illegal address" in json.loads(capsys.readouterr().out)["outputs"]


def test_another_instrument_at_the_address_is_found_by_its_identity(
    capsys: pytest.CaptureFixture[str],
) -> None:
    connecting = Connecting()
    connecting.wired.swapped["lv_analyser"] = "series_voltmeter"
    assert checked(STAND, True, connecting) == 4
    told = json.loads(capsys.readouterr().out)
    wrong = next(i for i in told["instruments"] if i["instrument"] == "lv_analyser")
    assert "POWER ANALYSER" in wrong["wrong"]
    assert "right instrument" in wrong["to_do"]


def test_a_reading_has_value_unit_quality_and_age(capsys: pytest.CaptureFixture[str]) -> None:
    assert checked(STAND, True, Connecting()) == 0
    told = json.loads(capsys.readouterr().out)
    channels = {c["channel"]: c for i in told["instruments"] for c in i["channels"]}
    guard = channels["guard"]
    assert (guard["value"], guard["unit"], guard["quality"]) == (1.0, "1", "good")
    assert guard["age_s"] >= 0
    # On no winding a resistance meter has nothing to read: it says so, and nothing is wrong.
    assert channels["a.resistance_hv"]["reason"] == "over range"


def test_addresses_in_memory_lead_nowhere(tmp_path: Path) -> None:
    text = (unhurried().folder / "stand.toml").read_text()
    (tmp_path / "stand.toml").write_text(
        text.replace("modbus-tcp:127.0.0.1:1503/1", "registers:outputs")
    )
    with pytest.raises(NoAddress, match="registers:outputs") as refused:
        checked(str(tmp_path), False, Wires)
    assert "\n" not in str(refused.value)
