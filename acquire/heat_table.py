"""A heat run's results as tables: steadiness, cooling curves, loading, twins, last the rises."""

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.text import Text

from acquire.heat_cells import UNITS, Result, of_both, stated
from acquire.heat_lines import hours
from acquire.heat_loading_table import fitted, overload_step, permissible
from acquire.results_table import number
from acquire.tables import table_of
from acquire.terminal import ABNORMAL, NORMAL

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
    parts = (_soak, _cooling, _losses, fitted, overload_step, permissible, _twins, _rises)
    yield from (found for part in parts if (found := part(result)) is not None)


def judged_outside(result: Result) -> list[str]:
    """Return what a heat run's result has outside its limits, in words."""
    if "rises" not in result:
        return []
    outside = [row["quantity"] for row in result.get("limits") or () if row["within"] is False]
    return [_judged_words(quantity) for quantity in outside]


def _judged_words(quantity: str) -> str:
    unit, _, name = quantity.partition(".")
    if unit not in UNITS:
        return LOSSES.get(quantity, quantity.replace("_", " "))
    winding = f" of the {name[-3:-1].upper()} winding" if name.endswith(")") else ""
    kind = {"top": "top-liquid", "average": "average", "hot": "hot-spot"}[name.split("_")[0]]
    return f"{kind} rise{winding}, unit {unit.upper()}"


def _twins(result: Result) -> RenderableType | None:
    """Return by how much the units differ, and what their unequal LV currents make of it."""
    twins = result.get("twins")
    if not twins or not twins["rows"]:
        return None
    table = table_of("Twins compared, unit A less unit B, K", "", "A - B", "By chance up to")
    table.add_column("Finding", overflow="fold")
    for row in twins["rows"]:
        warmer = row["warmer"]
        found = "alike" if warmer is None else f"unit {warmer.upper()} is warmer"
        table.add_row(
            f" {_difference_words(row['quantity'])}",
            f"{row['difference_k']:+.1f}",
            f"±{row['limit_k']:.1f}",
            Text(found, NORMAL if warmer is None else ABNORMAL),
        )
    currents, effect = twins["lv_currents_a"], twins["current_effect_k"]
    if currents is None:
        words = "Own LV currents are not known here: their doubt is in every rise."
    else:
        words = f"Own LV currents at rated: A {currents['a']:.1f}, B {currents['b']:.1f} A"
        words += "." if effect is None else f"; that makes {effect:+.1f} K of LV rise, taken out."
    return Group(table, Text(words))


def _difference_words(quantity: str) -> str:
    name, _, winding = quantity.partition("(")
    words = {"average_k": "winding", "gradient_k": "gradient"}.get(
        name, name.removesuffix("_k").replace("_", " ")
    )
    return f"{winding.rstrip(')').upper()} {words}" if winding else words


def _rises(result: Result) -> RenderableType:
    title = "Rises over cooling air, at rated loss and current, K"
    table = table_of(title, "", "Unit A ± U (k)", "Unit B ± U (k)", "Limit")
    table.add_column("Verdict", overflow="fold")
    for key, words, judged in RISES:
        cells = of_both(result["rises"], key)
        if cells is not None:
            table.add_row(f" {words}", *cells, *_verdict(result, judged))
    gradients = [(words, of_both(result["gradients"], key)) for key, words in GRADIENTS]
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
    table = table_of("Steadiness", "Rise over cooling air, as run, K", "Unit A", "Unit B")
    for key, name in SOAKED:
        cells = of_both(steady.get("units") or {}, key)
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
    table = table_of("Cooling curves, back to the shutdown", "", *heads)
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
    end = f"{at['current_run_a']:.2f} A"
    if at["winding_run_c"] is not None:
        end += f" and windings at {at['winding_run_c']:.1f} °C"
    words = f"{at['total_loss_run_w']:.0f} W in the steady hour ({end} at the shutdown)"
    reference = stated(at["total_loss_reference_w"], loss)
    return Group(
        Text("Total loss of a unit, mean of the pair", "bold"),
        Text(f"{words};"),
        Text(f"{reference} W at rated, {number(at['reference_temperature_c'], 3)} °C reference."),
    )
