"""Documents kept honest: DEVELOPERS.md lists every formula, and what it says is there."""

import ast
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

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
