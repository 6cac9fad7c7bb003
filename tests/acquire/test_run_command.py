"""`twinload run`: what it refuses before it begins, in one line and without a trace of a run."""

import shutil
from pathlib import Path

import pytest

from acquire.archive import Archive
from acquire.configuration import ConfigurationError, load_scenario, load_setup
from acquire.heat_fold import CannotContinue
from acquire.local import NotLocal
from acquire.refusal import Refusal
from acquire.running import NotThere, Wanted, run_stand
from acquire.unattended import MayNotBeLeft
from tests.acquire.processes import patient_stand


@pytest.fixture(name="folder")
def _folder(tmp_path: Path) -> Path:
    return patient_stand(tmp_path / "stand")


def change(folder: Path, old: str, new: str) -> None:
    file = folder / "stand.toml"
    assert old in file.read_text()
    file.write_text(file.read_text().replace(old, new))


def refused(folder: Path, kind: type[Refusal], wanted: Wanted) -> str:
    """Return the one line of a refusal, no run having been begun."""
    with pytest.raises(kind) as refusal:
        run_stand(str(folder), "", "loss_test", wanted)
    assert "\n" not in str(refusal.value)
    assert refusal.value.exit_code == 2
    if wanted.out.exists():
        with Archive(wanted.out, read_only=True) as archive:
            assert archive.runs() == []
    return str(refusal.value)


def test_a_stand_whose_outputs_do_not_answer(folder: Path, tmp_path: Path) -> None:
    assert "nothing was begun" in refused(folder, NotThere, Wanted(tmp_path / "runs"))


def test_faster_than_the_wall_where_an_address_is_elsewhere(folder: Path, tmp_path: Path) -> None:
    change(folder, "TCPIP::127.0.0.1::", "TCPIP::192.0.2.1::")
    assert "192.0.2.1" in refused(folder, NotLocal, Wanted(tmp_path / "runs", speed=2.0))


def test_a_scan_too_slow_for_what_may_be_real(folder: Path, tmp_path: Path) -> None:
    """The shipped stand is scanned once a second, to be quick."""
    change(folder, "TCPIP::127.0.0.1::", "TCPIP::192.0.2.1::")
    told = refused(folder, NotLocal, Wanted(tmp_path / "runs"))
    assert "scan_period_s = 1: expected at most 0.2 s" in told


def test_unattended_where_the_stand_file_does_not_declare_it(folder: Path, tmp_path: Path) -> None:
    told = refused(folder, MayNotBeLeft, Wanted(tmp_path / "runs", unattended=True))
    assert "fire_detection" in told


def test_going_on_from_a_run_that_there_is_not(folder: Path, tmp_path: Path) -> None:
    refused(folder, Refusal, Wanted(tmp_path / "runs", continues=3))


def test_a_loss_test_continues_nothing(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "runs"
    with Archive(out) as archive:
        recorder = archive.start_run("loss_test", "loss_test", None, {}, {}, {"anchors": []})
        recorder.end("stopped", "stopped", None, None)
    with pytest.raises(CannotContinue, match="heat run"):
        run_stand(str(folder), "", "loss_test", Wanted(out, continues=1))


class TestSetup:
    """Stand, pair and schedule, each a file or a name."""

    def test_a_folder_its_stand_file_and_a_shipped_name_are_the_same_stand(self) -> None:
        shipped = load_scenario("distribution_pair", "loss_test")
        for name in (str(shipped.folder), str(shipped.folder / "stand.toml"), "distribution_pair"):
            setup = load_setup(name, "", "loss_test")
            assert (setup.stand, setup.pair) == (shipped.stand, shipped.pair)
            assert setup.schedule == shipped.schedule
            assert setup.descriptions == shipped.descriptions
            assert setup.files == {k: v for k, v in shipped.files.items() if k != "truth.toml"}

    def test_no_truth_is_needed(self, folder: Path) -> None:
        (folder / "truth.toml").unlink()
        assert load_setup(str(folder), "", "loss_test").name == "stand"

    def test_a_pair_by_name_and_by_file(self, folder: Path, tmp_path: Path) -> None:
        (folder / "pairs").mkdir()
        text = (folder / "pair.toml").read_text()
        shutil.move(folder / "pair.toml", folder / "pairs" / "other.toml")
        file = tmp_path / "mine.toml"
        file.write_text(text)
        by_name = load_setup(str(folder), "other", "loss_test")
        by_file = load_setup(str(folder), str(file), "loss_test")
        assert by_name.pair == by_file.pair
        assert by_name.files["pair.toml"] == text
        with pytest.raises(ConfigurationError, match="other"):
            load_setup(str(folder), "othr", "loss_test")

    def test_a_schedule_by_file_is_named_for_it(self, folder: Path, tmp_path: Path) -> None:
        file = tmp_path / "short.toml"
        file.write_text((folder / "schedules" / "loss_test.toml").read_text())
        setup = load_setup(str(folder), "", str(file))
        assert setup.schedule_name == "short"
        assert "schedules/short.toml" in setup.files

    @pytest.mark.parametrize(
        ("stand", "pair", "schedule"),
        [("nowhere", "", "loss_test"), ("", "", "loss_test"), ("distribution_pair", "", "nothing"),
         ("distribution_pair", "nobody.toml", "loss_test"),
         ("distribution_pair", "", "nothing.toml"), ("distribution_pair", "stand", "loss_test")],
    )  # fmt: skip
    def test_what_is_not_there_is_named(self, stand: str, pair: str, schedule: str) -> None:
        with pytest.raises(ConfigurationError):
            load_setup(stand, pair, schedule)
