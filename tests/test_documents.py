"""Documents kept honest: DEVELOPERS.md lists every formula, and what it says is there."""

import ast
import dataclasses
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest

from calculation.nameplate import Pair
from drivers.description import (
    RegisterDescription,
    Stand,
    SunSpecDescription,
    TextDescription,
)
from sequences.schedule import Schedule

FILES: dict[str, type[Any]] = {
    "stand": Stand,
    "text": TextDescription,
    "registers": RegisterDescription,
    "sunspec": SunSpecDescription,
    "pair": Pair,
    "schedule": Schedule,
}
ROOT = Path(__file__).parent.parent
NAME = re.compile(r"`((?:hand\.)?[a-z_]+\.[a-z_0-9]+)`")
CHECK = re.compile(r"`(test_[a-z_0-9]+|(?:tests|benchmarks)/[a-z_0-9/]+\.py)`")


def public_functions() -> Iterator[str]:
    """Yield every public function of `calculation/` by module and name."""
    room = ROOT / "calculation"
    for file in sorted(room.rglob("*.py")):
        module = ".".join(file.relative_to(room).with_suffix("").parts)
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield f"{module}.{node.name}"


def formulas() -> str:
    """Return the section of DEVELOPERS.md that lists them."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    return text.split("\n## Formulas\n")[1].split("\n## ")[0]


def rows() -> list[list[str]]:
    """Return the cells of every row; a bar within a formula is written as an escape."""
    lines = [line for line in formulas().splitlines() if line.startswith("| `")]
    return [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in lines]


def test_every_public_function_is_listed_once() -> None:
    """A new function of `calculation/` comes with its source and check, a lost one goes."""
    listed = [name for row in rows() for name in NAME.findall(row[0])]
    plain = NAME.findall(formulas().split("No formula of their own")[1])
    counted = Counter(listed + plain)
    assert counted.keys() == set(public_functions())
    assert [name for name, times in counted.items() if times > 1] == []


@pytest.mark.parametrize("row", rows(), ids=lambda row: row[0][:40])
def test_no_cell_is_blank_and_every_check_exists(row: list[str]) -> None:
    """Each formula has its source, and a check in a file that is there."""
    assert len(row) == 4
    assert all(row)
    checks = CHECK.findall(row[3])
    assert checks, row[3]
    for check in checks:
        file = ROOT / (check if "/" in check else f"tests/published/{check}.py")
        assert file.is_file(), check


def tables() -> dict[str, type[Any]]:
    """Return every table that a file may have, by its path; one that comes twice once."""
    found = dict(FILES)
    for path, table in found.copy().items():
        _add(found, path, table)
    return found


def _add(found: dict[str, type[Any]], path: str, table: type[Any]) -> None:
    for key, hint in get_type_hints(table).items():
        for within in _tables_in(hint):
            if within not in found.values():
                found[f"{path}.{key}"] = within
                _add(found, f"{path}.{key}", within)


def _tables_in(hint: Any) -> list[type[Any]]:
    if dataclasses.is_dataclass(hint):
        return [hint]  # type: ignore[list-item]  # a type, where it is a hint
    return [table for part in get_args(hint) for table in _tables_in(part)]


@pytest.mark.parametrize("path", tables())
def test_every_key_is_listed_and_what_may_be_left_out(path: str) -> None:
    """In their order; a default is told by brackets."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.split("\n## Keys of the files\n")[1].split("\n## ")[0]
    row = next(line for line in section.splitlines() if line.startswith(f"| `{path}`"))
    keys = re.findall(r"(\[?)`([a-z_0-9]+)`", row.split("|")[2])
    fields = dataclasses.fields(tables()[path])
    none = dataclasses.MISSING
    has_default = [f.default is not none or f.default_factory is not none for f in fields]
    assert [key for _, key in keys] == [f.name for f in fields]
    assert [bracket == "[" for bracket, _ in keys] == has_default
