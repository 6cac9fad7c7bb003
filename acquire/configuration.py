"""A scenario read from its files, or one line that says which file is wrong, where, and how.

Three kinds of file that change at their own pace, the stand, the pair and the schedule, and a
fourth that only the simulated stand reads: what the plant truly is.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any, NamedTuple

from acquire.agreement import (
    Disagreement,
    stand_disagreements,
    truth_disagreements,
)
from acquire.description_agreement import description_disagreements
from acquire.files import ConfigurationError, File, read_file, reason, validated
from acquire.places import SHOWN, Key, nearest
from calculation.nameplate import Pair
from drivers.description import (
    Description,
    RegisterDescription,
    Stand,
    SunSpecDescription,
    TextDescription,
)
from drivers.simulated.truth import Truth
from sequences.schedule import Schedule

__all__ = [
    "ConfigurationError",
    "Scenario",
    "Setup",
    "load_description",
    "load_scenario",
    "load_setup",
    "load_stand",
    "shipped_scenarios",
]

PLAIN_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_\-]*")


class Shown(NamedTuple):
    """What messages call the files that a run starts from."""

    stand: str
    pair: str
    schedule: str


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything that a run starts from. `files` are the texts it was read from, by their names."""

    name: str
    folder: Path
    stand: Stand
    pair: Pair
    schedule: Schedule
    schedule_name: str
    descriptions: dict[str, Description]
    files: dict[str, str]
    shown: Shown


@dataclass(frozen=True, slots=True)
class Scenario(Setup):
    """What a run on the simulated stand starts from: also what the plant truly is."""

    truth: Truth


def load_scenario(name_or_folder: str, schedule: str) -> Scenario:
    """Read a scenario: a shipped name, or a folder with stand, pair, truth and `schedules/`.

    A name without a separator that is shipped means the shipped one. The scenario's own
    `descriptions/` go before the shipped descriptions of instruments.
    Raises ConfigurationError, and nothing else, for whatever is wrong in them.
    """
    folder, shown = _scenario_folder(name_or_folder)
    stand_file = read_file(folder / "stand.toml", f"{shown}/stand.toml")
    pair_file = read_file(folder / "pair.toml", f"{shown}/pair.toml")
    truth_file = read_file(folder / "truth.toml", f"{shown}/truth.toml")
    schedule_file = _schedule_file(folder, shown, schedule)
    stand = validated(stand_file, Stand)
    pair = validated(pair_file, Pair)
    truth = validated(truth_file, Truth)
    plan = validated(schedule_file, Schedule)
    description_files = _description_files(folder, shown, stand, stand_file)
    descriptions = {name: _description(file) for name, file in description_files.items()}
    _refuse(stand_file, stand_disagreements(stand, descriptions))
    _refuse(truth_file, truth_disagreements(truth, stand))
    return Scenario(
        name=folder.name,
        folder=folder,
        stand=stand,
        pair=pair,
        truth=truth,
        schedule=plan,
        schedule_name=schedule,
        descriptions=descriptions,
        files={
            "stand.toml": stand_file.text,
            "pair.toml": pair_file.text,
            "truth.toml": truth_file.text,
            f"schedules/{schedule}.toml": schedule_file.text,
        }
        | {f"descriptions/{name}.toml": file.text for name, file in description_files.items()},
        shown=Shown(stand_file.shown, pair_file.shown, schedule_file.shown),
    )


def load_setup(stand: str, pair: str, schedule: str) -> Setup:
    """Read what a run on a stand that is there needs: stand, pair and schedule.

    `stand` is a folder, its stand.toml or a shipped name; `pair` and `schedule` are files, or
    names: of a file of the folder or of its `pairs/`, and of its `schedules/`. An empty `pair` is
    the folder's pair.toml. Raises ConfigurationError, and nothing else, for what is wrong in them.
    """
    folder, shown = _stand_folder(stand)
    found, descriptions, texts = _stand(folder, shown)
    pair_file = _pair_file(folder, shown, pair)
    given = Path(schedule)
    if schedule.endswith(".toml"):
        schedule_file = read_file(given, schedule)
    else:
        schedule_file = _schedule_file(folder, shown, schedule)
    return Setup(
        name=folder.name,
        folder=folder,
        stand=found,
        pair=validated(pair_file, Pair),
        schedule=validated(schedule_file, Schedule),
        schedule_name=given.stem if schedule.endswith(".toml") else schedule,
        descriptions=descriptions,
        files=texts
        | {"pair.toml": pair_file.text, f"schedules/{given.stem}.toml": schedule_file.text},
        shown=Shown(f"{shown}/stand.toml", pair_file.shown, schedule_file.shown),
    )


def load_stand(stand: str) -> tuple[Stand, dict[str, Description]]:
    """Read a stand alone, with its descriptions by name. Raises ConfigurationError."""
    found, descriptions, _texts = _stand(*_stand_folder(stand))
    return found, descriptions


def load_description(path: Path) -> Description:
    """Read a description of an instrument. Raises ConfigurationError."""
    return _description(read_file(path, str(path)))


def _stand(folder: Path, shown: str) -> tuple[Stand, dict[str, Description], dict[str, str]]:
    """Return a folder's stand, its descriptions, and the texts of both by their names."""
    file = read_file(folder / "stand.toml", f"{shown}/stand.toml")
    stand = validated(file, Stand)
    described = _description_files(folder, shown, stand, file)
    descriptions = {name: _description(text) for name, text in described.items()}
    _refuse(file, stand_disagreements(stand, descriptions))
    texts = {f"descriptions/{name}.toml": text.text for name, text in described.items()}
    return stand, descriptions, {"stand.toml": file.text} | texts


def shipped_scenarios() -> list[str]:
    """Return the names of the scenarios that come with the program."""
    return sorted(f.name for f in _shipped("sim_configs").iterdir() if (f / "stand.toml").is_file())


def _shipped(package: str) -> Path:
    return Path(str(resources.files(package)))


def _scenario_folder(name_or_folder: str) -> tuple[Path, str]:
    shipped = shipped_scenarios()
    if name_or_folder in shipped:
        return _shipped("sim_configs") / name_or_folder, name_or_folder
    folder = Path(name_or_folder)
    try:
        if name_or_folder and folder.is_dir():
            return folder.resolve(), str(folder)
    except OSError as error:
        raise ConfigurationError(name_or_folder[:SHOWN], "", "", reason(error)) from error
    expected = f"a folder, or a shipped scenario: {', '.join(shipped)}"
    raise ConfigurationError(name_or_folder, "", "", expected, nearest(name_or_folder, shipped))


def _stand_folder(stand: str) -> tuple[Path, str]:
    path = Path(stand)
    if path.name == "stand.toml" and path.is_file():
        return path.parent.resolve(), str(path.parent)
    return _scenario_folder(stand)


def _pair_file(folder: Path, shown: str, pair: str) -> File:
    if not pair:
        return read_file(folder / "pair.toml", f"{shown}/pair.toml")
    if pair.endswith(".toml"):
        return read_file(Path(pair), pair)
    places = [*folder.glob("*.toml"), *folder.glob("pairs/*.toml")]
    there = {f.stem: f for f in places if f.stem not in {"stand", "truth"}}
    if pair not in there:
        expected = f"a file, or one of: {', '.join(sorted(there))}"
        raise ConfigurationError(shown, "pair", repr(pair), expected, nearest(pair, sorted(there)))
    return read_file(there[pair], f"{shown}/{there[pair].relative_to(folder)}")


def _schedule_file(folder: Path, shown: str, schedule: str) -> File:
    there = sorted(f.stem for f in (folder / "schedules").glob("*.toml"))
    if not PLAIN_NAME.fullmatch(schedule) or schedule not in there:
        expected = f"one of: {', '.join(there)}" if there else "a file NAME.toml in this folder"
        hint = nearest(schedule, there)
        raise ConfigurationError(f"{shown}/schedules", "schedule", repr(schedule), expected, hint)
    return read_file(
        folder / "schedules" / f"{schedule}.toml", f"{shown}/schedules/{schedule}.toml"
    )


def _description_files(folder: Path, shown: str, stand: Stand, stand_file: File) -> dict[str, File]:
    own, shipped = folder / "descriptions", _shipped("drivers.descriptions")
    there = sorted({f.stem for place in (own, shipped) for f in place.glob("*.toml")})
    files: dict[str, File] = {}
    for path, name in _named_descriptions(stand):
        if name not in there or not PLAIN_NAME.fullmatch(name):
            expected = f"a description: {', '.join(there)}"
            raise stand_file.error(path, expected, nearest(name, there))
        if (own / f"{name}.toml").exists():
            files[name] = read_file(own / f"{name}.toml", f"{shown}/descriptions/{name}.toml")
        else:
            files[name] = read_file(shipped / f"{name}.toml", f"descriptions/{name}.toml")
    return files


def _named_descriptions(stand: Stand) -> Iterator[tuple[tuple[Key, ...], str]]:
    """Yield where the stand file names a description, and which."""
    for i, instrument in enumerate(stand.instrument):
        yield ("instrument", i, "description"), instrument.description
    for name, regulator in stand.outputs.regulators().items():
        if regulator.source is not None:
            yield ("outputs", name, "source", "description"), regulator.source.description


def _description(file: File) -> Description:
    kinds: dict[Any, type[Description]] = {
        "text": TextDescription,
        "registers": RegisterDescription,
        "sunspec": SunSpecDescription,
    }
    kind = file.tables.get("kind")
    if not isinstance(kind, str) or kind not in kinds:
        raise file.error(("kind",), "'text', 'registers' or 'sunspec'")
    description = validated(file, kinds[kind])
    _refuse(file, description_disagreements(description))
    return description


def _refuse(file: File, disagreements: Iterator[Disagreement]) -> None:
    for disagreement in disagreements:
        raise file.error(disagreement.path, disagreement.expected, disagreement.hint)
