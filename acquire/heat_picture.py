"""What a heat run's figure shows, gathered from its archive as plain columns."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite, nan

import numpy as np

from acquire.archive import Archive
from acquire.heat_fold import folded, scenario_of
from acquire.records import Event
from acquire.refusal import Refusal
from acquire.stand import unjudged
from calculation.cooling_curve import cooling_curve
from calculation.correction import Standard, temperature_constant
from calculation.errors import ImpossibleReading
from calculation.heat_readings import Floats, HeatReadings, History
from calculation.heat_rows import HeatRows
from calculation.nameplate import Nameplate
from calculation.steadiness import HOUR_S, TERMS, Rule, Steadiness
from calculation.zeroing import zeroed
from sequences.expected import Expected
from sequences.heat_readings import heat_readings
from sequences.heat_record import HeatRecord
from sequences.scan import UNITS, S
from sequences.warmth import WARM_C, watched

# Load or nobody's looking: what begins a window of the rate anew.
RESTARTS = ("soak", "warmed_up", "overload", "overloaded")
# Stages that begin a stretch of the night, and what it is called.
STRETCHES = {"soak": "soak", "overload": "overload", "shut_down": "cooling"}
POINTS = 200


@dataclass(frozen=True, slots=True)
class Cooled:
    """One winding after the shutdown: readings in s and degC, the curve, and its start at 0 s.

    `settled` marks the readings that the curve rests on, `residual_k` is reading less curve.
    """

    time_s: Floats
    temperature_c: Floats
    residual_k: Floats
    settled: Sequence[bool]
    curve_s: Floats
    curve_c: Floats
    winding_0_c: float
    expanded_k: float
    weak: bool


@dataclass(frozen=True, slots=True)
class Outlook:
    """Forecasts of one unit's ultimate rise as the run showed them: hours, K, expanded (95 %) K."""

    hours: Floats
    ultimate_k: Floats
    expanded_k: Floats


@dataclass(frozen=True, slots=True)
class HeatPicture:
    """Minute rows over `hours` of stand time, NaN where nothing was read, and what stands beside.

    `temperatures` are degC by unit and by words; `rise_k` of what is watched over the lagged air,
    `rate_k_per_h` its rate, both by unit; `stretches` begin, end (h) and words; `hour` begins and
    ends the hour that counts; `limit_k_per_h` None where the rule has another measure. A winding
    of `cooling` is a curve, or why there is none.
    """

    title: str
    hours: Floats
    temperatures: Mapping[str, Mapping[str, Floats]]
    ambient_c: Floats
    watched: str
    rise_k: Mapping[str, Floats]
    rate_k_per_h: Mapping[str, Floats]
    rule: str
    limit_k_per_h: float | None
    hour: tuple[float, float] | None
    stretches: Sequence[tuple[float, float, str]]
    outlook: Mapping[str, Outlook]
    cooling: Mapping[str, Cooled | str]


def picture_of(archive: Archive, run: int) -> HeatPicture:
    """Gather a heat run's picture from its archive, of one that came to no end as far as it came.

    Raises ArchiveError, ConfigurationError for texts that this version no longer reads, and Refusal
    for a run that is no heat run or read nothing.
    """
    row = archive.run(run)
    if row.procedure != "heat_run":
        raise Refusal(
            f"--figure: run {run} is a {row.procedure.replace('_', ' ')}, only a heat run has a"
            " figure; of losses `reduce --figure` draws one"
        )
    scenario = scenario_of(archive, run)
    expected = unjudged(scenario)
    if expected.thermal is None:
        raise Refusal(f"--figure: run {run}: its pair file has no [thermal]")
    record = folded(archive, run, expected)
    try:
        history, readings = _read(record, expected)
        rows = HeatRows(history, expected.thermal.time_constant_s)
    except ImpossibleReading as nothing:
        raise Refusal(f"--figure: run {run}: {nothing}") from nothing
    hours = rows.t_s / HOUR_S
    events = list(archive.events(run))
    rule = expected.soak.standard
    rate = TERMS[rule].rate_k_per_h
    seed = "" if row.seed is None else f", simulated with seed {row.seed}"
    state = "" if row.state == "complete" else f", {row.state}"
    dry = expected.thermal.construction == "dry"
    steady = (row.result or {}).get("steady")
    return HeatPicture(
        title=f"Heat run {run}: schedule {row.schedule}{seed}{state}",
        hours=hours,
        temperatures={unit: _temperatures(history, unit) for unit in UNITS},
        ambient_c=rows.ambient_c,
        watched="HV winding" if dry else "top liquid",
        # Of a dry type the HV winding's, whose end is forecast.
        rise_k={u: rows.column(watched(expected, u)[dry]) - rows.lagged_c for u in UNITS},
        rate_k_per_h={unit: _rate(record, rows, expected, unit) for unit in UNITS},
        rule=rule,
        limit_k_per_h=rate if isfinite(rate) else None,
        hour=_hour(steady),
        stretches=_stretches(events, float(hours[-1])),
        outlook=_outlook(events),
        cooling=_cooling(readings, scenario.pair.nameplate, rule),
    )


def _read(record: HeatRecord, expected: Expected) -> tuple[History, HeatReadings | None]:
    """Return the minutes, and all that was read where the run came to its cooling curves.

    As reduced: the sensors of the air zeroed against each other.
    """
    losses = record.losses
    ended = losses is not None and all(map(record.marked, ("soaked", "shutdown", "hot_read")))
    if losses is None or not ended:
        return record.history(), None
    sensor_k = max(expected.error_of(c, WARM_C) for c in expected.watched_warmth)
    readings = zeroed(heat_readings(record, expected, losses), sensor_k)
    return readings.history, readings


def _temperatures(history: History, unit: str) -> dict[str, Floats]:
    return {
        _words(name.partition(".")[2]): column
        for name, column in history.channels.items()
        if name.startswith(f"{unit}.")
    }


def _words(name: str) -> str:
    """Return "top liquid" of "top_liquid", "HV winding" of "winding_hv"."""
    kind, _, side = name.partition("_")
    return f"{side.upper()} winding" if kind == "winding" else name.replace("_", " ")


def _rate(record: HeatRecord, rows: HeatRows, expected: Expected, unit: str) -> Floats:
    """The rate by which the unit is judged, minute by minute of the soak; NaN where none is."""
    assert expected.thermal is not None  # picture_of saw to it
    columns = [rows.column(channel) for channel in watched(expected, unit)]
    lag_s = expected.thermal.time_constant_s
    steadiness = Steadiness(expected.soak.standard, lag_s, len(columns))
    restarts = sorted(t_s for name in RESTARTS for t_s, _ in record.marked(name))
    ended = record.marked("shutdown")
    from_s = restarts[0] if restarts else inf
    to_s = ended[-1][0] if ended else inf
    found = np.full(len(rows.t_s), nan)
    for k, t_s in enumerate(rows.t_s.tolist()):
        if t_s > to_s:
            break
        while restarts and restarts[0] < t_s:
            steadiness.restart(restarts.pop(0))
        steadiness.add(t_s, [float(column[k]) for column in columns], float(rows.ambient_c[k]))
        if t_s > from_s and steadiness.rate_k_per_h is not None:
            found[k] = steadiness.rate_k_per_h
    return found


def _hour(steady: Mapping[str, float] | None) -> tuple[float, float] | None:
    if steady is None:
        return None
    end_h = steady["hour_ends_s"] / HOUR_S
    return end_h - 1.0, end_h


def _stretches(events: Sequence[Event], end_h: float) -> list[tuple[float, float, str]]:
    """What the run was at, from the stages' events: the loss test before its soak is one."""
    begun: list[tuple[float, str]] = []
    for event in events:
        name = STRETCHES.get(str(event.facts.get("stage"))) if event.kind == "stage" else None
        soaked = any(words == "soak" for _, words in begun)
        if event.kind == "stage" and not begun:
            begun.append((event.t / S / HOUR_S, "loss test"))
        if name is not None and (soaked or name == "soak"):
            begun.append((event.t / S / HOUR_S, name))
    ends = [*(at for at, _ in begun[1:]), end_h]
    return [(at, end, words) for (at, words), end in zip(begun, ends, strict=False)]


def _outlook(events: Sequence[Event]) -> dict[str, Outlook]:
    """The forecasts as they were shown; NaN where the load changed and none holds any more."""
    found: dict[str, list[tuple[float, float, float]]] = {}
    for event in (e for e in events if e.kind == "shows"):
        t_h = event.t / S / HOUR_S
        if event.facts.get("mark") in RESTARTS:
            for rows in found.values():
                rows.append((t_h, nan, nan))
        for unit, at in (event.facts.get("forecast") or {}).items():
            found.setdefault(unit, []).append((t_h, at["ultimate_k"], at["expanded"]))
    return {unit: Outlook(*np.array(rows, dtype=np.float64).T) for unit, rows in found.items()}


def _cooling(
    readings: HeatReadings | None, nameplate: Nameplate, rule: Rule
) -> dict[str, Cooled | str]:
    if readings is None:
        return {}
    standard: Standard = "IEEE" if rule.startswith("IEEE") else "IEC"
    found: dict[str, Cooled | str] = {}
    for winding, cold in readings.cold.items():
        material = nameplate.material_lv if winding.endswith("_lv") else nameplate.material_hv
        cooling = readings.cooling.get(winding)
        if cooling is None:
            found[winding] = "no resistance was read after the shutdown"
            continue
        try:
            curve = cooling_curve(cooling, cold, temperature_constant(material, standard))
        except ImpossibleReading as why:
            found[winding] = str(why)
            continue
        curve_s = np.linspace(0.0, float(cooling.time_s[-1]), POINTS)
        found[winding] = Cooled(
            cooling.time_s,
            curve.temperature_c(cooling.time_s) + curve.residuals_k,
            curve.residuals_k,
            curve.settled.tolist(),
            curve_s,
            curve.temperature_c(curve_s),
            curve.winding_0_c,
            2 * curve.standard_k,
            curve.weak,
        )
    return found
