"""What `reduce` does: readings taken by hand, from their file to results, budget and figure."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any

from rich import box
from rich.table import Table
from rich.text import Text

from acquire.files import File, read_file, validated
from acquire.places import line_of, nearest
from acquire.refusal import Refusal
from acquire.results_table import number, results_table
from acquire.terminal import ABNORMAL, FINE, FOUND_WRONG, NORMAL, Terminal, print_json
from calculation.decision import Rule
from calculation.errors import ImpossibleReading
from calculation.hand.readings import HandReadings
from calculation.hand.reduction import hand_result, hand_verdict
from calculation.hand.results import HandResult, plain_of_hand
from calculation.limits import Verdict
from calculation.results import as_plain

UNSEEN_EXCHANGE = (
    "plain split without the gap's voltage: what the supplies exchange round the loop is unknown"
    " and in no uncertainty; give load.lv_voltage_v and load.lv_power_w for the balance method, or"
    " no_load.series_voltage_v"
)
SPLIT = (
    "plain split: the load loss is wrong by up to half the mismatch times rated power; give"
    " load.lv_voltage_v and load.lv_power_w for the balance method"
)
DRAWN = (
    "no_load_loss_w",
    "no_load_current_a",
    "load_loss_w",
    "load_loss_reference_w",
    "impedance_percent",
    "impedance_reference_percent",
    "equivalent_resistance_ohm",
    "equivalent_reactance_ohm",
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is wanted of the readings: a budget, a figure, draws, another decision rule."""

    as_json: bool = False
    budget: str | None = None
    figure: Path | None = None
    draws: int | None = None
    rule: Rule | None = None


def template() -> str:
    """Return a commented example of a file of readings."""
    return (resources.files("acquire") / "hand_template.toml").read_text(encoding="utf-8")


def reduce_file(path: Path, wanted: Wanted) -> int:
    """Reduce the readings in a file and print what is wanted; return the exit code.

    Raises ConfigurationError for what the file has wrong, Refusal for readings that can't be.
    """
    if wanted.budget is not None:
        _refuse_beside_a_budget(wanted)
    file = read_file(path, str(path))
    hand = _ruled(validated(file, HandReadings), wanted.rule, file)
    if hand.instruments == {} and (wanted.budget or wanted.draws):
        asked = "a budget" if wanted.budget else "drawing"
        raise file.error(("instruments",), f"limits of error: {asked} needs [instruments]")
    try:
        return _reduced(hand, wanted)
    except ImpossibleReading as impossible:
        raise Refusal(_where(file, impossible)) from impossible
    except (ArithmeticError, ValueError) as beyond:
        # Bounded inputs leave little: squares of what only a slip of the pen can be.
        raise Refusal(f"{file.shown}: a value in it is beyond all measure") from beyond


def plain_reduction(hand: HandReadings, draws: int | None = None) -> dict[str, Any]:
    """Return everything that readings come to, JSON-ready.

    Raises ImpossibleReading.
    """
    result = hand_result(hand)
    uncertainty = _uncertainty(hand)
    expanded = None if uncertainty is None else {n: u["expanded"] for n, u in uncertainty.items()}
    judged = hand_verdict(hand, result, expanded)
    plain = plain_of_hand(result) | {
        "uncertainty": uncertainty,
        **_judged(judged),
        "warnings": _warnings(result),
    }
    if draws:
        plain["monte_carlo"] = _drawn(hand, draws)
    _refuse_unless_finite("result", plain)
    return plain


def _reduced(hand: HandReadings, wanted: Wanted) -> int:
    if wanted.budget is not None:
        return _budget(hand, wanted.budget, wanted.as_json)
    plain = plain_reduction(hand, wanted.draws)
    if wanted.figure is not None:
        from acquire.figure import draw

        draw(hand, plain, wanted.figure)
    if wanted.as_json:
        print_json(plain)
    else:
        _show(hand, plain, wanted.figure)
    # As of a run: where a guarantee was given only a verdict of within is success.
    return FINE if hand.guarantee is None or plain["verdict"] == "within" else FOUND_WRONG


def _refuse_beside_a_budget(wanted: Wanted) -> None:
    beside = {"figure": wanted.figure, "monte-carlo": wanted.draws, "rule": wanted.rule}
    given = ", ".join(f"--{option}" for option, value in beside.items() if value is not None)
    if given:
        raise Refusal(f"--budget prints the budget of one quantity alone: expected no {given}")


def _ruled(hand: HandReadings, rule: Rule | None, file: File) -> HandReadings:
    if rule is None:
        return hand
    if hand.guarantee is None:
        raise file.error(("guarantee",), "a table: a decision rule judges by a guarantee")
    return replace(hand, guarantee=replace(hand.guarantee, rule=rule))


def _where(file: File, impossible: ImpossibleReading) -> str:
    """Return a refusal with the line of the first reading that it names."""
    for name in impossible.values:
        path = tuple(name.split("[")[0].split("."))
        line = line_of(file.text, path) if path[0] in file.tables else None
        if line is not None:
            return f"{file.shown}:{line}: {impossible}"
    return f"{file.shown}: {impossible}"


def _uncertainty(hand: HandReadings) -> dict[str, Any] | None:
    if not hand.instruments:
        return None
    # Here, since without instruments nothing needs NumPy.
    from calculation.hand.budget import hand_budgets
    from calculation.loss_budget import uncertainty_of

    return dict(uncertainty_of(hand_budgets(hand)))


def _judged(judged: Verdict | None) -> dict[str, Any]:
    if judged is None:
        return {"limits": [], "decision_rule": None, "verdict": None, "verdict_reason": ""}
    return {
        "limits": as_plain(judged.rows),
        "decision_rule": judged.rule,
        "verdict": judged.verdict,
        "verdict_reason": judged.reason,
    }


def _warnings(result: HandResult) -> list[str]:
    if result.method != "plain split":
        return []
    return [UNSEEN_EXCHANGE if result.ratio_mismatch_percent is None else SPLIT]


def _drawn(hand: HandReadings, draws: int) -> dict[str, Any]:
    from calculation.hand.budget import hand_model, hand_sources
    from calculation.loss_budget import Allowance
    from calculation.monte_carlo import monte_carlo

    model = hand_model(hand)
    known = model({})
    names = [name for name in DRAWN if name in known]
    spread = monte_carlo(hand_sources(hand, Allowance()), model, names, draws=draws)
    return {"draws": draws, "quantities": as_plain(spread)}


def _refuse_unless_finite(name: str, value: Any) -> None:
    if isinstance(value, Mapping):
        for key, part in value.items():
            _refuse_unless_finite(str(key), part)
    elif isinstance(value, (list, tuple)):
        for part in value:
            _refuse_unless_finite(name, part)
    elif isinstance(value, complex) or (isinstance(value, float) and not math.isfinite(value)):
        raise ImpossibleReading({}, f"{name} would be {value}: a value is beyond all measure")


def _budget(hand: HandReadings, quantity: str, as_json: bool) -> int:
    from calculation.hand.budget import hand_budgets

    budgets = hand_budgets(hand)
    budget = budgets.get(quantity)
    if budget is None:
        hint = nearest(quantity, budgets) or f"known are: {', '.join(budgets)}"
        raise Refusal(f"--budget {quantity}: no such quantity ({hint})")
    if as_json:
        print_json(as_plain(budget) | {"freedom": _finite(budget.freedom)})
        return FINE
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False)
    table.add_column("Source", overflow="fold")
    table.add_column("Value ± limit", justify="right", overflow="fold")
    table.add_column("Distribution", overflow="fold")
    table.add_column("Sensitivity", justify="right", overflow="fold")
    table.add_column("Share, %", justify="right")
    for row in budget.rows:
        limit, slope = f"{row.value:.6g} ± {row.limit:.3g}", f"{row.sensitivity:.4g}"
        table.add_row(row.source, limit, row.distribution, slope, f"{100 * row.share:.1f}")
    terminal = Terminal()
    terminal.print(table)
    words = f"{quantity} = {budget.value:.6g} ± {budget.expanded:.2g}, 95 %: standard uncertainty"
    words += f" {budget.standard:.2g}, factor {budget.factor:.2f} ({BASES[budget.basis]})"
    terminal.print(Text(words))
    return FINE


BASES = {
    "normal": "near normal",
    "student": "few degrees of freedom",
    "distribution": "from the distribution: a bounded part dominates",
}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _show(hand: HandReadings, plain: Mapping[str, Any], figure: Path | None) -> None:
    terminal = Terminal()
    terminal.print(results_table(plain))
    if "monte_carlo" in plain:
        terminal.print(_drawn_table(plain["monte_carlo"]))
    for words in plain["warnings"]:
        terminal.print(Text(f"Warning: {words}", ABNORMAL))
    if hand.guarantee is not None:
        verdict = plain["verdict"]
        words = f"Verdict by the {plain['decision_rule']} rule: "
        words += f"{verdict} limits" if verdict else f"none; {plain['verdict_reason']}"
        terminal.print(Text(words, NORMAL if verdict == "within" else ABNORMAL))
    if figure is not None:
        terminal.print(Text(f"Figure: {figure}"), soft_wrap=True)


def _drawn_table(drawn: Mapping[str, Any]) -> Table:
    table = Table(
        title=f"Monte Carlo, {drawn['draws']:,} draws, 95 % interval",
        title_style="bold",
        title_justify="left",
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
        show_edge=False,
    )
    table.add_column("Quantity", overflow="fold")
    for name in ("Mean", "Standard", "From", "To"):
        table.add_column(name, justify="right")
    for name, spread in drawn["quantities"].items():
        ends = (number(spread[key], 6) for key in ("lower", "upper"))
        table.add_row(name, number(spread["mean"], 6), number(spread["standard"], 3), *ends)
    return table
