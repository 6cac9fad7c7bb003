"""The results of a loss test as one table: each against its guarantee and its limit."""

import math
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from rich import box
from rich.table import Table
from rich.text import Text

Result = Mapping[str, Any]


class Row(NamedTuple):
    """A line of the table; `judged` names the row of limits that belongs to it."""

    quantity: str
    value: float
    unit: str
    judged: str = ""
    beside: bool = False


def results_table(result: Result) -> Table:
    """Return the table of a result as `rehearse --json` gives it, limits beside where it has any.

    `result["limits"]` are the judged quantities, each with guarantee and limits.
    """
    table = Table(
        title="Results of the pair's mean",
        title_style="bold",
        title_justify="left",
        box=box.SIMPLE_HEAD,
        padding=(0, 1),
        pad_edge=False,
    )
    table.add_column("Quantity", overflow="fold")
    for name in ("Result", "Guarantee", "Limit"):
        table.add_column(name, justify="right", overflow="fold")
    table.add_column("Verdict", overflow="fold")
    limits = {row["quantity"]: row for row in result.get("limits", ())}
    for part in (_no_load, _load, _reference, _mismatch, _performance):
        for row in part(result):
            _add(table, row, limits)
        table.add_section()
    return table


def number(value: float, digits: int = 5) -> str:
    """Return a value with so many significant digits, never with an exponent."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    places = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _add(table: Table, row: Row | str, limits: Mapping[str, Result]) -> None:
    if isinstance(row, str):
        table.add_row(Text(row, "bold"))
        return
    style = "dim" if row.beside else ""
    quantity = Text(f"   {row.quantity}" if row.beside else f" {row.quantity}", style)
    value = Text(f"{_measured(row.value)} {row.unit}", style)
    limit = limits.get(row.judged)
    if limit is None:
        table.add_row(quantity, value)
        return
    within = bool(limit["within"])
    word = Text("within" if within else "OUTSIDE", "green" if within else "bold yellow")
    guarantee = f"{number(limit['guarantee'])} {row.unit}"
    table.add_row(quantity, value, guarantee, f"{_limit(limit)} {row.unit}", word)


def _measured(value: float) -> str:
    """Return a value with four significant digits, its zeros kept."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    return f"{value:.{max(3 - math.floor(math.log10(abs(value))), 0)}f}"


def _limit(limit: Result) -> str:
    low, high = limit.get("lower_limit"), limit.get("upper_limit")
    if low is None:
        return "" if high is None else f"≤ {number(high)}"
    return f"≥ {number(low)}" if high is None else f"{number(low)} … {number(high)}"


def _no_load(result: Result) -> Iterator[Row | str]:
    mean = result["pair_mean"]
    yield "No load, rated voltage, LV"
    yield Row("P0 no-load loss", mean["no_load_loss_w"], "W", "no_load_loss_w")
    yield Row("by the plain split", result["plain_split"]["no_load_loss_w"], "W", beside=True)
    yield Row("I0 no-load current", mean["no_load_current_a"], "A")
    if "no_load_current_percent" in mean:
        share = mean["no_load_current_percent"]
        yield Row("I0 of rated current", share, "%", "no_load_current_percent")
    yield Row("cos φ0", mean["no_load_power_factor"], "")
    yield Row("I_w core-loss current", mean["core_loss_current_a"], "A")
    yield Row("I_m magnetising current", mean["magnetizing_current_a"], "A")
    yield Row("R0 core-loss resistance", mean["core_loss_resistance_ohm"], "Ω")
    yield Row("X_m magnetising reactance", mean["magnetizing_reactance_ohm"], "Ω")


def _load(result: Result) -> Iterator[Row | str]:
    mean, prove = result["pair_mean"], result.get("prove")
    at = f"{number(mean['winding_temperature_c'], 3)} °C"
    cold = ""
    if prove is not None:
        cold = f"in prove, {number(prove['winding_temperature_c'], 3)} °C"
    yield f"Load, rated current, HV, {at}"
    yield Row("P_k load loss, balance method", mean["load_loss_w"], "W")
    yield Row("by the plain split", result["plain_split"]["load_loss_w"], "W", beside=True)
    if prove is not None:
        yield Row(cold, prove["load_loss_w"], "W", beside=True)
    yield Row("R_e equivalent resistance", mean["equivalent_resistance_ohm"], "Ω")
    yield Row("Z_e equivalent impedance", mean["equivalent_impedance_ohm"], "Ω")
    if "impedance_at_rated_voltage_ohm" in mean:
        at_rated = mean["impedance_at_rated_voltage_ohm"]
        yield Row("at rated voltage alone", at_rated, "Ω", beside=True)
    if prove is not None:
        yield Row(cold, prove["equivalent_impedance_ohm"], "Ω", beside=True)
    yield Row("X_e equivalent reactance", mean["equivalent_reactance_ohm"], "Ω")
    yield Row("u_k impedance", mean["impedance_percent"], "%")


def _reference(result: Result) -> Iterator[Row | str]:
    mean = result["pair_mean"]
    total = mean["no_load_loss_w"] + mean["load_loss_reference_w"]
    yield f"At {number(mean['reference_temperature_c'], 3)} °C reference"
    yield Row("P_k load loss", mean["load_loss_reference_w"], "W", "load_loss_reference_w")
    yield Row("P0 + P_k total loss", total, "W", "total_loss_w")
    u_k = mean["impedance_reference_percent"]
    yield Row("u_k impedance", u_k, "%", "impedance_reference_percent")


def _mismatch(result: Result) -> Iterator[Row | str]:
    yield "The twins against each other"
    yield Row("d ratio mismatch", result["ratio_mismatch_percent"], "%")
    yield Row("r gap voltage over 2·n·U_LV", result["series_ratio_percent"], "%")
    split = result["plain_split"]
    if "exchanged_power_w" in split:
        yield Row("power exchanged in the loop", split["exchanged_power_w"], "W")
        yield Row("d that explains it, at least", split["least_ratio_mismatch_percent"], "%")


def _performance(result: Result) -> Iterator[Row | str]:
    mean = result["pair_mean"]
    for title, key, scale in (
        ("Efficiency", "efficiency", 100.0),
        ("Regulation", "regulation_percent", 1.0),
    ):
        if mean.get(key):
            yield title
        for at in mean.get(key, ()):
            yield Row(_at(at), scale * at["value"], "%")


def _at(at: Result) -> str:
    sense = "" if at["power_factor"] == 1 else (" leading" if at["leading"] else " lagging")
    return f"load {number(at['load'])}, cos φ {number(at['power_factor'])}{sense}"
