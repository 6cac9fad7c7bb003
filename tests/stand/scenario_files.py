"""A drawn scenario as the files that a person would write."""

import json
import shutil
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from acquire.configuration import Scenario


def write_files(drawn: Scenario, folder: Path) -> None:
    """Write stand, pair, truth and schedule into a folder, with the instruments' devices."""
    (folder / "schedules").mkdir(parents=True)
    for name, part in (
        ("stand", drawn.stand),
        ("pair", drawn.pair),
        ("truth", drawn.truth),
        ("schedules/loss_test", drawn.schedule),
    ):
        (folder / f"{name}.toml").write_text(toml(asdict(part)), "utf-8")
    shutil.copy(drawn.folder / "meters.yaml", folder)


def toml(table: Mapping[str, Any]) -> str:
    """Write a table, whatever is in a key of it on one line."""
    return "".join(f"{key} = {_inline(v)}\n" for key, v in table.items() if v is not None)


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        pairs = (f"{k} = {_inline(v)}" for k, v in value.items() if v is not None)
        return "{" + ", ".join(pairs) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_inline(v) for v in value) + "]"
    # Numbers, words and truth values read alike in JSON and TOML.
    return json.dumps(value, ensure_ascii=False)
