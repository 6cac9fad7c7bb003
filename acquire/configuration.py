"""A scenario read from its files, or one line that says which file is wrong, where, and how.

Three kinds of file that change at their own pace, the stand, the pair and the schedule, and a
fourth that only the simulated stand reads: what the plant truly is.
"""

import json
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from acquire.agreement import (
    Disagreement,
    nearest,
    stand_disagreements,
    truth_disagreements,
)
from acquire.places import SHOWN, Key, keys_at, line_of, shown_path, shown_value
from acquire.refusal import Refusal
from calculation.nameplate import Pair
from drivers.description import RegisterDescription, Stand, TextDescription
from drivers.simulated.truth import Truth
from sequences.schedule import Schedule

T = TypeVar("T")

PLAIN_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_\-]*")


class ConfigurationError(Refusal):
    """A file that can't be used: which (with the line), which key, what stood there, what was due.

    `key` and `value` are empty where the file as a whole is meant. As text it is one line.
    """

    def __init__(self, file: str, key: str, value: str, expected: str, hint: str = "") -> None:
        super().__init__(file, key, value, expected, hint)
        self.file = file
        self.key = key
        self.value = value
        self.expected = expected
        self.hint = hint

    def __str__(self) -> str:
        found = " = ".join(part for part in (self.key, self.value) if part)
        words = ": ".join(part for part in (self.file, found, f"expected {self.expected}") if part)
        if self.hint:
            words += f" ({self.hint})"
        return words.replace("\r", "\\r").replace("\n", "\\n")


@dataclass(frozen=True, slots=True)
class Scenario:
    """Everything that a run starts from. `files` are the texts it was read from, by their names."""

    name: str
    folder: Path
    stand: Stand
    pair: Pair
    truth: Truth
    schedule: Schedule
    schedule_name: str
    descriptions: dict[str, TextDescription | RegisterDescription]
    files: dict[str, str]


def load_scenario(name_or_folder: str, schedule: str) -> Scenario:
    """Read a scenario: a shipped name, or a folder with stand, pair, truth and `schedules/`.

    A name without a separator that is shipped means the shipped one. The scenario's own
    `descriptions/` go before the shipped descriptions of instruments.
    Raises ConfigurationError, and nothing else, for whatever is wrong in them.
    """
    folder, shown = _scenario_folder(name_or_folder)
    stand_file = _read(folder / "stand.toml", f"{shown}/stand.toml")
    pair_file = _read(folder / "pair.toml", f"{shown}/pair.toml")
    truth_file = _read(folder / "truth.toml", f"{shown}/truth.toml")
    schedule_file = _schedule_file(folder, shown, schedule)
    stand = _validated(stand_file, Stand)
    pair = _validated(pair_file, Pair)
    truth = _validated(truth_file, Truth)
    plan = _validated(schedule_file, Schedule)
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
    )


def shipped_scenarios() -> list[str]:
    """Return the names of the scenarios that come with the program."""
    return sorted(f.name for f in _shipped("sim_configs").iterdir() if (f / "stand.toml").is_file())


@dataclass(frozen=True, slots=True)
class _File:
    """A file as read: what messages call it, its text, and the tables in it."""

    shown: str
    text: str
    tables: dict[str, Any]

    def error(self, path: tuple[Key, ...], expected: str, hint: str = "") -> ConfigurationError:
        value = shown_value(self.tables, path)
        line = line_of(self.text, path)
        place = self.shown if line is None else f"{self.shown}:{line}"
        return ConfigurationError(place, shown_path(path), value, expected, hint)


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
        raise ConfigurationError(name_or_folder[:SHOWN], "", "", _reason(error)) from error
    expected = f"a folder, or a shipped scenario: {', '.join(shipped)}"
    raise ConfigurationError(name_or_folder, "", "", expected, nearest(name_or_folder, shipped))


def _schedule_file(folder: Path, shown: str, schedule: str) -> _File:
    there = sorted(f.stem for f in (folder / "schedules").glob("*.toml"))
    if not PLAIN_NAME.fullmatch(schedule) or schedule not in there:
        expected = f"one of: {', '.join(there)}" if there else "a file NAME.toml in this folder"
        hint = nearest(schedule, there)
        raise ConfigurationError(f"{shown}/schedules", "schedule", repr(schedule), expected, hint)
    return _read(folder / "schedules" / f"{schedule}.toml", f"{shown}/schedules/{schedule}.toml")


def _description_files(
    folder: Path, shown: str, stand: Stand, stand_file: _File
) -> dict[str, _File]:
    own, shipped = folder / "descriptions", _shipped("drivers.descriptions")
    there = sorted({f.stem for place in (own, shipped) for f in place.glob("*.toml")})
    files: dict[str, _File] = {}
    for i, instrument in enumerate(stand.instrument):
        name = instrument.description
        if name not in there or not PLAIN_NAME.fullmatch(name):
            path = ("instrument", i, "description")
            expected = f"a description: {', '.join(there)}"
            raise stand_file.error(path, expected, nearest(name, there))
        if (own / f"{name}.toml").exists():
            files[name] = _read(own / f"{name}.toml", f"{shown}/descriptions/{name}.toml")
        else:
            files[name] = _read(shipped / f"{name}.toml", f"descriptions/{name}.toml")
    return files


def _description(file: _File) -> TextDescription | RegisterDescription:
    match file.tables.get("kind"):
        case "text":
            return _validated(file, TextDescription)
        case "registers":
            return _validated(file, RegisterDescription)
        case _:
            raise file.error(("kind",), "'text' or 'registers'")


def _read(path: Path, shown: str) -> _File:
    try:
        if path.exists() and not path.is_file():
            raise ConfigurationError(shown, "", "", "a file; this is something else")
        text = path.read_bytes().decode("utf-8-sig")
        return _File(shown, text, tomllib.loads(text))
    except FileNotFoundError as error:
        raise ConfigurationError(shown, "", "", "this file; it is missing") from error
    except OSError as error:
        raise ConfigurationError(shown, "", "", _reason(error)) from error
    except UnicodeDecodeError as error:
        expected = f"a text in UTF-8; byte {error.start} isn't"
        raise ConfigurationError(shown, "", "", expected) from error
    # A ValueError is a syntax error or a number of thousands of digits, a RecursionError brackets
    # nested as deep.
    except (ValueError, RecursionError) as error:
        raise _syntax_error(shown, error) from error


def _syntax_error(shown: str, error: Exception) -> ConfigurationError:
    words, line = str(error), re.search(r"\(at line (\d+), column (\d+)\)", str(error))
    if line is None:
        return ConfigurationError(shown, "", "", f"TOML; {words.lower()}")
    where = f"TOML; {words[: line.start()].strip().lower()} in column {line[2]}"
    return ConfigurationError(f"{shown}:{line[1]}", "", "", where)


def _reason(error: OSError) -> str:
    return f"a readable file: {(error.strerror or str(error)).lower()}"


def _validated(file: _File, wanted: type[T]) -> T:
    """Return the file as a dataclass.

    It goes through JSON, since only there does strict validation (no "1.0" for 1.0, no true for 1)
    still take a list for a tuple and a table for a dataclass.
    """
    known: Any = wanted  # a type variable is not hashable to the type checker
    tables = json.dumps(file.tables, default=lambda date: {"date": str(date)})
    try:
        found: T = _adapter(known).validate_json(tables, strict=True)
    except ValidationError as error:
        problems = error.errors(include_url=False, include_context=False)
    else:
        return found
    # A misspelt key is reported as an unknown and often as a missing one: the first says more.
    first = min(problems, key=lambda p: p["type"] != "unexpected_keyword_argument")
    path = first["loc"]
    if first["type"] == "unexpected_keyword_argument":
        keys = keys_at(wanted, path[:-1])
        hint = nearest(str(path[-1]), keys)
        raise file.error(path, "a known key" if hint else f"one of: {', '.join(keys)}", hint)
    raise file.error(path, _expected(first["type"], first["msg"]))


@cache
def _adapter(wanted: Any) -> TypeAdapter[Any]:
    """Return what validates a type; making one takes longer than all its validations."""
    return TypeAdapter(wanted)


def _expected(kind: str, message: str) -> str:
    match kind:
        case "missing":
            return "a value"
        case "dataclass_type" | "dict_type":
            return "a table"
        case "tuple_type":
            return "a list"
        case "too_short":
            return "at least one entry"
        case _:
            return message.removeprefix("Input should be ")


def _refuse(file: _File, disagreements: Iterator[Disagreement]) -> None:
    for disagreement in disagreements:
        raise file.error(disagreement.path, disagreement.expected, disagreement.hint)
