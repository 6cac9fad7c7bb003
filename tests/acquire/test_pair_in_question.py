"""Where a meter doesn't suit a pair it may be the pair's file that is wrong: both are named."""

import shutil
from importlib import resources
from pathlib import Path

import pytest

from acquire.configuration import ConfigurationError, load_scenario, load_setup
from acquire.stand import expected_of

SHIPPED = Path(str(resources.files("sim_configs"))) / "distribution_pair"


@pytest.fixture(name="folder")
def _folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SHIPPED, tmp_path / "stands" / "mine"))


@pytest.mark.parametrize(
    ("right", "forgotten"),
    [
        ("lv_voltage_v = 400", "lv_voltage_v = 0.4"),
        ("hv_voltage_v = 6600", "hv_voltage_v = 6.6"),
        ("power_va = 100_000", "power_va = 100"),
    ],
)
def test_a_unit_forgotten_is_looked_for_in_the_pair(
    folder: Path, tmp_path: Path, right: str, forgotten: str
) -> None:
    pair = tmp_path / "pairs" / "new.toml"
    pair.parent.mkdir()
    pair.write_text((folder / "pair.toml").read_text().replace(right, forgotten))
    with pytest.raises(ConfigurationError) as caught:
        expected_of(load_setup(str(folder), str(pair), "loss_test"))
    words = str(caught.value)
    assert words.startswith(f"{folder}/stand.toml: instrument ")
    assert f"the pair of {pair}: are " in words
    assert forgotten in words
    assert "\n" not in words


def test_the_paths_are_those_that_were_given(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not the bare name of a folder that lies somewhere."""
    (folder / "pair.toml").write_text(
        (SHIPPED / "pair.toml").read_text().replace("power_va = 100_000", "power_va = 100")
    )
    monkeypatch.chdir(folder.parent.parent)
    for setup in (
        load_setup("stands/mine", "", "loss_test"),
        load_scenario("stands/mine", "loss_test"),
    ):
        with pytest.raises(ConfigurationError, match=r"^stands/mine/stand\.toml: .* of stands/m"):
            expected_of(setup)


def test_a_step_beyond_the_supply_is_found_in_its_schedule(folder: Path) -> None:
    schedule = folder / "schedules" / "heat_run_overload.toml"
    shipped = load_scenario(str(folder), "heat_run_overload")
    assert shipped.schedule.most_current > 1
    stand = folder / "stand.toml"
    full = f"full_voltage_v = {shipped.stand.outputs.loop_regulator.full_voltage_v:g}"
    assert full in stand.read_text()
    stand.write_text(stand.read_text().replace(full, "full_voltage_v = 560"))
    with pytest.raises(ConfigurationError) as caught:
        expected_of(load_scenario(str(folder), "heat_run_overload"))
    assert caught.value.file == str(schedule)
