"""What `overload` does: a unit's permissible loads, and what a load cycle does to it."""

import math
from dataclasses import asdict, dataclass
from functools import partial
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, ClassVar

import numpy as np
from annotated_types import Ge, Gt, Le, MinLen

from acquire.files import File, read_file, validated
from acquire.overload_table import show
from acquire.places import line_of
from acquire.refusal import Refusal
from acquire.terminal import FINE, FOUND_WRONG, print_json
from calculation.ageing import Paper, equivalent_ageing_factor, loss_of_life
from calculation.errors import ImpossibleReading
from calculation.load_cycle import AmbientC, CyclePoint, Loading, LoadPu, Temperatures, loading_of
from calculation.loading_iec import (
    Characteristics,
    Limits,
    LoadingUnit,
    Regime,
    Size,
    difference_form,
    limits_of_loading,
)
from calculation.nameplate import STRICT
from calculation.permissible_overload import (
    FACTOR,
    Conditions,
    contributions,
    permissible_load,
)

Hours = Annotated[float, Ge(0.01), Le(1000)]
LimitC = Annotated[float, Gt(0), Le(300)]


@dataclass(frozen=True, slots=True)
class LimitsAsked:
    """Limits of a regime of loading, and the unit's own in their place."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    regime: Regime = "normal cyclic"
    size: Size | None = None
    paper: Paper = "normal"
    hot_spot_c: LimitC | None = None
    top_liquid_c: LimitC | None = None
    current: Annotated[float, Gt(0), Le(5)] | None = None


@dataclass(frozen=True, slots=True)
class PermissibleAsked:
    """For how long and at which ambients the greatest load is wanted."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    preload: LoadPu
    hours: Annotated[tuple[Hours, ...], MinLen(1)] = (0.5, 1.0, 2.0, 4.0, 8.0, 24.0)
    ambient_c: Annotated[tuple[AmbientC, ...], MinLen(1)] = (0.0, 10.0, 20.0, 30.0, 40.0)
    loss_of_life_h: Annotated[float, Gt(0)] | None = None


@dataclass(frozen=True, slots=True)
class CycleAsked:
    """A load cycle by its corners."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    points: Annotated[tuple[CyclePoint, ...], MinLen(1)]
    repeats: bool = True
    step_min: Annotated[float, Ge(0.05), Le(60)] = 1.0


@dataclass(frozen=True, slots=True)
class OverloadFile:
    """All of a file: `permissible` and `cycle` are told where they are there."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    unit: LoadingUnit
    limits: LimitsAsked
    name: str = "unit"
    permissible: PermissibleAsked | None = None
    cycle: CycleAsked | None = None


@dataclass(frozen=True, slots=True)
class Course:
    """A cycle as it was run: what was put in, and the temperatures that came of it."""

    cycle: CycleAsked
    loading: Loading
    temperatures: Temperatures


def template() -> str:
    """Return a commented example of a file."""
    return (resources.files("acquire") / "overload_template.toml").read_text(encoding="utf-8")


def overload_of(path: Path, figure: Path | None, as_json: bool) -> int:
    """Tell what a file asks; return the exit code.

    Raises ConfigurationError for what the file has wrong, Refusal for what can't be.
    """
    file = read_file(path, str(path))
    asked = validated(file, OverloadFile)
    limits = _limits(file, asked)
    if asked.permissible is None and asked.cycle is None:
        raise file.error((), "a table [permissible], or [cycle], or both")
    try:
        course = None if asked.cycle is None else _course(asked.unit, asked.cycle)
        plain = plain_overload(asked, limits, course)
    except ImpossibleReading as impossible:
        raise Refusal(_where(file, impossible)) from impossible
    except ArithmeticError as beyond:
        raise Refusal(f"{path}: a value in it is beyond all measure") from beyond
    if figure is not None:
        from acquire.figure import draw_overload

        draw_overload(plain, course, figure)
    if as_json:
        print_json(plain)
    else:
        show(plain, figure)
    return FINE if plain["cycle"] is None or not plain["cycle"]["beyond"] else FOUND_WRONG


def plain_overload(asked: OverloadFile, limits: Limits, course: Course | None) -> dict[str, Any]:
    """Return everything that a file asks, JSON-ready.

    Raises ImpossibleReading.
    """
    return {
        "name": asked.name,
        "kind": asked.unit.kind,
        "characteristics": _characteristics(asked.unit),
        "limits": asdict(limits) | {"paper": asked.limits.paper, "regime": asked.limits.regime},
        "permissible": _permissible(asked, limits),
        "cycle": None if course is None else _cycle(asked, limits, course),
    }


def _limits(file: File, asked: OverloadFile) -> Limits:
    """Return the regime's limits, and before them the file's own."""
    own = asked.limits
    size: Size | None = own.size
    if size is None and asked.unit.kind.startswith("distribution"):
        size = "distribution"
    if size is None and own.current is None:
        expected = "'medium power', or 'large power' above 100 MVA, since currents depend on it"
        raise file.error(("limits", "size"), expected)
    known = limits_of_loading(own.regime, size or "large power")
    return Limits(
        known.hot_spot_c if own.hot_spot_c is None else own.hot_spot_c,
        known.top_liquid_c if own.top_liquid_c is None else own.top_liquid_c,
        known.current if own.current is None else own.current,
    )


def _characteristics(unit: LoadingUnit) -> dict[str, dict[str, Any]]:
    given, standard = unit.given(), unit.standard.given()
    return {
        name: {
            "value": value,
            "standard": standard.get(name),
            "origin": "given" if name in given else "tabulated",
        }
        for name, value in asdict(unit.characteristics()).items()
    }


def _permissible(asked: OverloadFile, limits: Limits) -> dict[str, Any] | None:
    wanted = asked.permissible
    if wanted is None:
        return None
    conditions = Conditions(wanted.preload, limits, asked.limits.paper, wanted.loss_of_life_h)
    loads = [
        _load(asked.unit, conditions, hours, ambient_c)
        for ambient_c in wanted.ambient_c
        for hours in wanted.hours
    ]
    return {"preload": wanted.preload, "loss_of_life_h": wanted.loss_of_life_h, "loads": loads}


def _load(
    unit: LoadingUnit, conditions: Conditions, hours: float, ambient_c: float
) -> dict[str, Any]:
    """Return one load; where there is none, why."""
    at = {"hours": hours, "ambient_c": ambient_c}
    try:
        found = permissible_load(unit, conditions, hours, ambient_c)
    except ImpossibleReading as none:
        return at | {"load": None, "refused": none.why}
    return asdict(found) | {"expanded": found.expanded, "factor": FACTOR, "refused": ""}


def _course(unit: LoadingUnit, cycle: CycleAsked) -> Course:
    loading = loading_of(cycle.points, cycle.step_min)
    temperatures = difference_form(unit.characteristics(), loading, cycle.repeats)
    return Course(cycle, loading, temperatures)


def _cycle(asked: OverloadFile, limits: Limits, course: Course) -> dict[str, Any]:
    """Return the greatest of a cycle, when, what it costs, and which limits it passes."""
    loading, repeats, paper = course.loading, course.cycle.repeats, asked.limits.paper
    hours, temperatures = loading.time_min / 60, course.temperatures
    heaviest = max(course.cycle.points, key=lambda point: point.load)
    found: dict[str, Any] = {
        "hours": float(hours[-1] - hours[0]),
        "repeats": repeats,
        "load": _reached(heaviest.load, heaviest.hours, limits.current, None),
    }
    for name, values, limit in (
        ("top_liquid", temperatures.top_liquid_c, limits.top_liquid_c),
        ("hot_spot", temperatures.hot_spot_c, limits.hot_spot_c),
    ):
        at = int(values.argmax())
        expanded = _expanded(asked.unit, partial(_most, loading, repeats, f"{name}_c"))
        found[name] = _reached(float(values[at]), float(hours[at]), limit, expanded)
    hot_spot_c = course.temperatures.hot_spot_c
    with np.errstate(over="raise"):  # an ArithmeticError: beyond all measure
        lost = loss_of_life(hours, hot_spot_c, paper)
        times = _expanded(asked.unit, partial(_logarithm_of_life, loading, repeats, paper))
    return found | {
        "loss_of_life_h": lost,
        "equivalent_ageing_factor": equivalent_ageing_factor(hours, hot_spot_c, paper),
        "ageing_expanded_times": None if times is None else math.exp(times),
        "factor": FACTOR,
        "beyond": [n for n in ("load", "top_liquid", "hot_spot") if not found[n]["within"]],
    }


def _reached(most: float, at_h: float, limit: float, expanded: float | None) -> dict[str, Any]:
    """Return a greatest value; within is judged by the value itself."""
    within = most <= limit
    return {"most": most, "at_h": at_h, "limit": limit, "expanded": expanded, "within": within}


def _most(loading: Loading, repeats: bool, field: str, characteristics: Characteristics) -> float:
    return float(np.max(getattr(difference_form(characteristics, loading, repeats), field)))


def _logarithm_of_life(
    loading: Loading, repeats: bool, paper: Paper, characteristics: Characteristics
) -> float:
    """Return what is near normal of an ageing that is far from it."""
    found = difference_form(characteristics, loading, repeats)
    return math.log(loss_of_life(found.time_min, found.hot_spot_c, paper))


def _expanded(unit: LoadingUnit, result: partial[float]) -> float | None:
    parts = contributions(unit, result).values()
    return FACTOR * math.hypot(*parts) if parts else None


def _where(file: File, impossible: ImpossibleReading) -> str:
    """Return a refusal with the line of the first value that it names, where the file has it."""
    for name in impossible.values:
        for table in ("unit", "cycle", "permissible", "limits"):
            if name in file.tables.get(table, ()):
                return f"{file.shown}:{line_of(file.text, (table, name))}: {impossible}"
    return f"{file.shown}: {impossible}"
