"""A unit's overload as tables: its characteristics, its permissible loads, its cycle."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rich.table import Table
from rich.text import Text

from acquire.results_table import number
from acquire.tables import table_of
from acquire.terminal import ABNORMAL, NORMAL, QUIET, Terminal

Plain = Mapping[str, Any]

NAMES = {
    "loss_ratio": ("load loss over no-load loss, R", ""),
    "top_liquid_rise_k": ("top-liquid rise at rated", "K"),
    "hot_spot_gradient_k": ("hot spot over top liquid at rated", "K"),
    "x": ("exponent of liquid, x", ""),
    "y": ("exponent of winding, y (loading)", ""),
    "k11": ("k11", ""),
    "k21": ("k21", ""),
    "k22": ("k22", ""),
    "oil_time_constant_min": ("oil time constant", "min"),
    "winding_time_constant_min": ("winding time constant", "min"),
}
LIMITS = {
    "hot spot": ("h", "hot spot"),
    "top liquid": ("t", "top liquid"),
    "loss of life": ("a", "ageing"),
    "current": ("c", "current"),
}
REACHED = {
    "load": ("Load", ""),
    "top_liquid": ("Top liquid", " °C"),
    "hot_spot": ("Hot spot", " °C"),
}


def show(plain: Plain, figure: Path | None) -> None:
    """Print everything that `plain_overload` gave."""
    terminal = Terminal()
    words = f"{plain['name']}: {plain['kind']}, IEC 60076-7"
    terminal.print(Text(words, "bold"), soft_wrap=True)
    terminal.print()
    terminal.print(_characteristics(plain))
    if plain["permissible"] is not None:
        terminal.print()
        terminal.print(_permissible(plain))
        for words in _notes(plain):
            terminal.print(Text(words))
    if plain["cycle"] is not None:
        terminal.print()
        terminal.print(_cycle(plain["cycle"]))
        for words, style in _verdict(plain):
            terminal.print(Text(words, style))
    if figure is not None:
        terminal.print(Text(f"Figure: {figure}"), soft_wrap=True)


def _characteristics(plain: Plain) -> Table:
    table = table_of(
        "Thermal characteristics", "Characteristic", "Value", "± u", "Origin", gap=(1, 1)
    )
    for name, known in plain["characteristics"].items():
        words, unit = NAMES[name]
        standard = "" if known["standard"] is None else number(known["standard"], 2)
        style = QUIET if known["origin"] == "tabulated" else ""
        cells = (words, f"{number(known['value'], 4)} {unit}".rstrip(), standard, known["origin"])
        table.add_row(*cells, style=style)
    return table


def _permissible(plain: Plain) -> Table:
    loads = plain["permissible"]["loads"]
    hours = list(dict.fromkeys(at["hours"] for at in loads))
    preload = number(plain["permissible"]["preload"], 3)
    title = f"Permissible load, per unit of rated, after {preload} had lasted"
    table = table_of(title, "Ambient", *(f"{number(h, 3)} h" for h in hours), gap=(0, 0))
    for ambient_c in dict.fromkeys(at["ambient_c"] for at in loads):
        row = {at["hours"]: at for at in loads if at["ambient_c"] == ambient_c}
        table.add_row(f"{number(ambient_c, 3)} °C", *(_cell(row[h]) for h in hours))
    return table


def _cell(at: Plain) -> str:
    """Return a load rounded down, its U rounded up, and the letter of what limits it."""
    if at["load"] is None:
        return "none"
    # What the search left open is not below a round value.
    words = f"{math.floor(100 * at['load'] + 1e-6) / 100:.2f}"
    if at["expanded"]:
        words += f"±{math.ceil(100 * at['expanded'] - 1e-6) / 100:.2f}"
    return f" {words}{LIMITS[at['limited_by']][0]}"


def _notes(plain: Plain) -> list[str]:
    limits, permissible = plain["limits"], plain["permissible"]
    own = (
        f"hot spot {number(limits['hot_spot_c'], 4)} °C",
        f"top liquid {number(limits['top_liquid_c'], 4)} °C",
        f"current {number(limits['current'], 3)}",
    )
    words = [f"Limits ({limits['regime']}): {', '.join(own)}."]
    if permissible["loss_of_life_h"] is not None:
        most = number(permissible["loss_of_life_h"], 3)
        words[0] += f" Loss of life {most} h at most, {limits['paper']} paper."
    met = {at["limited_by"] for at in permissible["loads"] if at["load"] is not None}
    letters = ", ".join(f"{LIMITS[name][0]} {LIMITS[name][1]}" for name in LIMITS if name in met)
    if letters:
        words.append(f"Limited by: {letters}. Loads are rounded down.")
    if any(at.get("expanded") is not None for at in permissible["loads"]):
        words.append("± expanded for 95 %, factor 2; the characteristics' u taken as uncorrelated.")
    elif met:
        words.append("No uncertainty is stated for any characteristic: none for the loads.")
    reasons = dict.fromkeys(at["refused"] for at in permissible["loads"] if at["refused"])
    return words + [f"None: {reason}." for reason in reasons]


def _cycle(cycle: Plain) -> Table:
    title = f"Cycle of {number(cycle['hours'], 4)} h"
    title += ", repeated for ever" if cycle["repeats"] else ", from balance"
    table = table_of(title, "Quantity", "Greatest", "± U", "At", "Limit", "", gap=(1, 1))
    for name, (words, unit) in REACHED.items():
        at = cycle[name]
        unsure = "" if at["expanded"] is None else f"{number(at['expanded'], 2)}{unit and ' K'}"
        table.add_row(
            words,
            f"{at['most']:.2f}" if not unit else f"{at['most']:.1f}{unit}",
            unsure,
            f"{at['at_h']:.2f} h",
            f"{number(at['limit'], 4)}{unit}",
            Text("within", NORMAL) if at["within"] else Text("BEYOND", ABNORMAL),
        )
    return table


def _verdict(plain: Plain) -> list[tuple[str, str]]:
    cycle, paper = plain["cycle"], plain["limits"]["paper"]
    factor = f"Equivalent ageing factor: {number(cycle['equivalent_ageing_factor'], 4)}"
    if cycle["ageing_expanded_times"] is not None:
        factor += f", ×/÷ {number(cycle['ageing_expanded_times'], 3)} for 95 %"
    lost = f"Loss of life in the cycle: {number(cycle['loss_of_life_h'], 4)} h, {paper} paper."
    found = [(lost, ""), (f"{factor}.", "")]
    if cycle["beyond"]:
        names = ", ".join(REACHED[name][0].lower() for name in cycle["beyond"])
        found.append((f"The cycle goes beyond its limit of {names}.", ABNORMAL))
    near = [name for name in REACHED if cycle[name]["within"] and _near(cycle[name])]
    if near:
        names = ", ".join(REACHED[name][0].lower() for name in near)
        found.append((f"Within by less than its uncertainty: {names}.", ABNORMAL))
    return found


def _near(at: Plain) -> bool:
    return at["expanded"] is not None and bool(at["most"] + at["expanded"] > at["limit"])
