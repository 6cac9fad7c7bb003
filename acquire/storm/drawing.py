"""What a seed stands for: pair, wiring, schedule, who asks, and which faults come when.

Each part is drawn from a generator of its own, so that leaving a fault out changes nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from random import Random
from typing import TYPE_CHECKING

from acquire.configuration import Scenario
from acquire.faults import catalogue
from acquire.storm.acts import RECIPES, draw_acts, draw_honest_scans
from acquire.storm.good_pairs import draw_scenario
from acquire.storm.plants import ANGLES_DEGREE, Plant, draw_plant
from acquire.storm.twins import draw_nameplate
from acquire.storm.wild import Act, Honest, HonestTo
from drivers.simulated.circuit import OPPOSITION, Wiring
from drivers.simulated.faults.fault import OF_HEAT, STAGES, STOPS

if TYPE_CHECKING:
    from acquire.faults import SiteFault

AIDING = Wiring(aiding=True)
# Pairs of which a procedure that asks at random may ask what harms them.
ASKED_OF = (
    AIDING,
    Wiring(tap_steps=1),
    Wiring(tap_steps=-2),
    Wiring(tap_steps=4),
    Wiring(lv_lead_open="b"),
)
# What drives current or voltage with nobody's doing, and where that does most.
DRIVING = ("shorted_turn", "lv_regulator_runs_away", "loop_regulator_runs_away")
LOADED = ("prove", "energise", "circulate", "load_readings")
DRIVES, CRASHES = 0.25, 0.08  # of the faults beside a seed's first
# One seed in so many is drawn so that its cell is reached: a good pair, the procedure honest, and
# nothing beside its fault but what brings about the stop that it is to begin in.
REACHED_ONE_IN = 4
ROUND = 7919  # a prime step through all cells, so that neighbours in seed are none in the table
STOPPED_BY = {
    "stopping": ("unit_a_too_hot", "unit_b_too_hot", "frequency_off"),
    "aborting": ("emergency_stop_pressed", "protection_contact_opened", "guard_opened"),
}
WITHIN_STOP_S = {"stopping": 2.0, "aborting": 0.9}  # it may be over in the scan after
# Windows and dwell that are short, so that a storm has many runs; prompts that wait, some less.
WINDOWS_S, DWELLS_S = (6.0, 8.0), (0.0, 2.0, 4.0)
PROMPT_TIMES_S = (60.0, 120.0, 900.0)
INTERCHANGED_S = 600.0  # within which people have interchanged a secondary, the slow ones too
ASKS_AT_RANDOM = 1 / 3  # of the others: a quarter of all
# What is asked at random has the shipped regulators in mind.
KINDS, ASKED_KINDS = ("good",) * 5 + ("any",) * 3 + ("random",) * 2, ("good", "any")
RECIPES_AT_ONCE, MOST_ACTS = 3, 9
HOW_MANY = (0, 1, 1, 1, 2, 2, 2, 3, 3, 4)
MOST_WRITES = 450
LATEST_S = 330.0
WITHIN_STAGE_S = 6.0
LONGEST_S = 60.0
# Faults that a test has to go on under as if nothing were.
HARMLESS = frozenset({"operator_slow", "operator_answers_twice", "wall_clock_stepped"})


@dataclass(frozen=True)
class Drawn:
    """One seed, drawn. `sound`: with no fault but harmless ones the run has to complete."""

    seed: int
    kind: str
    scenario: Scenario
    plant: Plant
    sound: bool
    acts: tuple[Act, ...]
    faults: tuple[str, ...]
    down_s: float = 60.0  # until a program that has crashed is started again

    @property
    def has_to_complete(self) -> bool:
        """Whether nothing is there that may stop the run."""
        patient = self.scenario.schedule.prompt_time_s > INTERCHANGED_S
        names = {word.partition("@")[0].partition(":")[0] for word in self.faults}
        if self.plant.wiring.aiding and (not patient or "operator_slow" in names):
            return False
        return self.sound and not self.acts and names <= HARMLESS


def draw(seed: int, base: Scenario) -> Drawn:
    """Draw what a seed stands for, from a scenario that is read already."""
    d = Random(f"storm/{seed}")
    if seed % REACHED_ONE_IN == 0:
        cells = applicable(faults_of(base))
        return _draw_reached(seed, base, cells[seed // REACHED_ONE_IN * ROUND % len(cells)])
    asks = d.random() < ASKS_AT_RANDOM
    kind = d.choice(ASKED_KINDS if asks else KINDS)
    scenario, plant, sound = _pair(Random(f"storm/{seed}/pair"), kind, _short(d, base))
    faults = draw_faults(seed, faults_of(scenario))
    if not asks:
        return Drawn(seed, kind, scenario, plant, sound, (), faults)
    a = Random(f"storm/{seed}/acts")
    plant = plant._replace(wiring=a.choice((plant.wiring, *ASKED_OF)))
    if a.random() < 0.5:
        acts = (_honest(a), *(a.choice(RECIPES) for _ in range(RECIPES_AT_ONCE)))
        return Drawn(seed, kind, scenario, plant, sound, acts, ())
    acts = (_honest(a), *draw_acts(a, MOST_ACTS))
    return Drawn(seed, kind, scenario, plant, sound, acts, faults)


def _draw_reached(seed: int, base: Scenario, cell: tuple[str, str]) -> Drawn:
    """Draw a seed whose fault begins in its cell, for certain as far as that can be."""
    d = Random(f"storm/{seed}/reached")
    name, stage = cell
    scenario, plant, sound = _pair(d, "good", _short(d, base))
    lasts = lasts_s(d, faults_of(scenario)[name])
    within = WITHIN_STOP_S.get(stage, WITHIN_STAGE_S)
    faults = [f"{name}@{stage}+{d.uniform(0, within):.2f}{lasts}"]
    if stage in STOPPED_BY:
        by, loaded = d.choice(STOPPED_BY[stage]), d.choice(LOADED[1:])
        faults.append(f"{by}@{loaded}+{d.uniform(0, WITHIN_STAGE_S):.2f}")
    return Drawn(seed, "good", scenario, plant, sound, (), tuple(faults))


def _honest(d: Random) -> Act:
    """Draw how far the honest test goes first: often to where the most is let through."""
    some = Honest(draw_honest_scans(d))
    proven = HonestTo("proof_complete")
    return d.choice((some, HonestTo("watchdog_acted"), proven, proven))


def _short(d: Random, base: Scenario) -> Scenario:
    schedule = replace(
        base.schedule,
        window_s=d.choice(WINDOWS_S),
        dwell_s=d.choice(DWELLS_S),
        prompt_time_s=d.choice(PROMPT_TIMES_S),
    )
    return replace(base, schedule=schedule)


def _pair(d: Random, kind: str, base: Scenario) -> tuple[Scenario, Plant, bool]:
    """Draw a pair; the cheap ones are the shipped one with another truth."""
    plant = draw_plant(d)
    if kind == "any":
        return plant.scenario(base), plant, False
    wiring = d.choice((OPPOSITION,) * 4 + (AIDING,))
    plant = plant._replace(wiring=wiring, voltmeter_dead=False, voltmeter_multiplier=1.0)
    if kind == "random":
        drawn = draw_scenario(d, draw_nameplate(d))
        schedule = replace(drawn.schedule, prompt_time_s=base.schedule.prompt_time_s)
        return replace(drawn, schedule=schedule), plant, True
    plant = plant._replace(
        mismatch_percent=d.uniform(-0.4, 0.4),
        lv_supply=base.truth.lv_supply,
        loop_supply=base.truth.loop_supply,
        loop_angle_degree=d.choice(ANGLES_DEGREE),
    )
    return plant.scenario(base), plant, True


def draw_faults(seed: int, known: Mapping[str, SiteFault]) -> tuple[str, ...]:
    """Draw none to four faults; the first one's stage goes round all that a catalogue has."""
    d = Random(f"storm/{seed}/faults")
    count = d.choice(HOW_MANY)
    cells = applicable(known)
    name, stage = cells[seed * ROUND % len(cells)]
    words = [f"{name}@{stage}+{d.uniform(0, WITHIN_STAGE_S):.2f}{lasts_s(d, known[name])}"]
    while len(words) < count:
        which = d.random()
        if which < CRASHES:
            words.append(f"crash{_when(d, known['crash'])}")
        elif which < CRASHES + DRIVES:
            fault = known[d.choice(DRIVING)]
            when = f"@{d.choice(LOADED)}+{d.uniform(0, 25):.2f}"
            words.append(f"{fault.name}{when}{lasts_s(d, fault)}")
        else:
            fault = known[d.choice(sorted(known))]
            words.append(f"{fault.name}{_when(d, fault)}{lasts_s(d, fault)}")
    return tuple(words[:count])


def stages_of(procedure: str) -> tuple[str, ...]:
    """Return the stages that a procedure goes through, in their order."""
    return tuple(s for s in STAGES if procedure == "heat_run" or s not in OF_HEAT)


def faults_of(scenario: Scenario) -> dict[str, SiteFault]:
    """Return the catalogue with the stages of the scenario's procedure, as far as it has any."""
    stages = stages_of(scenario.schedule.procedure)
    found = {}
    for name, fault in catalogue(scenario).items():
        if own := tuple(s for s in fault.stages if s in stages):
            found[name] = replace(fault, stages=own)
    return found


def applicable(known: Mapping[str, SiteFault]) -> list[tuple[str, str]]:
    """Return every cell of the coverage table: fault and stage, or stop under way."""
    return [(f.name, stage) for f in known.values() for stage in (*f.stages, *STOPS)]


def _when(d: Random, fault: SiteFault) -> str:
    which = d.random()
    if which < 0.05:
        return ""
    if which < 0.25:
        return f"@w{d.randint(1, MOST_WRITES)}"
    if which < 0.4:
        return f"@{d.uniform(0, LATEST_S):.2f}"
    stage = d.choice(fault.stages if which < 0.85 else STOPS)
    return f"@{stage}+{d.uniform(0, 25):.2f}" if d.random() < 0.7 else f"@{stage}"


def lasts_s(d: Random, fault: SiteFault) -> str:
    if not fault.ends or d.random() < 0.5:
        return ""
    return f":{0.05 * (LONGEST_S / 0.05) ** d.random():.2f}"


__all__ = ["STAGES", "STOPS", "Drawn", "applicable", "draw", "draw_faults", "faults_of"]
