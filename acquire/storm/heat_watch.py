"""What a witness of a heat run sees beside the circuit: true temperatures, and what they rest on.

Sampled every few seconds of stand time, which is little against what any of it takes to change.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from acquire.clock import S
from acquire.storm import heat_invariants
from drivers.simulated.thermal.unit import LiquidUnit

if TYPE_CHECKING:
    from acquire.storm.witness import Witness

LOOK_S = 5.0
AS_LOADED = 0.05  # of rated, that a loop current may be off and still be rated current


class TrueUnit(NamedTuple):
    """One unit as it truly is, degC; of a dry one liquid is the room's air."""

    winding_lv_c: float
    winding_hv_c: float
    top_c: float
    average_c: float
    hot_spot_c: float
    lv_current: float


class Sample(NamedTuple):
    """One look: stand time in s, both units, the room (degC); bus and loop as shares of rated."""

    t_s: float
    a: TrueUnit
    b: TrueUnit
    room_c: float
    bus: float
    loop: float

    @property
    def loaded(self) -> bool:
        """Whether rated voltage and current stand together."""
        return abs(self.bus - 1) <= AS_LOADED and abs(self.loop - 1) <= AS_LOADED


class HeatWatch:
    """Samples of one plant through every program that runs on it.

    `anew_s` are the instants at which steadiness has to begin anew by what was told: the soak
    begins, a hold is over. `sensors_were_wrong` once any temperature was not that of its place
    while it could matter. `highest_over_k` is how far any true temperature was ever over the
    schedule's limit.
    """

    def __init__(self, at: Witness) -> None:
        self._at = at
        self.samples: list[Sample] = []
        self.anew_s: list[float] = []
        self.marks: dict[str, float] = {}
        self.gap_s: float | None = None
        self.down_s = 0.0
        self.warmed_k = 0.0
        self.sensors_were_wrong = False
        self.highest_over_k = 0.0
        self._next = 0

    @property
    def now(self) -> Sample:
        """The newest sample."""
        return self.samples[-1]

    def heard(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        """Hear what the program tells."""
        if kind == "state" and facts["state"] == "restarting":
            self.anew_s.append(t / S)
        elif kind == "run.started":
            self.gap_s, self.marks = None, {}
        elif kind == "shows" and "mark" in facts:
            self.marks[facts["mark"]] = facts["at_s"]
            if facts["mark"] in {"soak", "warmed_up"}:
                self.anew_s.append(facts["at_s"])
            elif facts["mark"] == "continues":
                self.gap_s = facts["gap_s"]

    def look(self) -> None:
        """Take a sample when it is time to, and judge it."""
        plant = self._at.plant
        if plant.t < self._next:
            return
        self._next = plant.t + round(LOOK_S * S)
        heat = plant.thermal
        assert heat is not None
        solution, plate = plant.solution(), plant.nameplate
        units = {
            name: TrueUnit(
                unit.winding_lv_c,
                unit.winding_hv_c,
                unit.top_liquid_c if isinstance(unit, LiquidUnit) else heat.room.temperature_c,
                unit.average_liquid_c if isinstance(unit, LiquidUnit) else heat.room.temperature_c,
                unit.hot_spot_c,
                abs(getattr(solution, f"i_{name}")) / plate.lv_current_a,
            )
            for name, unit in heat.units.items()
        }
        sample = Sample(
            plant.t / S,
            units["a"],
            units["b"],
            heat.room.temperature_c,
            self._at.bus,
            self._at.loop,
        )
        self.samples.append(sample)
        if self._at.stage == "load_readings":
            warmest = max(max(u.winding_lv_c, u.winding_hv_c) for u in units.values())
            self.warmed_k = warmest - plant.truth.room_temperature_c
        if plant.temperatures_c or plant.out_of_pocket:
            self.sensors_were_wrong = True
        heat_invariants.judge(self._at, self)

    def since_loaded_s(self, before_s: float) -> float:
        """Return the last instant before `before_s` at which no rated load stood, s."""
        return max((s.t_s for s in self.samples if s.t_s < before_s and not s.loaded), default=0.0)

    def between(self, from_s: float, to_s: float) -> list[Sample]:
        """Return the samples of an interval."""
        return [s for s in self.samples if from_s <= s.t_s <= to_s]

    def last_before(self, t_s: float) -> Sample:
        """Return the last sample before an instant."""
        return next(s for s in reversed(self.samples) if s.t_s <= t_s)
