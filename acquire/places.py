"""Where in a TOML file a key stands and what could stand there, for messages.

The parser itself doesn't say.
"""

import difflib
import re
from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass
from types import UnionType
from typing import Any, get_args, get_type_hints

Key = str | int

# The longest part of a wrong value that a message shows.
SHOWN = 60

HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]#]+?)\s*\]")
ASSIGNMENT = re.compile(r"""\s*([A-Za-z0-9_\-."' ]+?)\s*=\s*(\[?)""")


def line_of(text: str, path: tuple[Key, ...]) -> int | None:
    """Return the line (from 1) of the key at `path`, or of the nearest table or key that holds it.

    A small scan of table headers, keys, and entries of lists that have a line each; None where it
    finds nothing.
    """
    best, best_line = 0, None
    for number, place in _places(text):
        if len(place) > best and place == path[: len(place)]:
            best, best_line = len(place), number
    return best_line


def _places(text: str) -> Iterator[tuple[int, tuple[Key, ...]]]:
    """Yield (line, path) for every line of a TOML text at which something begins."""
    counts: dict[tuple[Key, ...], int] = {}
    table: tuple[Key, ...] = ()
    entries: tuple[Key, ...] | None = None
    entry = 0
    for number, line in enumerate(text.split("\n"), start=1):
        bare = line.strip()
        if entries is not None:
            if bare.startswith("]"):
                entries = None
            elif bare and not bare.startswith("#"):
                yield number, (*entries, entry)
                entry += 1
        elif header := HEADER.match(line):
            table = _table_path(header[2], header[1] == "[[", counts)
            yield number, table
        elif assignment := ASSIGNMENT.match(line):
            key = (*table, *_key_parts(assignment[1]))
            yield number, key
            if assignment[2] and line.count("[") > line.count("]"):
                entries, entry = key, 0


def _table_path(words: str, is_list: bool, counts: dict[tuple[Key, ...], int]) -> tuple[Key, ...]:
    path: tuple[Key, ...] = ()
    parts = _key_parts(words)
    for i, part in enumerate(parts):
        path = (*path, part)
        if is_list and i == len(parts) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _key_parts(words: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in words.split("."))


def keys_at(wanted: Any, path: tuple[Key, ...]) -> list[str]:
    """Return the keys that the table at `path` may have."""
    for key in path:
        if is_dataclass(wanted):
            wanted = get_type_hints(wanted)[str(key)]
            if isinstance(wanted, UnionType):
                wanted = _dataclass_within(wanted)
        else:
            wanted = _dataclass_within(wanted)
    return [f.name for f in fields(wanted)] if is_dataclass(wanted) else []


def _dataclass_within(annotation: Any) -> Any:
    """Return the dataclass of a list's entries, of a dict's values, or of a union."""
    return next((a for a in get_args(annotation) if is_dataclass(a)), None)


def shown_path(path: tuple[Key, ...]) -> str:
    """Return a path as one reads it: instrument[1].channel[0].unit."""
    words = "".join(f"[{key}]" if isinstance(key, int) else f".{key}" for key in path)
    return words.removeprefix(".")


def shown_value(tables: Any, path: tuple[Key, ...]) -> str:
    """Return the value at `path` in words, cut where it is long."""
    value = tables
    for key in path:
        try:
            value = value[key]
        except (LookupError, TypeError):
            return "nothing"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list) and any(isinstance(part, dict) for part in value):
        return f"a list of {len(value)}"
    words = repr(value)
    return words if len(words) <= SHOWN else words[: SHOWN - 1] + "…"


def nearest(name: str, names: Iterable[str]) -> str:
    """Return a hint that names the nearest of `names`, or nothing where none is near."""
    near = closest(name, names)
    return f"did you mean {near}?" if near else ""


def closest(name: str, names: Iterable[str]) -> str:
    """Return the nearest of `names`, or nothing where none is near."""
    near = difflib.get_close_matches(name, sorted(names), n=1)
    return near[0] if near else ""
