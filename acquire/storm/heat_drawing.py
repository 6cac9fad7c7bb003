"""What a seed of a heat run stands for: its plant, its schedule, its people and its faults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from random import Random
from typing import TYPE_CHECKING

from acquire.configuration import Scenario
from acquire.storm.acts import RECIPES, draw_acts
from acquire.storm.drawing import (
    ASKED_OF,
    MOST_ACTS,
    RECIPES_AT_ONCE,
    ROUND,
    STOPPED_BY,
    STOPS,
    WITHIN_STAGE_S,
    WITHIN_STOP_S,
    Drawn,
    applicable,
    faults_of,
    lasts_s,
)
from acquire.storm.heat_plants import Heat, draw_heat_of, dry_base, heated
from acquire.storm.plants import ANGLES_DEGREE, Plant, draw_plant
from acquire.storm.wild import Act, Honest, HonestTo
from drivers.simulated.circuit import OPPOSITION

if TYPE_CHECKING:
    from acquire.faults import SiteFault

# One seed in twelve waits until it is steady, one in six asks at random, one in three has one fault
# that begins in its cell of the coverage table.
TURN = 12
PATIENT, ASKS, REACHES = (1,), (5, 11), (0, 3, 6, 9)
WRONG_PAIR = 0.1
# What only a heat run has, or has for long.
HEATED = (
    *(f"unit_{u}_{what}" for u in "ab" for what in ("fan_stops", "cooling_hindered")),
    *(f"unit_{u}_sensor_out_of_pocket" for u in "ab"),
    *("lv_supply_lost", "loop_supply_lost", "crash", "crash", "guard_opened"),
    *("resistance_selector_will_not_close", "resistance_selector_will_not_open"),
    *("resistance_meter_silent", "resistance_meter_garbage", "resistance_meter_frozen"),
    *("temperatures_silent", "temperatures_frozen", "ambient_out_of_range"),
    *("operator_asks_to_hold", "operator_absent", "operator_answers_no"),
)
# In a run that comes to its end: what holds it, ends it early, or falsifies what it reads.
OF_PATIENT = (
    *((), ("operator_asks_to_hold",), ("temperatures_frozen",), ("crash",)),
    *(("unit_a_sensor_out_of_pocket", "unit_b_sensor_out_of_pocket"), ("resistance_meter_silent",)),
    *(("ambient_out_of_range",), ("unit_a_cooling_hindered", "unit_b_cooling_hindered")),
    *(("resistance_meter_frozen",), ("crash", "operator_asks_to_hold"), (), ("operator_slow",)),
)
STAGES_OF_HEAT = ("soak", "soak", "overload", "shut_down", "cool")
LONG_S = {"soak": 400.0, "overload": 200.0, "cool": 120.0, "shut_down": 20.0}
PATIENT_S = 6000.0  # of a soak of some two hours
HELD_S = 600.0
# A hold of a soak that would else be steady within two hours of it.
HOLDS, LATE_S = ("operator_asks_to_hold", "ambient_out_of_range"), (4500.0, 6500.0)
A_MINUTE_S = 60.0
DOWN_S = (20.0, 60.0, 200.0, 900.0)


def draw_heat(seed: int, base: Scenario) -> Drawn:
    """Draw what a seed of the heat run stands for, from the shipped liquid-filled one."""
    d = Random(f"storm/heat/{seed}")
    turn = seed % TURN
    cell = None
    if turn in REACHES:
        cells = applicable(faults_of(base))
        cell = cells[seed * ROUND % len(cells)]
    heat = draw_heat_of(d, turn in PATIENT)
    of_cell = heat._replace(tight=False) if cell else heat
    scenario = heated(d, of_cell, dry_base() if heat.dry else base, cell is not None and
                      cell[1] == "overload")  # fmt: skip
    wrong = turn in ASKS or (turn not in (*PATIENT, *REACHES) and d.random() < WRONG_PAIR)
    scenario, plant = _pair(d, scenario, wrong)
    known = faults_of(scenario)
    f = Random(f"storm/heat/{seed}/faults")
    acts: tuple[Act, ...] = ()
    if cell is not None:
        faults = _reached(f, cell, known)
    elif heat.patient:
        faults = _patient(f, known, seed)
    else:
        faults = _faults(f, known, seed)
    if turn in ASKS:
        a = Random(f"storm/heat/{seed}/acts")
        plant = plant._replace(wiring=a.choice((plant.wiring, *ASKED_OF)))
        acts = (_honest(a), *(a.choice(RECIPES) for _ in range(RECIPES_AT_ONCE)))
        acts = (*acts, *draw_acts(a, MOST_ACTS))
    kind = ("dry " if heat.dry else "liquid ") + ("patient" if heat.patient else "short")
    sound = not (wrong or _is_tight(of_cell))
    return Drawn(seed, kind, scenario, plant, sound, acts, faults, d.choice(DOWN_S))


def _is_tight(heat: Heat) -> bool:
    return heat.tight or max(heat.rises) > 1.1


def _pair(d: Random, base: Scenario, wrong: bool) -> tuple[Scenario, Plant]:
    """Draw a pair: the shipped one with another mismatch and other meters, seldom a wrong one."""
    plant = draw_plant(d)
    if not wrong:
        plant = plant._replace(
            wiring=OPPOSITION,
            voltmeter_dead=False,
            voltmeter_multiplier=1.0,
            mismatch_percent=d.uniform(-0.4, 0.4),
        )
    # An angle that the stand file fixes is what it truly is; supplies suit the pair.
    plant = plant._replace(
        lv_supply=base.truth.lv_supply,
        loop_supply=base.truth.loop_supply,
        loop_angle_degree=0.0,
    )
    if d.random() < 1 / 2:
        plant = plant._replace(loop_angle_degree=d.choice(ANGLES_DEGREE))
        regulator = replace(base.stand.outputs.loop_regulator, angle_degree=None)
        outputs = replace(base.stand.outputs, loop_regulator=regulator)
        base = replace(base, stand=replace(base.stand, outputs=outputs))
    return plant.scenario(base), plant


def _reached(d: Random, cell: tuple[str, str], known: Mapping[str, SiteFault]) -> tuple[str, ...]:
    """A fault that begins in its cell, for certain as far as that can be."""
    name, stage = cell
    within = WITHIN_STOP_S.get(stage, LONG_S.get(stage, WITHIN_STAGE_S))
    faults = [f"{name}@{stage}+{d.uniform(0, within):.2f}{lasts_s(d, known[name])}"]
    if stage in STOPPED_BY:
        by = d.choice(STOPPED_BY[stage])
        faults.append(f"{by}@{d.choice(('soak', 'soak', 'circulate'))}+{d.uniform(0, 60):.2f}")
    return tuple(faults)


def _patient(d: Random, known: Mapping[str, SiteFault], seed: int) -> tuple[str, ...]:
    """What leaves time for a steady state, at one instant of the soak or of cooling for all."""
    cooling = d.random() < 1 / 4
    stage, after = ("cool", d.uniform(0, 30)) if cooling else ("soak", d.uniform(60, PATIENT_S))
    words = []
    for name in OF_PATIENT[seed // TURN % len(OF_PATIENT)]:
        fault = known[name]
        own = stage if stage in fault.stages else "soak"
        if name in HOLDS:
            own, after = "soak", d.uniform(*LATE_S)
        lasts = f":{HELD_S:g}" if name in {"ambient_out_of_range", "operator_slow"} else ""
        words.append(f"{name}@{own}+{after:.2f}{lasts}")
    return tuple(words)


def _faults(d: Random, known: Mapping[str, SiteFault], seed: int) -> tuple[str, ...]:
    """None to three faults, most of them in the stages that only a heat run has."""
    cells = [cell for cell in applicable(known) if cell[1] in STAGES_OF_HEAT]
    name, stage = cells[seed * ROUND % len(cells)]
    words = [f"{name}{_when(d, stage)}{_lasts(d, known[name])}"]
    count = d.choice((0, 1, 1, 2, 2, 3))
    while len(words) < count:
        name = d.choice(HEATED if d.random() < 2 / 3 else sorted(known))
        stages = [s for s in known[name].stages if s in STAGES_OF_HEAT] or known[name].stages
        stage = d.choice((*stages, *stages, *STOPS))
        words.append(f"{name}{_when(d, stage)}{_lasts(d, known[name])}")
    return tuple(words[:count])


def _when(d: Random, stage: str) -> str:
    return f"@{stage}+{d.uniform(0, LONG_S.get(stage, WITHIN_STAGE_S)):.2f}"


def _lasts(d: Random, fault: SiteFault) -> str:
    minute = fault.name.endswith("supply_lost") and d.random() < 1 / 2
    return f":{A_MINUTE_S:g}" if minute else lasts_s(d, fault)


def _honest(d: Random) -> Act:
    """Let the heat run go on for a while: into its cold resistances, its soak or its cooling."""
    some = Honest(d.randint(*d.choice(((0, 600), (400, 900), (900, 2400)))))
    return d.choice((some, some, HonestTo("watchdog_acted"), HonestTo("proof_complete")))
