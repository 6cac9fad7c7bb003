"""Heat runs that are cheap: plants that warm ten to twenty times as fast, and short schedules.

Heat flows, rises and their exponents stay; every body holds less heat, and sensors lag as much
less. A night's run is so one of an hour or two, through the same stages.
"""

from dataclasses import replace
from functools import cache
from random import Random
from typing import NamedTuple, TypeVar

from acquire.configuration import Scenario, load_scenario
from calculation.nameplate import ThermalPlate
from drivers.description import Instrument, Stand
from drivers.simulated.thermal.truth import (
    TrueBody,
    TrueLiquid,
    TrueRoom,
    TrueThermal,
    TrueThermalUnit,
)
from sequences.schedule import Overload, Schedule, Standard, WarmUp

DRY = "dry_pair"
SETTLING_S = {"lv": 1.5, "hv": 1.2}  # of d.c., so that ten of them are over in a short cold record
FAN = 1.4
# By the shortest rule: an hour's rate, kept for an hour.
RULE: Standard = "IEC 60076-11"
PATIENT_H = 5.0
LIMIT_C, TIGHT_C = 105.0, (45.0, 38.0, 34.0, 30.0)  # which a short soak comes to
WINDING_LIMIT_C, TIGHT_WINDING_C = 155.0, (85.0, 70.0, 60.0, 50.0)
TWINS_K = (10.0, 10.0, 15.0, 60.0)
RISE_RATE_K_PER_MIN = 5.0
POLLED_S = {"contacts": 0.5, "lv_analyser": 2.0, "hv_analyser": 2.0, "series_voltmeter": 2.0}


class Heat(NamedTuple):
    """What is drawn of a heat run beside its pair.

    `patient`: it waits until it is steady. `faster`: by how much all but a liquid's windings warm
    faster than the shipped plant; those by `windings`. `rises`: every rise, of the shipped.
    """

    dry: bool
    patient: bool
    faster: float
    windings: float
    rises: tuple[float, float]
    fans: bool
    positions: int
    tight: bool


@cache
def dry_base() -> Scenario:
    """Return the shipped heat run of the dry-type pair."""
    return load_scenario(DRY, "heat_run")


def draw_heat_of(d: Random, patient: bool) -> Heat:
    """Draw a third dry, a third with people who switch, a third with several positions."""
    same = d.choice((1.0, 1.0, d.uniform(0.8, 1.25)))
    return Heat(
        dry=d.random() < 1 / 3,
        patient=patient,
        faster=10.0 if patient else d.uniform(10.0, 20.0),
        windings=2.0 if patient else d.uniform(2.0, 3.0),
        rises=(same, same * d.uniform(0.97, 1.03)),
        fans=d.random() < 1 / 3,
        positions=d.choice((0, 1, 1, 2)),
        tight=not patient and d.random() < 1 / 2,
    )


def heated(d: Random, heat: Heat, base: Scenario, overload: bool) -> Scenario:
    """Return a base on the drawn plant, with a drawn schedule."""
    return replace(
        base,
        truth=replace(
            base.truth,
            a=replace(base.truth.a, **_settling()),
            b=replace(base.truth.b, **_settling()),
            thermal=_fast(heat, base.truth.thermal),
        ),
        pair=replace(base.pair, thermal=_plate(heat, base)),
        schedule=_schedule(d, heat, base.schedule, overload),
        stand=_stand(heat.positions, base.stand),
    )


def _settling() -> dict[str, float]:
    return {f"{side}_settling_s": seconds for side, seconds in SETTLING_S.items()}


def _plate(heat: Heat, base: Scenario) -> ThermalPlate:
    plate = base.pair.thermal
    assert plate is not None
    return replace(plate, time_constant_s=plate.time_constant_s / heat.faster)


def _fast(heat: Heat, true: TrueThermal | None) -> TrueThermal:
    assert true is not None
    a, b = (_unit(heat, u, k) for u, k in zip((true.a, true.b), heat.rises, strict=True))
    sensors = true.sensors
    return replace(
        true,
        a=a,
        b=b,
        room=_faster(true.room, heat.faster),
        sensors=replace(
            sensors,
            liquid_lag_s=sensors.liquid_lag_s / heat.faster,
            winding_lag_s=sensors.winding_lag_s / heat.faster,
            ambient_lag_s=sensors.ambient_lag_s / heat.faster,
        ),
    )


def _unit(heat: Heat, unit: TrueThermalUnit, rises: float) -> TrueThermalUnit:
    liquid = unit.liquid
    windings = heat.faster if liquid is None else heat.windings
    by_fan = FAN if heat.fans else 1.0
    bodies = {
        name: _hotter(_faster(getattr(unit, name), windings), rises if liquid is None else 1.0)
        for name in ("lv", "hv")
    }
    # What a fan sheds more, the unit is smaller by.
    more = by_fan**unit.lv.exponent
    if liquid is None:
        bodies = {name: _hotter(body, more) for name, body in bodies.items()}
        core = _hotter(_faster(unit.core, heat.faster), more)
    else:
        core = _faster(unit.core, heat.faster)
        liquid = _hotter(_faster(liquid, heat.faster), rises * more)
    return replace(unit, lv=bodies["lv"], hv=bodies["hv"], core=core, liquid=liquid,
                   fan_factor=by_fan)  # fmt: skip


Slow = TypeVar("Slow", TrueBody, TrueLiquid, TrueRoom)
Body = TypeVar("Body", TrueBody, TrueLiquid)


def _faster(body: Slow, by: float) -> Slow:
    return replace(body, time_constant_s=body.time_constant_s / by)


def _hotter(body: Body, by: float) -> Body:
    return replace(body, rise_k=body.rise_k * by)


def _schedule(d: Random, heat: Heat, base: Schedule, overload: bool) -> Schedule:
    assert base.soak is not None
    warm_up = WarmUp(d.choice((1.1, 1.2)), d.choice((0.5, 0.9)), d.choice((98.0, 70.0)))
    step = Overload(
        d.choice((1.1, 1.25)),
        d.uniform(0.03, 0.08),
        hot_spot_limit_c=d.choice((120.0, 75.0, 60.0)),
        top_liquid_limit_c=d.choice((105.0, 60.0)),
        # Gradients are those of the last five minutes, which have to be at rated current.
        rated_again_s=400.0 if heat.patient else d.uniform(60.0, 150.0),
    )
    soak = replace(
        base.soak,
        standard=RULE,
        time_limit_h=PATIENT_H if heat.patient else d.uniform(0.05, 0.2),
        cold_s=40.0,
        cooling_s=900.0 if heat.patient else d.uniform(120.0, 240.0),
        dwell_s=30.0,
        hold_s=d.choice((60.0, 240.0)),
        warm_up=warm_up if d.random() < 1 / 4 else None,
        overload=step if overload or d.random() < 1 / 4 else None,
    )
    return replace(
        base,
        window_s=d.choice((8.0, 12.0)),
        dwell_s=d.choice((0.0, 2.0, 4.0)),
        prompt_time_s=d.choice((60.0, 120.0, 900.0)),
        top_liquid_limit_c=d.choice(TIGHT_C) if heat.tight else LIMIT_C,
        winding_limit_c=d.choice(TIGHT_WINDING_C) if heat.tight else WINDING_LIMIT_C,
        twins_differ_limit_k=d.choice(TWINS_K) if heat.tight else base.twins_differ_limit_k,
        rise_rate_limit_k_per_min=RISE_RATE_K_PER_MIN * heat.faster,
        soak=soak,
    )


def _stand(positions: int, base: Stand) -> Stand:
    outputs = base.outputs
    channels = [name for name, c in base.channels().items() if c.unit == "Ω"]
    each = tuple(tuple(c for c in channels if c.startswith(u)) for u in "ab")
    selector = replace(
        outputs.resistance_selector,
        positions=each if positions > 1 else (tuple(channels),),
        by_hand=not positions,
    )
    return replace(
        base,
        outputs=replace(outputs, resistance_selector=selector),
        instrument=tuple(_slower(i) for i in base.instrument),
    )


def _slower(instrument: Instrument) -> Instrument:
    """Polled no more often than its channels need: what most of a run's time goes into."""
    period = POLLED_S.get(instrument.name, instrument.period_s)
    return replace(instrument, period_s=max(period, instrument.period_s))
