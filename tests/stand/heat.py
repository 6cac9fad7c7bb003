"""Heat runs that are watched: the plant at every instant at which it moves on, judged as it is."""

from dataclasses import replace
from functools import cache
from typing import Any, NamedTuple, TypeVar

from acquire.configuration import Scenario, load_scenario
from calculation.readings import LossReadings
from drivers.simulated.stand import SimulatedStand
from drivers.simulated.thermal.truth import TrueBody, TrueLiquid, TrueRoom, TrueThermalUnit
from sequences.expected import Expected
from sequences.heat_record import HeatRecord
from sequences.heat_run import heat_run
from sequences.scan import Procedure
from sequences.schedule import Soak
from tests.stand.conftest import Watched

LIVE_V = 50.0


@cache
def shipped_heat_run() -> Scenario:
    """Return the shipped heat run."""
    return load_scenario("distribution_pair", "heat_run")


def short(*, positions: int = 1, **soak: Any) -> Scenario:
    """Return the shipped heat run cut short: a minute of soak, then minutes of cooling.

    The selector reads all four windings at one position, or a unit at each of two.
    """
    shipped = shipped_heat_run()
    plan = shipped.schedule.soak
    assert plan is not None
    times = {"time_limit_h": 1 / 60, "cold_s": 40.0, "cooling_s": 180.0, "dwell_s": 20.0}
    # Settled soon: the d.c. of these windings dies away in ten time constants.
    settling = {"lv_settling_s": 1.5, "hv_settling_s": 1.0}
    units = {u: replace(getattr(shipped.truth, u), **settling) for u in "ab"}
    schedule = replace(
        shipped.schedule, window_s=8.0, dwell_s=4.0, soak=replace(plan, **{**times, **soak})
    )
    return replace(
        _with_positions(shipped, positions),
        truth=replace(shipped.truth, **units),
        schedule=schedule,
    )


def _with_positions(scenario: Scenario, positions: int) -> Scenario:
    outputs = scenario.stand.outputs
    channels = [c for p in outputs.resistance_selector.positions for c in p]
    found = tuple(tuple(c for c in channels if c.startswith(u)) for u in "ab")
    selector = replace(
        outputs.resistance_selector, positions=found if positions > 1 else (tuple(channels),)
    )
    stand = replace(scenario.stand, outputs=replace(outputs, resistance_selector=selector))
    return replace(scenario, stand=stand)


def soak_of(scenario: Scenario) -> Soak:
    """Return the soak of a scenario's schedule."""
    assert scenario.schedule.soak is not None
    return scenario.schedule.soak


class Change(NamedTuple):
    """A contactor or the selector that has changed: stand time in s, its name, where it stands."""

    t_s: float
    name: str
    stands: int


class Witness:
    """Looks at the plant whenever it moves on.

    `d_c_on_live` are the instants (s) at which the resistance meter was connected to a winding with
    a main contactor closed or any voltage above 50 V.
    """

    def __init__(self, plant: SimulatedStand) -> None:
        self.plant = plant
        self.changes: list[Change] = []
        self.d_c_on_live: list[float] = []
        self._stood = self._stand()
        plant.moved = self._look

    def of(self, name: str) -> list[Change]:
        """Return the changes of one of them."""
        return [c for c in self.changes if c.name == name]

    def _stand(self) -> dict[str, int]:
        plant = self.plant
        return {
            "lv": int(plant.lv_contactor.closed),
            "loop": int(plant.loop_contactor.closed),
            "selector": plant.resistance_selector.contact,
        }

    def _look(self) -> None:
        stands, t_s = self._stand(), self.plant.t / 1e9
        self.changes += [
            Change(t_s, name, stand) for name, stand in stands.items() if stand != self._stood[name]
        ]
        self._stood = stands
        if stands["selector"] and (stands["lv"] or stands["loop"] or self._is_live()):
            self.d_c_on_live.append(t_s)

    def _is_live(self) -> bool:
        solution, n = self.plant.solution(), self.plant.nameplate.ratio
        highest = max(abs(solution.bus), n * abs(solution.e_a), n * abs(solution.e_b))
        return max(highest, abs(solution.gap)) > LIVE_V


def marks(watched: Watched, name: str) -> list[float]:
    """Return the instants (s) of the marks of a name."""
    return [e.facts["at_s"] for e in watched.told("shows") if e.facts.get("mark") == name]


def findings(watched: Watched) -> list[str]:
    """Return the names of what was found, in order."""
    return [e.facts["name"] for e in watched.told("finding")]


def states(watched: Watched) -> list[str]:
    """Return the states that a run went through, in order."""
    return [e.facts["state"] for e in watched.told("state")]


def switched_by_people(expected: Expected) -> Procedure[LossReadings]:
    """Return the heat run of a stand on which people connect the resistance meter."""
    return heat_run(replace(expected, selector_positions=()), HeatRecord(expected))


FASTER = 10.0


def soon_steady() -> Scenario:
    """Return the shipped heat run on a plant a tenth as slow to warm, by the shortest rule."""
    shipped = shipped_heat_run()
    heat, plate = shipped.truth.thermal, shipped.pair.thermal
    assert heat is not None
    assert plate is not None
    heat = replace(heat, a=_faster(heat.a), b=_faster(heat.b), room=_faster_body(heat.room))
    plate = replace(plate, time_constant_s=plate.time_constant_s / FASTER)
    soak = replace(soak_of(shipped), standard="IEC 60076-11", time_limit_h=6.0, cooling_s=900.0)
    return replace(
        shipped,
        truth=replace(shipped.truth, thermal=heat),
        pair=replace(shipped.pair, thermal=plate),
        schedule=replace(shipped.schedule, soak=soak),
    )


def _faster(unit: TrueThermalUnit) -> TrueThermalUnit:
    assert unit.liquid is not None
    return replace(
        unit,
        lv=_faster_body(unit.lv),
        hv=_faster_body(unit.hv),
        core=_faster_body(unit.core),
        liquid=_faster_body(unit.liquid),
    )


Slow = TypeVar("Slow", TrueBody, TrueLiquid, TrueRoom)


def _faster_body(body: Slow) -> Slow:
    return replace(body, time_constant_s=body.time_constant_s / FASTER)
