"""What every command needs to speak: a terminal, colours, one object of JSON, exit codes.

Colours mean what IEC 60073 gives them: red emergency, yellow abnormal, green normal, blue an action
that somebody must take.
"""

import json
import os
import sys
from typing import Any

from rich.console import Console

EMERGENCY, ABNORMAL, NORMAL, MANDATORY, PLAIN, QUIET = (
    "bold red",
    "yellow",
    "green",
    "blue",
    "",
    "dim",
)

FINE, STOPPED, FOUND_WRONG = 0, 3, 4


def unit_shown(unit: str) -> str:
    """Return a unit as it is shown: nothing for a bare number."""
    return "" if unit == "1" else unit


class Terminal(Console):
    """A console that falls silent, and ends nothing, when its reader goes away."""

    def on_broken_pipe(self) -> None:
        """Say nothing more."""
        self.quiet = True
        fall_silent()


def fall_silent() -> None:
    """Let what is still printed go nowhere, so that the interpreter's end finds nothing amiss."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def print_json(value: dict[str, Any]) -> None:
    """Print one JSON object. Raises ValueError for a number that isn't finite."""
    try:
        print(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False), flush=True)
    except BrokenPipeError:
        fall_silent()
