"""What a test needs, as tables: supplies, meters, readings to expect, trips, energy."""

from collections.abc import Mapping
from typing import Any

from rich.table import Table
from rich.text import Text

from acquire.results_table import number
from acquire.tables import table_of
from acquire.terminal import ABNORMAL, NORMAL, Terminal, unit_shown

Plain = Mapping[str, Any]

READ = (
    ("U_LV V", "lv_voltage_v"),
    ("I_LV A", "lv_current_a"),
    ("W_LV W", "lv_power_w"),
    ("gap V", "series_voltage_v"),
    ("U_HV V", "hv_voltage_v"),
    ("I_HV A", "hv_current_a"),
    ("W_HV W", "hv_power_w"),
)

NAMES = tuple(name for name, _ in READ)


def show(name: str, plain: Plain) -> None:
    """Print everything that `plain_supplies` gave."""
    terminal = Terminal()
    mismatch = number(plain["worst_mismatch_percent"], 3)
    terminal.print(Text(f"{name}: both units at rated, ratio mismatch up to {mismatch} %", "bold"))
    for table in (_supplies(plain), _meters(plain), _stages(plain), _trips(plain)):
        terminal.print()
        terminal.print(table)
    terminal.print()
    for words, style in (*_voltmeter(plain), *_stand(plain), *_energy(plain)):
        terminal.print(Text(words, style))


def _supplies(plain: Plain) -> Table:
    table = table_of(
        "What the supplies must deliver", "Supply", "V", "A", "kVA", "kW at most", gap=(0, 0)
    )
    for name, words in (("lv", "LV supply"), ("loop", "auxiliary supply of the loop")):
        needs = plain["supplies"][name]
        kilo = (number(needs[key] / 1000, 4) for key in ("apparent_va", "power_w"))
        table.add_row(words, number(needs["voltage_v"]), number(needs["current_a"], 4), *kilo)
    return table


def _meters(plain: Plain) -> Table:
    table = table_of("Meters", "Channel", "reads up to", "before it", "stand has", gap=(0, 0))
    stand = plain["stand"]
    has = {} if stand is None else {m["channel"]: m for m in stand["meters"]}
    for meter in plain["meters"]:
        known = has.get(meter["channel"])
        transformer = meter["transformer"] or "none"
        table.add_row(
            meter["channel"],
            f"{number(meter['reads_up_to'], 4)} {meter['unit']}",
            transformer,
            "" if known is None else _ranges(known),
        )
    return table


def _ranges(known: Plain) -> str:
    ranges = ", ".join(f"{r:g}" for r in known["ranges"])
    return ranges if known["ratio"] == 1 else f"{ranges}, ratio {known['ratio']:g}"


def _stages(plain: Plain) -> Table:
    table = table_of(
        "Readings to expect; below them, to the worst mismatch", "Stage", *NAMES, gap=(0, 0)
    )
    before = ""
    for stage in plain["stages"]:
        name = str(stage["stage"]).replace("_", " ")
        if name != before:
            table.add_row(Text(name, "bold"))
        before = name
        table.add_row(f" {stage['at']}", *(_span(stage[key]) for _, key in READ))
    return table


def _span(value: Any) -> str:
    """Return what to expect, and its ends in the next line where they differ."""
    if isinstance(value, float):
        return number(value, 4)
    expected = _short(value["expected"])
    if abs(value["most"] - value["least"]) < 0.002 * max(abs(value["most"]), 1e-9):
        return expected
    return f"{expected}\n{_short(value['least'])}…{_short(value['most'])}"


def _short(value: float) -> str:
    return number(value, 3 if abs(value) < 1000 else 4)


def _trips(plain: Plain) -> Table:
    title = "Trips at no load, loaded, and in prove"
    table = table_of(title, "Trip", "at", "below", "above", "after", gap=(0, 0))
    for trip in plain["trips"]:
        ends = [
            "" if trip[k] is None else f"{number(trip[k], 4)} {unit_shown(trip['unit'])}"
            for k in ("below", "above")
        ]
        after = f"{trip['readings']} reading{'s' if trip['readings'] > 1 else ''}"
        after = f"{trip['delay_s']:g} s" if trip["delay_s"] else after
        words = str(trip["trip"]).replace("_", " ")
        table.add_row(words, trip["stage"].replace("_", " "), *ends, after)
    return table


def _voltmeter(plain: Plain) -> list[tuple[str, str]]:
    needs = plain["series_voltmeter"]
    words = f"Series voltmeter: range at least {number(needs['range_v'], 4)} V (an aiding pair"
    words += f" shows twice the HV voltage); r is judged at {number(needs['judged_at_v'], 3)} V, so"
    if needs["range_error_percent"] is None:
        words += " a second, lower range is needed."
    else:
        error = number(needs["range_error_percent"], 2)
        words += f" a single range may err by {error} % of range, else a second, lower range."
    return [(words, "")]


def _stand(plain: Plain) -> list[tuple[str, str]]:
    stand = plain["stand"]
    if stand is None:
        return []
    lines = []
    for name, words in (("lv", "LV regulator"), ("loop", "loop regulator")):
        known = stand["regulators"][name]
        needed, full = (number(known[key], 4) for key in ("needed_v", "full_voltage_v"))
        reaches = "enough" if known["reaches"] else "NOT ENOUGH"
        style = NORMAL if known["reaches"] else ABNORMAL
        lines.append(
            (f"{words}: {needed} V needed behind its source, has {full} V: {reaches}", style)
        )
    for breach in stand["breaches"]:
        words = f"Meter rule: {breach['channel']} has {breach['has']}, needs {breach['needs']}"
        lines.append((words, ABNORMAL))
    return lines


def _energy(plain: Plain) -> list[tuple[str, str]]:
    known = plain["energy"]
    back, full = (number(known[f"{k}_kwh"], 4) for k in ("back_to_back", "loaded_fully"))
    cost, dear = (f"{known[f'{k}_cost']:.2f}" for k in ("back_to_back", "loaded_fully"))
    hours, price = number(known["hours"]), number(known["price_per_kwh"])
    words = f"Energy of {hours} h at rated: {back} kWh, {cost} at {price} a kWh; loading each unit"
    words += f" fully would take {full} kWh, {dear}."
    return [(words, "")]
