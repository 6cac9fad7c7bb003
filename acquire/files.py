"""Files in TOML read and validated, or one line that says which is wrong, where, and how."""

import json
import re
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from acquire.places import Key, keys_at, line_of, nearest, shown_path, shown_value
from acquire.refusal import Refusal

T = TypeVar("T")


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
class File:
    """A file as read: what messages call it, its text, and the tables in it."""

    shown: str
    text: str
    tables: dict[str, Any]

    def error(self, path: tuple[Key, ...], expected: str, hint: str = "") -> ConfigurationError:
        """Return what is wrong at a key of this file."""
        value = shown_value(self.tables, path)
        line = line_of(self.text, path)
        place = self.shown if line is None else f"{self.shown}:{line}"
        return ConfigurationError(place, shown_path(path), value, expected, hint)


# What parts a head in TOML from what stands below it.
MARK = re.compile(r"^---[ \t]*\r?$", re.MULTILINE)


def read_file(path: Path, shown: str) -> File:
    """Return a file as read; `shown` is what messages call it. Raises ConfigurationError."""
    return _parsed(_text(path, shown), shown)


def read_headed(path: Path, shown: str) -> tuple[File, list[tuple[int, str]]]:
    """Return a file's head in TOML, and below its line `---` each line with its number.

    Raises ConfigurationError.
    """
    text = _text(path, shown)
    mark = MARK.search(text)
    if mark is None:
        raise ConfigurationError(shown, "", "", "a head in TOML, a line ---, readings below it")
    head = text[: mark.start()]
    below = text[mark.end() :].split("\n")[1:]
    return _parsed(head, shown), list(enumerate(below, start=head.count("\n") + 2))


def _text(path: Path, shown: str) -> str:
    try:
        if path.exists() and not path.is_file():
            raise ConfigurationError(shown, "", "", "a file; this is something else")
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise ConfigurationError(shown, "", "", "this file; it is missing") from error
    except OSError as error:
        raise ConfigurationError(shown, "", "", reason(error)) from error
    except UnicodeDecodeError as error:
        expected = f"a text in UTF-8; byte {error.start} isn't"
        raise ConfigurationError(shown, "", "", expected) from error


def _parsed(text: str, shown: str) -> File:
    # A ValueError is a syntax error or a number of thousands of digits, a RecursionError brackets
    # nested as deep.
    try:
        return File(shown, text, tomllib.loads(text))
    except (ValueError, RecursionError) as error:
        raise _syntax_error(shown, error) from error


def _syntax_error(shown: str, error: Exception) -> ConfigurationError:
    words, line = str(error), re.search(r"\(at line (\d+), column (\d+)\)", str(error))
    if line is None:
        return ConfigurationError(shown, "", "", f"TOML; {words.lower()}")
    where = f"TOML; {words[: line.start()].strip().lower()} in column {line[2]}"
    return ConfigurationError(f"{shown}:{line[1]}", "", "", where)


def reason(error: OSError) -> str:
    """Return what was expected of a file that the system refused."""
    return f"a readable file: {(error.strerror or str(error)).lower()}"


def validated(file: File, wanted: type[T]) -> T:
    """Return the file as a dataclass. Raises ConfigurationError.

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
