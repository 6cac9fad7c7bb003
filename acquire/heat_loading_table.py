"""What a heat run tells of loading: fitted parameters, an overload step, permissible loads."""

import math
from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.text import Text

from acquire.heat_cells import Result, of_both
from acquire.overload_table import LIMITS
from acquire.results_table import number
from acquire.tables import table_of

# Key of `fitted`, words, unit, what one of it is of the value.
FITTED = (
    ("ultimate_top_liquid_k", "top-liquid rise at rated loss", "K", 1.0),
    ("top_liquid_time_constant_s", "time constant of top liquid", "min", 60.0),
    ("tau_o_s", "oil time constant, that by k11", "min", 60.0),
    ("loss_exponent", "exponent of liquid, x", "", 1.0),
    ("loss_ratio", "load loss over no-load loss, R", "", 1.0),
)
STEP = (
    ("begin_top_liquid_k", "at its beginning, measured"),
    ("predicted_top_liquid_k", "at its end, predicted"),
    ("measured_top_liquid_k", "at its end, measured"),
)


def fitted(result: Result) -> RenderableType | None:
    """Return both units' parameters, where the run showed any."""
    units: dict[str, Result | None] = result["fitted"]
    table = table_of("Thermal parameters, fitted from this run", "", "Unit A", "Unit B")
    known = [at for at in units.values() if at is not None]
    for key, words, unit, one in FITTED:
        cells = of_both(units, key, one)
        if cells is None or (key == "tau_o_s" and all(at["k11"] == 1.0 for at in known)):
            continue
        assumed = key == "loss_exponent" and any(at["exponent_assumed"] for at in known)
        of = ", assumed" if assumed else f", {unit}" if unit else ""
        table.add_row(f" {words}{of}", *cells)
    return table if table.row_count else None


def overload_step(result: Result) -> RenderableType | None:
    """Return what was predicted of an overload step beside what was measured, where one was run."""
    steps: dict[str, Result | None] = result.get("overload_step") or {}
    known = [at for at in steps.values() if at is not None]
    if not known:
        return None
    title = f"Overload step: {number(known[0]['current'], 3)} of rated current for"
    title += f" {number(known[0]['hours'], 3)} h"
    table = table_of(title, "Top-liquid rise, K", "Unit A", "Unit B")
    for key, words in STEP:
        cells = of_both(steps, key)
        if cells is not None:
            table.add_row(f" {words}", *cells)
    return table


def permissible(result: Result) -> RenderableType | None:
    """Return permissible loads of both units, one row a unit and ambient."""
    units = {unit: at["permissible"] for unit, at in result["overload"].items() if at is not None}
    if not units:
        return None
    every = [at for loads in units.values() for at in loads]
    durations = list(dict.fromkeys(at["hours"] for at in every))
    heads = ["Unit", *(f"{number(h, 3)} h" for h in durations)]
    table = table_of(
        f"Permissible load, per unit of rated, after {number(every[0]['preload'], 3)} had lasted",
        "Ambient",
        *heads,
    )
    for ambient_c in dict.fromkeys(at["ambient_c"] for at in every):
        for k, (unit, loads) in enumerate(units.items()):
            row = {at["hours"]: at for at in loads if at["ambient_c"] == ambient_c}
            ambient = "" if k else f"{number(ambient_c, 3)} °C"
            table.add_row(ambient, unit.upper(), *(_load(row[h]) for h in durations))
    return Group(table, *map(Text, _limited(every)))


def _load(at: Result) -> str:
    """Return a load rounded down, its U rounded up, and the letter of what limits it."""
    if at["load"] is None:
        return "none"
    # What the search left open is not below a round value.
    words = f"{math.floor(100 * at['load'] + 1e-6) / 100:.2f}"
    if at["expanded"]:
        words += f"±{math.ceil(100 * at['expanded'] - 1e-6) / 100:.2f}"
    return words + LIMITS[at["limited_by"]][0]


def _limited(loads: Sequence[Result]) -> Iterator[str]:
    met = {at["limited_by"] for at in loads if at["load"] is not None}
    letters = ", ".join(f"{LIMITS[name][0]} {LIMITS[name][1]}" for name in LIMITS if name in met)
    if letters:
        yield f"Normal cyclic loading, IEC 60076-7. Limited by: {letters}."
    yield from (f"None: {why}." for why in dict.fromkeys(at["why"] for at in loads if "why" in at))
