"""A regulator that a stand file drives in no way that works is refused with its place named."""

import shutil
from importlib import resources
from pathlib import Path

import pytest

from acquire.configuration import ConfigurationError, load_scenario

MOTOR = "motor = { raise_at = 4, lower_at = 5 }"
SOURCE = 'resource = "TCPIP::127.0.0.1::5049::SOCKET"'
UNCRITICAL = '"loop_regulator", unit = "1", stale_after_s = 2.0, critical = true'
LOWER = '"loop_regulator.lower_limit"'


@pytest.fixture(name="bench")
def _bench(tmp_path: Path) -> Path:
    shipped = Path(str(resources.files("sim_configs"))) / "bench_pair"
    return Path(shutil.copytree(shipped, tmp_path / "bench"))


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        (MOTOR, "", "outputs.loop_regulator", "one of 'address', 'motor' and 'source'"),
        (MOTOR, f"{MOTOR}\naddress = 6", "outputs.loop_regulator", "one of 'address'"),
        ("lower_at = 5", "lower_at = 4", "outputs.loop_regulator.motor.lower_at", "loop_regulator"),
        ("raise_at = 4", "raise_at = 1", "outputs.loop_regulator.motor", "lv_contactor has this"),
        ("resolution = 0.002", "resolution = 0.001", "outputs.loop_regulator.resolution", "0.002"),
        ("drop_s = 1.0", "drop_s = 3.0", "outputs.loop_regulator.rate_per_s", "until the watchdog"),
        (UNCRITICAL, UNCRITICAL.replace("true", "false"), "instrument", "nobody sees"),
        (LOWER, '"x"', "instrument", "a channel named loop_regulator.lower_limit"),
        ("5049", "5045", "instrument[0].resource", "an opening would wait"),
        (SOURCE, 'resource = "modbus-tcp:h:1/1"', "outputs.lv_regulator.source", "TCPIP::HOST"),
        ("5049::", "1523::", "outputs.lv_regulator.source.resource", "another output has this"),
        ('"ac_source", res', '"voltmeter", res', "outputs.lv_regulator.source", "a table 'drive'"),
        ('"ac_source", res', '"ac_sauce", res', "outputs.lv_regulator.source", "mean ac_source?"),
        ("frequency_hz = 50", "frequency_hz = 0", "outputs.lv_regulator.source.frequency_hz", "0"),
    ],
)
def test_a_drive_that_cannot_work(bench: Path, old: str, new: str, key: str, words: str) -> None:
    file = bench / "stand.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(ConfigurationError) as caught:
        load_scenario(str(bench), "loss_test")
    assert len(str(caught.value).splitlines()) == 1
    assert caught.value.key.startswith(key)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("VOLT:SLEW {slew}", "VOLT:SLEW 10", "{slew}"),
        ("VOLT {volts}", "VOLT 1", "{volts}"),
    ],
)
def test_a_source_has_to_be_told_its_rate_and_its_voltage(
    bench: Path, old: str, new: str, words: str
) -> None:
    """One that jumps, or always goes to the same voltage, is no regulator."""
    shipped = Path(str(resources.files("drivers.descriptions"))) / "ac_source.toml"
    (bench / "descriptions").mkdir()
    text = shipped.read_text(encoding="utf-8")
    assert old in text
    own = bench / "descriptions" / "ac_source.toml"
    own.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(ConfigurationError) as caught:
        load_scenario(str(bench), "loss_test")
    assert caught.value.key == "outputs.lv_regulator.source.description"
    assert words in str(caught.value)
