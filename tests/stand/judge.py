"""A judge of whole runs who sees the true circuit and nothing that an instrument says."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from unittest.mock import patch

from acquire.archive import Archive
from acquire.records import Event
from acquire.rehearsal import Rehearsal
from drivers.outputs import LOOP, LV, SELECTOR
from drivers.simulated.circuit import OPPOSITION, Supplies, WiredPair
from sequences.expected import HALF_IMPEDANCE_MARGIN
from sequences.prompt import PREPARATION
from sequences.run import State

S = 1_000_000_000
WRONG_PAIR_CURRENT = 0.6  # of rated: aiding at half the impedance voltage drives 0.5
MOST_VOLTAGE = 1.1  # of rated
TRIP_CURRENT = 1.15  # of rated
METERS = 1.01  # what a class may hide
UNSEEN_S = 0.01
VOLTMETER_FROM, VOLTMETER_TO = 0.74, 1.26  # a multiplier beyond can't be taken for a right one


class Judge:
    """Looks at the plant at every instant at which it moves, and writes down what may never be."""

    def __init__(self, rehearsal: Rehearsal, archive: Archive) -> None:
        self.rehearsal = rehearsal
        self.plant = rehearsal.stand
        self.violations: list[str] = []
        self.looks = 0
        self.highest = dict.fromkeys(("bus", "loop", "guard_s", "closings", "wrong_loop"), 0.0)
        self._archive = archive
        self._settle: Callable[[int], None] = self.plant._settle
        self._closed = dict.fromkeys((LV, LOOP, SELECTOR), False)
        self._closings = dict.fromkeys((LV, LOOP, SELECTOR), 0)
        self._since: dict[str, int] = {}
        self._wired = (OPPOSITION, self._ratio())
        self._proven = False
        self._shut_since = 0
        self._dropped_at = -1

    def watching(self) -> AbstractContextManager[object]:
        """Return what makes the plant be looked at whenever it has moved."""
        return patch.object(self.plant, "_settle", self._look)

    def opposed(self) -> bool:
        """Return whether the pair truly is in opposition, r within its limit."""
        limit = 1.06 * self.rehearsal.expected.ratio_limit
        return self.sound() and self.ratio() <= limit

    def sound(self) -> bool:
        """Return whether twins stand in opposition, nothing open, shorted or linked."""
        w = self.plant.wiring
        wrong = w.aiding or w.hv_lead_open or w.lv_lead_open or w.link_left_on
        return not wrong and w.shorted_turn_percent is None

    def voltmeter_live(self) -> bool:
        """Return whether the series voltmeter reads what is there."""
        meter = self.plant.series_voltmeter
        return not meter.dead and VOLTMETER_FROM < meter.multiplier < VOLTMETER_TO

    def ratio(self) -> float:
        """Return the true r at rated voltage."""
        if self._wired[0] != self.plant.wiring:
            self._wired = (self.plant.wiring, self._ratio())
        return self._wired[1]

    def _ratio(self) -> float:
        plant = self.plant
        rated = complex(plant.nameplate.lv_voltage_v)
        solved = WiredPair(plant.pair, plant.wiring).solve(Supplies(rated, None, True, False))
        return abs(solved.gap) / (2 * plant.nameplate.ratio * abs(solved.bus))

    def _look(self, t: int) -> None:
        self._settle(t)
        self.looks += 1
        plant = self.plant
        for name, contactor in (
            (LV, plant.lv_contactor),
            (LOOP, plant.loop_contactor),
            (SELECTOR, plant.resistance_selector),
        ):
            if contactor.closed != self._closed[name]:
                self._closed[name] = contactor.closed
                if contactor.closed:
                    self._on_closing(name)
        if not plant.guard:
            self._shut_since = t
        if not plant.watchdog.picked_up:
            self._dropped_at = t
        self._judge_levels(t)
        lv, loop = self._closed[LV], self._closed[LOOP]
        trip_s = 1.0 + 0.2 + 0.15 + self.plant.truth.contactor_open_s + UNSEEN_S
        open_s = self._lasting("guard", not plant.guard and (lv or loop), t)
        self.highest["guard_s"] = max(open_s, self.highest["guard_s"])
        if open_s > trip_s:
            self._note(f"energised for {open_s:.2f} s with the guard open")
        if self._lasting("lv open under loop", loop and not lv, t) > UNSEEN_S:
            self._note("LV contactor open under a closed loop contactor")
        if self._closed[SELECTOR] and (lv or loop):
            self._note("resistance selector closed on a closed main contactor")

    def _judge_levels(self, t: int) -> None:
        solution, plate = self.plant.solution(), self.plant.nameplate
        bus = abs(solution.bus) / plate.lv_voltage_v
        loop = abs(solution.loop) / plate.hv_current_a
        self.highest["bus"] = max(bus, self.highest["bus"])
        self.highest["loop"] = max(loop, self.highest["loop"])
        if bus > MOST_VOLTAGE * METERS:
            self._note(f"LV bus at {bus:.3f} of rated")
        if bus > self._low_share() and not self.sound():
            self._note(f"LV bus at {bus:.4f} of rated on a wrong pair")
        if self._closed[LV] and self._promised() > self._low_share() and not self.voltmeter_live():
            self._note(f"LV promised {self._promised():.4f} of rated with a dead voltmeter")
        shown = self.rehearsal.cycle.evidence.loop is not None
        self._proven = shown or (self._proven and self._closed[LOOP])
        if not self.sound() or not self._proven:
            self.highest["wrong_loop"] = max(loop, self.highest["wrong_loop"])
            if loop > WRONG_PAIR_CURRENT:
                self._note(f"loop current at {loop:.2f} of rated on a pair that is not proven")
        if loop > self._ceiling():
            self._note(f"loop current at {loop:.2f} of rated, at most {self._ceiling():.2f}")
        over_s = self._lasting("loop current", loop > TRIP_CURRENT * METERS, t)
        if over_s > 2 * 1.0 + 0.8 + 1.0 + self.plant.truth.contactor_open_s + UNSEEN_S:
            self._note(f"loop current above its trip for {over_s:.1f} s")

    def _on_closing(self, name: str) -> None:
        self._closings[name] += 1
        self.highest["closings"] += 1
        run = self.rehearsal.cycle.run
        if run.state is not State.RUNNING:
            self._note(f"{name} closed in state {run.state}")
        written = list(self._archive.events(self.rehearsal.recorder.run))
        intents = sum(e.kind == "intent" and e.facts["output"] == name for e in written)
        if self._closings[name] > intents:
            self._note(f"{name} closed with no intent in the archive")
        if name == LV:
            self._judge_preparation(written)
        opposed = self.opposed() and self.voltmeter_live()
        if name == LOOP and not opposed and self._promised() > self._low_share():
            self._note(f"loop closed, LV at {self._promised():.4f} of rated, not in opposition")
        if name == LV and self.plant.lv_regulator.position > self._zero_band():
            self._note("LV closed onto a raised regulator")

    def _judge_preparation(self, written: list[Event]) -> None:
        """Since the guard shut: watchdog dropped, every prompt put as written and answered."""
        put: dict[str, int] = {}
        answered: set[str] = set()
        for event in written:
            if event.t >= self._shut_since and event.kind == "prompt":
                row = tuple(event.facts[key] for key in ("id", "asked", "who", "follows"))
                if row in PREPARATION:
                    put[row[0]] = event.t
                else:
                    put.pop(row[0], None)
            if event.kind == "answer" and event.facts["prompt"] in put and event.facts["value"]:
                answered.add(event.facts["prompt"])
        if missing := [row[0] for row in PREPARATION if row[0] not in answered]:
            self._note(f"LV closed without an answer to {missing[0]} since the guard shut")
        if self._dropped_at < self._shut_since:
            self._note("LV closed, and the watchdog has not dropped since the guard shut")

    def _promised(self) -> float:
        """The e.m.f. that the LV regulator truly gives, per unit of rated."""
        return self.plant.lv_regulator.share * self._full_lv() / self.plant.nameplate.lv_voltage_v

    def _zero_band(self) -> float:
        return self.plant.stand.outputs.lv_regulator.zero_band

    def _full_lv(self) -> float:
        return self.plant.stand.outputs.lv_regulator.full_voltage_v

    def _low_share(self) -> float:
        """Half the impedance voltage, per unit of rated, with the margin and one position step."""
        step = self.rehearsal.expected.lv_regulator.resolution * self._full_lv()
        half = HALF_IMPEDANCE_MARGIN * self.rehearsal.expected.half_impedance_voltage_v
        return (half + step) / self.plant.nameplate.lv_voltage_v

    def _ceiling(self) -> float:
        """What the cap of the loop's raise lets through: gap and supply may both add to it."""
        expected, plate = self.rehearsal.expected, self.plant.nameplate
        drop = expected.loop_impedance_ohm * plate.hv_current_a
        gap = self.ratio() * 2 * plate.hv_voltage_v
        source = expected.loop_regulator.source_ohm * plate.hv_current_a
        return TRIP_CURRENT * 1.04 + (source + 2 * gap) / drop

    def _lasting(self, what: str, true: bool, t: int) -> float:
        """Return for how long something has been true, s."""
        if not true:
            self._since.pop(what, None)
            return 0.0
        return (t - self._since.setdefault(what, t)) / S

    def _note(self, words: str) -> None:
        at = f"{self.plant.t / S:.2f} s"
        if len(self.violations) < 20:
            self.violations.append(f"{at}: {words}")
