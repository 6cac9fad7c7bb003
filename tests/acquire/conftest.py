"""What the tests of this room share: a scenario's files to spoil, a run's readings to record."""

import shutil
from collections.abc import Callable
from importlib import resources
from pathlib import Path

import pytest

from acquire.archive import Archive
from acquire.encoding import sha256
from acquire.recorder import RunRecorder
from drivers.reading import Quality, Reading

INSTRUMENTS = {"lv_analyser": ("lv.voltage.1", "lv.current.1"), "contacts": ("guard",)}
FILES = {"stand.toml": "name = 'a stand'\n"}


@pytest.fixture(name="folder")
def _folder(tmp_path: Path) -> Path:
    """Return a copy of the shipped scenario that a test may spoil."""
    shipped = Path(str(resources.files("sim_configs"))) / "distribution_pair"
    return Path(shutil.copytree(shipped, tmp_path / "mine"))


@pytest.fixture(name="spoil")
def _spoil(folder: Path) -> Callable[[str, str, str], None]:
    """Return what replaces one text of one file of the scenario by another."""

    def spoil(file: str, old: str, new: str) -> None:
        text = (folder / file).read_text(encoding="utf-8")
        assert text.count(old) >= 1
        (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")

    return spoil


def started(archive: Archive, commit_interval_s: float = 1.0) -> RunRecorder:
    """Start a run with two small instruments and its first event."""
    recorder = archive.start_run(
        "loss_test",
        "loss_test",
        1,
        FILES,
        INSTRUMENTS,
        {"version": "0"},
        commit_interval_s=commit_interval_s,
    )
    files = {name: sha256(text) for name, text in FILES.items()}
    facts = {"procedure": "loss_test", "schedule": "loss_test", "seed": 1, "files": files}
    recorder.event(0, "run.started", facts)
    return recorder


def poll(t: int, volts: float | None = 400.25) -> list[tuple[str, tuple[Reading, ...]]]:
    """Return one poll of each instrument; a voltage of None is over range."""
    quality, reason = (Quality.BAD, "over range") if volts is None else (Quality.GOOD, "")
    lv = (
        Reading("lv.voltage.1", t, t - 5, volts, quality, reason),
        Reading("lv.current.1", t, t - 5, 1.5),
    )
    return [("lv_analyser", lv), ("contacts", (Reading("guard", t + 1, t, 1.0),))]
