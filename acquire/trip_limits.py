"""At which readings the trips would act: asked of the very table that a run is protected by.

Each trip is shown the stand as it will be at a point of the test, and then its channel further and
further from what is expected there, until it says exceeded.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from calculation.supplies import StageReadings
from drivers.outputs import (
    CONTACTORS,
    LOOP,
    LOOP_REGULATOR,
    LV,
    LV_REGULATOR,
    REGULATORS,
    OutputState,
)
from drivers.reading import Reading
from sequences.conditions import View
from sequences.evidence import Evidence, Gap, Loop
from sequences.expected import Expected
from sequences.following import Rest
from sequences.scan import (
    EMERGENCY_STOP,
    FREQUENCY,
    GUARD,
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_POWER,
    LV_VOLTAGE,
    LV_VOLTAGE_MEAN,
    PROTECTION_CONTACT,
    SERIES_VOLTAGE,
    S,
    Scan,
)
from sequences.trips import TRIPS, Trip

NOW = 100 * S
FURTHEST = 1e9
HALVINGS = 200
COLD_C = 20.0
CONTACTS = (GUARD, EMERGENCY_STOP, PROTECTION_CONTACT)


@dataclass(frozen=True, slots=True)
class TripLimit:
    """Below and above which reading a trip acts at a point of the test; None: not on that side."""

    trip: str
    channel: str
    unit: str
    stage: str
    below: float | None
    above: float | None
    readings: int
    delay_s: float
    category: int
    hazard: str


def trip_limits(expected: Expected, stages: tuple[StageReadings, ...]) -> list[TripLimit]:
    """Return every trip on a measured value with its limits, at each of these points of the test.

    A trip on a regulator's position, or one that is not armed at a point, has no row there.
    """
    found = []
    for trip in TRIPS:
        if trip.watch is None or trip.watch in (*CONTACTS, *CONTACTORS, *REGULATORS):
            continue
        if trip.watch not in expected.channels:
            continue
        for stage in stages:
            view = _view(expected, stage)
            below, above = _limits(trip, view) if trip.armed(view) else (None, None)
            if below is None and above is None:
                continue
            facts = trip.readings, trip.delay_s, trip.category, trip.hazard
            where = f"{stage.stage}, {stage.at}"
            unit = expected.channels[trip.watch].unit
            found.append(TripLimit(trip.name, trip.watch, unit, where, below, above, *facts))
    return found


def distinct(trips: list[TripLimit]) -> list[TripLimit]:
    """Return them without those that repeat the limits of an earlier point."""
    found: dict[tuple[str, str, str], TripLimit] = {}
    for t in trips:
        ends = ("" if v is None else f"{v:.9g}" for v in (t.below, t.above))
        found.setdefault((t.trip, *ends), t)  # type: ignore[arg-type]  # two ends
    return list(found.values())


def _limits(trip: Trip, view: View) -> tuple[float | None, float | None]:
    assert trip.watch is not None  # trip_limits saw to it
    here = view.scan.image[trip.watch].value or 0.0
    if trip.exceeded(here, view):
        return None, None  # nothing is said of a trip that the expected reading would meet

    def exceeded(value: float) -> bool:
        return trip.exceeded(value, view)

    # No meter here reads below zero but a wattmeter, and no trip watches one.
    return _edge(exceeded, here, 0.0), _edge(exceeded, here, FURTHEST)


def _edge(exceeded: Callable[[float], bool], inside: float, outside: float) -> float | None:
    """Return where, from `inside` on, a limit is first exceeded; None where it never is."""
    if not exceeded(outside):
        return None
    for _ in range(HALVINGS):
        middle = (inside + outside) / 2
        if exceeded(middle):
            outside = middle
        else:
            inside = middle
    return outside


def _view(expected: Expected, stage: StageReadings) -> View:
    """Return the stand at rest at a point of the test, everything as expected."""
    loop = stage.hv_current_a.expected > 0 or stage.stage == "circulate"
    volts = {LV_REGULATOR: stage.lv_voltage_v, LOOP_REGULATOR: stage.hv_voltage_v.expected}
    positions = {o: v / expected.regulator(o).full_voltage_v for o, v in volts.items()}
    commanded = dict.fromkeys(CONTACTORS, 0.0) | {LV: 1.0, LOOP: float(loop)} | positions
    values = _values(expected, stage) | {LV: 1.0, LOOP: float(loop)} | positions
    scan = Scan(
        number=1,
        now=NOW,
        image={c: Reading(c, NOW, NOW, v) for c, v in values.items()},
        arrived=(),
        alive=dict.fromkeys(values, NOW),
        answers=(),
        outputs={o: OutputState(v, 0, 0, 0) for o, v in commanded.items()},
        refused=(),
        intent=None,
        last_commit=NOW,
        asked=None,
    )
    return View(scan, _evidence(expected, stage, values, positions), expected)


def _values(expected: Expected, stage: StageReadings) -> dict[str, float]:
    warmth = {name: COLD_C for name, c in expected.channels.items() if c.unit == "°C"}
    return (
        dict.fromkeys(CONTACTS, 1.0)
        | warmth
        | {
            LV_VOLTAGE: stage.lv_voltage_v,
            LV_VOLTAGE_MEAN: stage.lv_voltage_v,
            LV_CURRENT: stage.lv_current_a.expected,
            LV_POWER: stage.lv_power_w.expected,
            FREQUENCY: expected.nameplate.frequency_hz,
            SERIES_VOLTAGE: stage.series_voltage_v.expected,
            HV_VOLTAGE: stage.hv_voltage_v.expected,
            HV_CURRENT: stage.hv_current_a.expected,
            HV_POWER: stage.hv_power_w.expected,
        }
    )


def _evidence(
    expected: Expected,
    stage: StageReadings,
    values: Mapping[str, float],
    positions: Mapping[str, float],
) -> Evidence:
    """Return what has been proven by then: nothing in the prove stage, afterwards everything."""
    recent = {c: ((NOW - S, values[c]),) for c in (LV_VOLTAGE, HV_VOLTAGE)}
    if stage.stage == "prove":
        return Evidence(recent=recent)
    gap = expected.ratio_limit * 2 * expected.nameplate.ratio * stage.lv_voltage_v
    return Evidence(
        loop=Loop(expected.loop_impedance_ohm, 0, COLD_C),
        proof_complete=0,
        gap=Gap(gap, stage.lv_voltage_v, expected.ratio_limit, 0),
        opposed=0,
        rest={o: (None, Rest(p, 0.0)) for o, p in positions.items()},
        recent=recent,
    )
