"""Where in a TOML text a key stands, for messages: the parser itself doesn't say."""

import re
from collections.abc import Iterator

Key = str | int

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
