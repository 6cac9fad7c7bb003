"""`twinload reduce` from the shell, against a process that only imports what it can't do without.

Prints the best of several runs of each and their ratio: with instruments (budgets of every
quantity), and without.
"""

import subprocess
import sys
import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

from acquire.reducing import template

BARE = "import pydantic, rich.table, tomllib, typer"
PROGRAM = "from acquire.commands import app; app()"
TIMES = 7


def best(*command: str) -> float:
    """The shortest of several runs of a process, s."""
    taken = []
    for _ in range(TIMES):
        start = perf_counter()
        subprocess.run([sys.executable, "-c", *command], check=True, stdout=subprocess.DEVNULL)
        taken.append(perf_counter() - start)
    return min(taken)


def without_instruments(text: str) -> str:
    """The template up to its instruments, the ammeter read directly."""
    head = text.split("# Leave out, and nothing has an uncertainty", maxsplit=1)[0]
    shown = tomllib.loads(text)["load"]
    for key in ("current_a", "power_w"):
        head = head.replace(f"{key} = {shown[key]}", f"{key} = {4 * shown[key]:g}")
    return head


if __name__ == "__main__":
    bare = best(BARE)
    print(f"{'bare imports':24s} {bare:5.2f} s")
    with TemporaryDirectory() as folder:
        for label, text in (
            ("without instruments", without_instruments(template())),
            ("with instruments", template()),
        ):
            file = Path(folder) / "readings.toml"
            file.write_text(text, encoding="utf-8")
            took = best(PROGRAM, "reduce", str(file), "--json")
            print(f"{label:24s} {took:5.2f} s, {took / bare:5.2f} x the bare imports")
