"""A heat run's results as tables: what was steady, cooling curves, what follows, and the rises."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from acquire.heat_lines import hours
from acquire.overload_table import LIMITS
from acquire.results_table import number
from acquire.terminal import ABNORMAL, NORMAL

Result = Mapping[str, Any]

UNITS = ("a", "b")
WINDINGS = ("a_lv", "a_hv", "b_lv", "b_hv")
# Key of `rises`, words, what its limit is called in `limits`.
RISES = (
    ("top_liquid_k", "top liquid", "top_liquid_k"),
    ("average_liquid_k", "average liquid", ""),
    ("winding_lv_k", "LV winding, average", "average_k({unit}_lv)"),
    ("winding_hv_k", "HV winding, average", "average_k({unit}_hv)"),
    ("hot_spot_k", "hot spot, the warmer", "hot_spot_k("),
)
GRADIENTS = (("winding_lv_k", "LV winding"), ("winding_hv_k", "HV winding"))
SOAKED = (
    ("last_hour_k", "mean of the last hour"),
    ("ultimate_k", "ultimate, by forecast"),
    ("remaining_k", "left unreached by the rule"),
)
# Key of `fitted`, words, unit, what one of it is of the value.
FITTED = (
    ("ultimate_top_liquid_k", "top-liquid rise at rated loss", "K", 1.0),
    ("top_liquid_time_constant_s", "time constant of top liquid", "min", 60.0),
    ("tau_o_s", "oil time constant, that by k11", "min", 60.0),
    ("loss_exponent", "exponent of liquid, x", "", 1.0),
    ("loss_ratio", "load loss over no-load loss, R", "", 1.0),
)
LOSSES = {
    "no_load_loss_w": "P0 no-load loss",
    "load_loss_reference_w": "P_k load loss",
    "total_loss_w": "P0 + P_k total loss",
    "impedance_reference_percent": "u_k impedance",
    "no_load_current_percent": "I0 no-load current",
}
K_WORDS = "U is expanded for 95 %; its factor k is 2.0 where none stands beside it."


def heat_tables(result: Result) -> Iterator[RenderableType]:
    """Yield what a heat run adds to its loss test's table, the judged rises last.

    Nothing for a result that has no rises.
    """
    if "rises" not in result:
        return
    parts = (_soak, _cooling, _losses, _fitted, _overload, _rises)
    yield from (found for part in parts if (found := part(result)) is not None)


def judged_outside(result: Result) -> list[str]:
    """Return what a heat run's result has outside its limits, in words."""
    if "rises" not in result:
        return []
    outside = [row["quantity"] for row in result.get("limits") or () if row["within"] is False]
    return [_judged_words(quantity) for quantity in outside]


def stated(value: float, known: Result | None, one: float = 1.0) -> str:
    """Return a value with its expanded uncertainty, both to two digits of that, and its factor.

    `one` is what the unit shown is of the value's own.
    """
    value = value / one
    if known is None or not known["expanded"]:
        return number(value, 4)
    expanded, factor = known["expanded"] / one, f"{known['factor']:.1f}"
    # Of what rounds up to 0.10, as many places as of 0.10.
    places = max(1 - math.floor(math.log10(float(f"{expanded:.1e}"))), 0)
    k = "" if factor == "2.0" else f" ({factor})"
    return f"{value:.{places}f} ± {expanded:.{places}f}{k}"


def _judged_words(quantity: str) -> str:
    unit, _, name = quantity.partition(".")
    if unit not in UNITS:
        return LOSSES.get(quantity, quantity.replace("_", " "))
    winding = f" of the {name[-3:-1].upper()} winding" if name.endswith(")") else ""
    kind = {"top": "top-liquid", "average": "average", "hot": "hot-spot"}[name.split("_")[0]]
    return f"{kind} rise{winding}, unit {unit.upper()}"


def _table(title: str, first: str, *rest: str, caption: str = "", flush: str = "right") -> Table:
    table = Table(
        title=title,
        title_style="bold",
        title_justify="left",
        caption=caption or None,
        caption_justify="left",
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
        show_edge=False,
    )
    table.add_column(first, overflow="fold")
    for name in rest:
        justify: Any = flush
        table.add_column(name, justify=justify, overflow="fold")
    return table


def _of_both(units: Mapping[str, Result | None], key: str, one: float = 1.0) -> list[str] | None:
    """Return the cells of units A and B for a quantity; None where neither has it."""
    cells = []
    for unit in UNITS:
        at = units.get(unit) or {}
        value = at.get(key)
        cells.append(
            "–" if value is None else stated(value, (at.get("uncertainty") or {}).get(key), one)
        )
    return None if cells == ["–", "–"] else cells


def _rises(result: Result) -> RenderableType:
    title = "Rises over cooling air, at rated loss and current, K"
    table = _table(title, "", "Unit A ± U (k)", "Unit B ± U (k)", "Limit")
    table.add_column("Verdict", overflow="fold")
    for key, words, judged in RISES:
        cells = _of_both(result["rises"], key)
        if cells is not None:
            table.add_row(f" {words}", *cells, *_verdict(result, judged))
    gradients = [(words, _of_both(result["gradients"], key)) for key, words in GRADIENTS]
    if any(cells for _, cells in gradients):
        table.add_section()
        table.add_row(Text("Gradients to liquid", "bold"))
    for words, cells in gradients:
        if cells is not None:
            table.add_row(f" {words}", *cells)
    return Group(table, Text(K_WORDS))


def _verdict(result: Result, judged: str) -> tuple[str, Text]:
    """Return limit and verdict of a rise of both units."""
    if not judged:
        return "", Text("")
    of: dict[str, list[Result]] = {}
    for row in result.get("limits") or ():
        unit, _, name = str(row["quantity"]).partition(".")
        if unit in UNITS and name.startswith(judged.format(unit=unit)):
            of.setdefault(unit, []).append(row)
    if not of:
        return "", Text("")
    limit = min(row["upper_limit"] for rows in of.values() for row in rows)
    said = []
    for unit, rows in of.items():
        within = [row["within"] for row in rows]
        if False in within:
            said.append(f"{unit.upper()} OUTSIDE")
        elif None in within:
            said.append(f"{unit.upper()} not said")
    return f"≤ {number(limit)}", Text(", ".join(said) or "within", ABNORMAL if said else NORMAL)


def _soak(result: Result) -> RenderableType:
    steady = result["steady"]
    rate = steady["rate_k_per_h"]
    changed = "" if rate is None else f", the faster unit still at {rate:+.2f} K/h"
    if steady["at_s"] is None:
        words = Text(f"NOT STEADY by {steady['rule']} within the time limit{changed}.", ABNORMAL)
    else:
        words = Text(f"Steady by {steady['rule']} at {hours(steady['at_s'])} h{changed}.")
    end_s = steady["hour_ends_s"]
    moved = Text(f"The hour that counts: {hours(end_s - 3600.0)} to {hours(end_s)} h.")
    moved.append(f" Regulators were moved {steady['regulator_movements']} times.")
    table = _table("Steadiness", "Rise over cooling air, as run, K", "Unit A", "Unit B")
    for key, name in SOAKED:
        cells = _of_both(steady.get("units") or {}, key)
        if cells is not None:
            table.add_row(f" {name}", *cells)
    if not table.row_count:
        return Group(Text("Steadiness", "bold"), words, moved, Text("No forecast could be made."))
    return Group(table, words, moved)


def _cooling(result: Result) -> RenderableType | None:
    curves = result["cooling"]
    if not curves:
        return None
    heads = ("R_0 ± U", "θ_0 ± U, °C", "T_w", "First settled", "Used")
    table = _table("Cooling curves, back to the shutdown", "", *heads)
    notes = []
    for winding in sorted(curves, key=_in_order):
        at, name = curves[winding], winding.replace("_", " ").upper()
        if "impossible" in at:
            notes.append(f"{name}: no curve: {at['impossible']}.")
            continue
        unsure, ohm = at["uncertainty"], at["resistance_0_ohm"]
        one, unit = (1e-3, "mΩ") if ohm < 0.1 else (1.0, "Ω")
        table.add_row(
            name,
            f"{stated(ohm, unsure['resistance_0_ohm'], one)} {unit}",
            stated(at["winding_0_c"], unsure["winding_0_c"]),
            f"{at['time_constant_s'] / 60:.1f} min",
            f"{at['first_settled_s']:.0f} s",
            f"{at['readings']} of {at['readings'] + at['left_out']}",
        )
        if at["weak"]:
            notes.append(
                f"{name}: weakly determined: the first settled reading came later than T_w;"
                " no verdict near a limit rests on it."
            )
    shown: list[RenderableType] = [table] if table.row_count else [Text(str(table.title), "bold")]
    return Group(*shown, *(Text(words, ABNORMAL) for words in notes))


def _in_order(winding: str) -> int:
    return WINDINGS.index(winding) if winding in WINDINGS else len(WINDINGS)


def _losses(result: Result) -> RenderableType:
    at = result["heat_losses"]
    loss = (result.get("uncertainty") or {}).get("total_loss_w")
    words = f"{at['total_loss_run_w']:.0f} W at {at['current_run_a']:.2f} A in the steady hour"
    if at["winding_run_c"] is not None:
        words += f" (windings {at['winding_run_c']:.1f} °C at its end)"
    reference = stated(at["total_loss_reference_w"], loss)
    return Group(
        Text("Total loss of a unit, mean of the pair", "bold"),
        Text(f"{words};"),
        Text(f"{reference} W at rated, {number(at['reference_temperature_c'], 3)} °C reference."),
    )


def _fitted(result: Result) -> RenderableType | None:
    units: dict[str, Result | None] = result["fitted"]
    table = _table("Thermal parameters, fitted from this run", "", "Unit A", "Unit B")
    known = [at for at in units.values() if at is not None]
    for key, words, unit, one in FITTED:
        cells = _of_both(units, key, one)
        if cells is None or (key == "tau_o_s" and all(at["k11"] == 1.0 for at in known)):
            continue
        assumed = key == "loss_exponent" and any(at["exponent_assumed"] for at in known)
        of = ", assumed" if assumed else f", {unit}" if unit else ""
        table.add_row(f" {words}{of}", *cells)
    return table if table.row_count else None


def _overload(result: Result) -> RenderableType | None:
    """Return permissible loads of both units, one row a unit and ambient."""
    units = {unit: at["permissible"] for unit, at in result["overload"].items() if at is not None}
    if not units:
        return None
    every = [at for loads in units.values() for at in loads]
    durations = list(dict.fromkeys(at["hours"] for at in every))
    heads = ["Unit", *(f"{number(h, 3)} h" for h in durations)]
    table = _table(
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
