"""A heat run's own events in trade terms: how warm, how steady, how long to go, and its marks."""

from collections.abc import Mapping
from typing import Any

from acquire.terminal import ABNORMAL, NORMAL, PLAIN

Facts = Mapping[str, Any]
Lines = list[tuple[str, str, str]]

S = 1_000_000_000
HOUR_S = 3600.0
UNITS = ("a", "b")

# What an instant of the run is called where it needs no number.
MARKS = {
    "losses": "losses and impedance are read; loop current returns",
    "soak": "soak begins: rated voltage and current until steady",
    "warmed_up": "shortened warm-up ends: rated current from here",
    "overloaded": "overload step ends: rated current again",
    "shutdown": "current begins to fall",
}


def shown(t: int, facts: Facts) -> Lines:
    """Return the lines of a `shows` event of stand time `t` (ns): a mark, or how the soak stands.

    What is neither gives no line.
    """
    if "mark" in facts:
        return _mark(facts)
    if not any(unit in facts for unit in UNITS):
        return []
    return [("soak", PLAIN, _soak(facts)), *_forecast(t, facts.get("forecast") or {})]


def hours(seconds: float) -> str:
    """Return a duration, or an instant of stand time, as h:mm."""
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _mark(facts: Facts) -> Lines:
    name = str(facts["mark"])
    if name in MARKS:
        return [("mark", PLAIN, MARKS[name])]
    if name == "soaked":
        return [_soaked(facts)]
    if name == "overload":
        return [("mark", PLAIN, f"overload step begins: {facts['current']:g} of rated current")]
    before = {"cold": "before the run", "hot": "after the shutdown"}
    when, _, end = name.partition("_")
    if when not in before:
        return [("mark", PLAIN, name.replace("_", " "))]
    position = facts.get("position")
    where = f"at position {position}" if position else "by hand"
    return [("d.c.", PLAIN, f"{'read' if end else 'applied'} {where}: resistances {before[when]}")]


def _soaked(facts: Facts) -> tuple[str, str, str]:
    instants = [facts.get(unit, {}).get("steady_at_s") for unit in UNITS]
    if None in instants:
        return ("mark", ABNORMAL, f"soak ends, not steady: {_soak(facts)}")
    rule = f" by {facts['rule']}" if facts.get("rule") else ""
    return ("steady", NORMAL, f"both units{rule} since {hours(max(instants))}; {_soak(facts)}")


def _soak(facts: Facts) -> str:
    """Return rise and rate of both units, and for how long both have kept the rule's rate."""
    units = {unit: facts[unit] for unit in UNITS if unit in facts}
    rates = {unit: at.get("rate_k_per_h") for unit, at in units.items()}
    rises = {unit: at.get("rise_k") for unit, at in units.items()}
    if all(value is None for value in (*rates.values(), *rises.values())):
        return "no rise and no rate yet: they are taken over an hour"
    words = f"rises {_both(rises, '{:.1f}')} K; {_both(rates, '{:+.2f}', named=False)} K/h"
    held_s = min(at.get("held_s") or 0.0 for at in units.values())
    if held_s <= 0:
        return words
    wanted = [at["hold_s"] for at in units.values() if at.get("hold_s")]
    whole = f" of {max(wanted) / HOUR_S:g}" if wanted else ""
    return f"{words}; held {hours(held_s)}{whole} h"


def _both(values: Mapping[str, float | None], form: str, *, named: bool = True) -> str:
    return ", ".join(
        (f"{unit.upper()} " if named else "") + ("–" if value is None else form.format(value))
        for unit, value in values.items()
    )


def _forecast(t: int, units: Facts) -> Lines:
    if not units:
        return []
    ends = [f"{u.upper()} {at['ultimate_k']:.1f} ± {at['expanded']:.1f}" for u, at in units.items()]
    words = f"ultimate {', '.join(ends)} K"
    instants = [at.get("steady_at_s") for at in units.values()]
    if len(units) == len(UNITS) and None not in instants:
        to_go_s = max(instants) - t / S
        words += f"; steady in {hours(max(to_go_s, 0.0))} h"
    return [("forecast", PLAIN, words)]
