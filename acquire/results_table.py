"""Results as one table: each with its uncertainty, against its guarantee and its limit."""

import math
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from rich import box
from rich.table import Table
from rich.text import Text

Result = Mapping[str, Any]

QUANTITY = 28

METHODS = {
    "balance": "by balance",
    "plain split": "by plain split",
    "short circuit": "short-circuited",
}
RULES = {
    "simple": "a value on its limit is within; its uncertainty isn't counted",
    "guarded": "the value must be within with all its expanded uncertainty",
}


class Row(NamedTuple):
    """A line of the table; `name` is what uncertainty and limits call the quantity."""

    quantity: str
    value: float | None
    unit: str
    name: str = ""
    beside: bool = False
    scale: float = 1.0


def results_table(result: Result) -> Table:
    """Return the table of a result as `rehearse --json` and `reduce --json` give it.

    `result["limits"]` are the judged quantities, each with guarantee and limits,
    `result["uncertainty"]` the quantities of which it is known.
    """
    unsure = result.get("uncertainty") or {}
    whose = "transformer" if "transformer" in result else "pair's mean"
    table = Table(
        title=f"Results of the {whose}",
        title_style="bold",
        title_justify="left",
        caption=_caption(result, bool(unsure)),
        caption_justify="left",
        box=box.SIMPLE_HEAD,
        padding=(0, 0),
        pad_edge=False,
        show_edge=False,
    )
    table.add_column("Quantity", overflow="fold", min_width=QUANTITY)
    for name in ("Result", *(["± U (k)"] if unsure else []), "Guarantee", "Limit"):
        table.add_column(name, justify="right", overflow="fold")
    table.add_column("Verdict", overflow="fold")
    limits = {row["quantity"]: row for row in result.get("limits") or ()}
    for part in (_no_load, _load, _reference, _mismatch, _performance):
        for row in part(result):
            _add(table, row, limits, unsure)
        table.add_section()
    return table


def number(value: float, digits: int = 5) -> str:
    """Return a value with so many significant digits, never with an exponent."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    places = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _caption(result: Result, unsure: bool) -> str | None:
    lines = []
    if unsure:
        lines.append("U is expanded for 95 %; its factor k is 2.0 where none stands beside it.")
    rule = result.get("decision_rule")
    if rule:
        lines.append(f"Decision rule {rule}: {RULES[rule]}.")
    return "\n".join(lines) or None


def _add(
    table: Table, row: Row | str, limits: Mapping[str, Result], unsure: Mapping[str, Result]
) -> None:
    if isinstance(row, str):
        table.add_row(Text(row, "bold"))
        return
    if row.value is None:
        return
    style = "dim" if row.beside else ""
    value = f"{_measured(row.scale * row.value)} {row.unit}".rstrip()
    cells = [Text(f"{'  ' if row.beside else ''} {row.quantity}", style), Text(value, style)]
    if unsure:
        cells.append(Text(_unsure(unsure.get(row.name), row.scale), style))
    limit = limits.get(row.name)
    if limit is not None:
        within = bool(limit["within"])
        word = Text("within" if within else "OUTSIDE", "green" if within else "bold yellow")
        cells += [Text(number(limit["guarantee"])), Text(_limit(limit)), word]
    table.add_row(*cells)


def _unsure(known: Result | None, scale: float) -> str:
    """Return an expanded uncertainty with two digits, and its factor where it isn't 2."""
    if known is None:
        return ""
    expanded, factor = scale * known["expanded"], f"{known['factor']:.1f}"
    if expanded == 0:
        return "0"
    places = max(1 - math.floor(math.log10(abs(expanded))), 0)
    return f"{expanded:.{places}f}" + ("" if factor == "2.0" else f" ({factor})")


def _measured(value: float) -> str:
    """Return a value with four significant digits, its zeros kept."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    return f"{value:.{max(3 - math.floor(math.log10(abs(value))), 0)}f}"


def _limit(limit: Result) -> str:
    low, high = limit.get("lower_limit"), limit.get("upper_limit")
    if low is None:
        return "" if high is None else f"≤ {number(high)}"
    return f"≥ {number(low)}" if high is None else f"{number(low)}…{number(high)}"


def _mean(result: Result) -> Result:
    mean: Result = result["transformer"] if "transformer" in result else result["pair_mean"]
    return mean


def _no_load(result: Result) -> Iterator[Row | str]:
    mean, split = _mean(result), result.get("plain_split")
    yield "No load, rated voltage, LV"
    yield Row("P0 no-load loss", mean["no_load_loss_w"], "W", "no_load_loss_w")
    if split:
        yield Row("by the plain split", split["no_load_loss_w"], "W", beside=True)
    for quantity, unit, name in (
        ("I0 no-load current", "A", "no_load_current_a"),
        ("I0 of rated current", "%", "no_load_current_percent"),
        ("cos φ0", "", "no_load_power_factor"),
        ("I_w core-loss current", "A", "core_loss_current_a"),
        ("I_m magnetising current", "A", "magnetizing_current_a"),
        ("R0 core-loss resistance", "Ω", "core_loss_resistance_ohm"),
        ("X_m magnetising reactance", "Ω", "magnetizing_reactance_ohm"),
    ):
        yield Row(quantity, mean.get(name), unit, name)


def _load(result: Result) -> Iterator[Row | str]:
    mean, prove, split = _mean(result), result.get("prove"), result.get("plain_split")
    winding = mean["winding_temperature_c"]
    at = "" if winding is None else f", {number(winding, 3)} °C"
    cold = "" if prove is None else f"in prove, {number(prove['winding_temperature_c'], 3)} °C"
    method = METHODS[result.get("method", "balance")]
    yield f"Rated current, HV{at}"
    yield Row(f"P_k load loss {method}", mean["load_loss_w"], "W", "load_loss_w")
    if split:
        yield Row("by the plain split", split["load_loss_w"], "W", beside=True)
    if prove is not None:
        yield Row(cold, prove["load_loss_w"], "W", "prove_load_loss_w", beside=True)
    name = "equivalent_resistance_ohm"
    yield Row("R_e equivalent resistance", mean[name], "Ω", name)
    name = "equivalent_impedance_ohm"
    yield Row("Z_e equivalent impedance", mean[name], "Ω", name)
    if prove is not None:
        at_rated = "impedance_at_rated_voltage_ohm"
        yield Row("at rated voltage alone", mean.get(at_rated), "Ω", at_rated, beside=True)
        yield Row(cold, prove[name], "Ω", f"prove_{name}", beside=True)
    name = "equivalent_reactance_ohm"
    yield Row("X_e equivalent reactance", mean[name], "Ω", name)
    yield Row("u_k impedance", mean["impedance_percent"], "%", "impedance_percent")


def _reference(result: Result) -> Iterator[Row | str]:
    mean = _mean(result)
    loss = mean["load_loss_reference_w"]
    if loss is None:
        return
    yield f"At {number(mean['reference_temperature_c'], 3)} °C reference"
    yield Row("P_k load loss", loss, "W", "load_loss_reference_w")
    yield Row("P0 + P_k total loss", mean["no_load_loss_w"] + loss, "W", "total_loss_w")
    name = "impedance_reference_percent"
    yield Row("u_k impedance", mean[name], "%", name)


def _mismatch(result: Result) -> Iterator[Row | str]:
    split, mismatch = result.get("plain_split"), result["ratio_mismatch_percent"]
    if mismatch is None and not split:
        return
    yield "The twins against each other"
    yield Row("d ratio mismatch", mismatch, "%", "ratio_mismatch_percent")
    series = "series_ratio_percent"
    yield Row("r gap over 2·n·U_LV", result[series], "%", series)
    if split:
        yield Row("power exchanged in the loop", split.get("exchanged_power_w"), "W")
        yield Row("d it takes, at least", split.get("least_ratio_mismatch_percent"), "%")


def _performance(result: Result) -> Iterator[Row | str]:
    mean = _mean(result)
    for title, key, scale in (
        ("Efficiency", "efficiency", 100.0),
        ("Regulation", "regulation_percent", 1.0),
    ):
        if mean.get(key):
            yield title
        for at in mean.get(key, ()):
            if at["leading"] and at["power_factor"] == 1:
                continue  # the same as lagging
            lead = ", leading" if at["leading"] else ""
            name = f"{key}({at['load']:g}, {at['power_factor']:g}{lead})"
            yield Row(_at(at), at["value"], "%", name, scale=scale)
    best = mean.get("max_efficiency")
    if best:
        yield "Greatest"
        at_best = f"load {number(best['load'], 4)}, cos φ {number(best['power_factor'])}"
        yield Row(at_best, best["value"], "%", "max_efficiency", scale=100.0)
        name = "peak_efficiency_index_percent"
        yield Row("peak efficiency index", mean[name], "%", name)
        name = "all_day_efficiency"
        yield Row("efficiency all day", mean[name], "%", name, scale=100.0)


def _at(at: Result) -> str:
    sense = "" if at["power_factor"] == 1 else (" lead" if at["leading"] else " lag")
    return f"load {number(at['load'])}, cos φ {number(at['power_factor'])}{sense}"
