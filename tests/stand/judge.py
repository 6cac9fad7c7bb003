"""A judge of whole runs who sees the true circuit and nothing that an instrument says."""

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from functools import cached_property
from unittest.mock import patch

from acquire.archive import Archive
from acquire.records import Event
from acquire.rehearsal import Rehearsal
from acquire.storm.true_pair import METERS, TruePair
from drivers.outputs import LOOP, LV, SELECTOR
from sequences.expected import HALF_IMPEDANCE_MARGIN
from sequences.prompt import PREPARATION
from sequences.run import State

S = 1_000_000_000
WRONG_PAIR_CURRENT = 0.6  # of rated: aiding at half the impedance voltage drives 0.5
MOST_VOLTAGE = 1.1  # of rated
TRIP_CURRENT = 1.15  # of rated
UNSEEN_S = 0.01


class Judge:
    """Looks at the plant at every instant at which it moves, and writes down what may never be."""

    def __init__(self, rehearsal: Rehearsal, archive: Archive) -> None:
        self.rehearsal = rehearsal
        self.expected = rehearsal.expected
        self.plant = rehearsal.stand
        self.pair = TruePair(self.plant)
        self.highest = dict.fromkeys(("bus", "loop", "wrong_loop", "guard_s", "closings"), 0.0)
        self.looks = 0
        self._seen: dict[str, str] = {}
        self._archive = archive
        self._settle: Callable[[int], None] = self.plant._settle
        self._closed = dict.fromkeys((LV, LOOP, SELECTOR), False)
        self._closings = dict.fromkeys((LV, LOOP, SELECTOR), 0)
        self._since: dict[str, int] = {}
        self._proven = False
        self._shut_since = 0
        self._dropped_at = -1

    @property
    def violations(self) -> list[str]:
        """What was that may never be: each kind with when and how far it first was."""
        return [f"{words} ({first})" for words, first in self._seen.items()]

    def watching(self) -> AbstractContextManager[object]:
        """Return what makes the plant be looked at whenever it has moved."""
        return patch.object(self.plant, "_settle", self._look)

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
        solution = plant.solution()
        self._judge_voltage(abs(solution.bus) / plant.nameplate.lv_voltage_v)
        self._judge_current(abs(solution.loop) / plant.nameplate.hv_current_a, t)
        self._judge_contactors(t)

    def _judge_voltage(self, bus: float) -> None:
        self.highest["bus"] = max(bus, self.highest["bus"])
        if bus > MOST_VOLTAGE * METERS:
            self._note("LV bus above 1.1 of rated", bus)
        if bus > self._low and not self.pair.sound():
            self._note("LV bus above half the impedance voltage on a wrong pair", bus)
        promised = self._promised()
        if promised <= self._low:
            return
        if self._closed[LV] and not self.pair.voltmeter_live():
            self._note("LV above half the impedance voltage with a dead voltmeter", promised)
        opposed = self.pair.opposed(self.expected.ratio_limit) and self.pair.voltmeter_live()
        if self._closed[LOOP] and not opposed:
            self._note("LV above half the impedance voltage, loop closed, not opposed", promised)

    def _judge_current(self, loop: float, t: int) -> None:
        self.highest["loop"] = max(loop, self.highest["loop"])
        shown = self.rehearsal.cycle.evidence.loop is not None
        # Evidence may be gone before the contacts are open.
        self._proven = shown or (self._proven and self._closed[LOOP])
        if not (self.pair.sound() and self._proven):
            self.highest["wrong_loop"] = max(loop, self.highest["wrong_loop"])
            if loop > WRONG_PAIR_CURRENT:
                self._note("loop current above 60 % of rated on a pair that is not proven", loop)
        over = loop > TRIP_CURRENT * METERS
        if over and loop > self._ceiling():
            self._note("loop current above what its cap lets through", loop)
        over_s = self._lasting("loop current", over, t)
        if not over:
            return
        polls_s = self.expected.two_polls_ns("hv.current.1") / S
        if over_s > polls_s + self._acting_s():
            self._note("loop current above its trip for longer than that takes", over_s)

    def _judge_contactors(self, t: int) -> None:
        lv, loop = self._closed[LV], self._closed[LOOP]
        open_s = self._lasting("guard", not self.plant.guard and (lv or loop), t)
        self.highest["guard_s"] = max(open_s, self.highest["guard_s"])
        guard_s = self.expected.periods_s["guard"] + self.expected.latencies_s["guard"]
        if open_s > guard_s + self._acting_s():
            self._note("energised with the guard open for longer than its trip takes", open_s)
        alone_s = self._lasting("lv open under loop", loop and not lv, t)
        if alone_s > UNSEEN_S:
            self._note("LV contactor open under a closed loop contactor", alone_s)
        if self._closed[SELECTOR] and (lv or loop):
            self._note("resistance selector closed on a closed main contactor", 1.0)

    def _on_closing(self, name: str) -> None:
        self._closings[name] += 1
        self.highest["closings"] += 1
        if self.rehearsal.cycle.run.state is not State.RUNNING:
            self._note(f"{name} closed after a stop", 1.0)
        written = list(self._archive.events(self.rehearsal.recorder.run))
        intents = sum(e.kind == "intent" and e.facts["output"] == name for e in written)
        if self._closings[name] > intents:
            self._note(f"{name} closed with no intent in the archive", intents)
        regulator = {LV: self.plant.lv_regulator, LOOP: self.plant.loop_regulator}.get(name)
        if regulator is not None and regulator.position > self.expected.lv_regulator.zero_band:
            self._note(f"{name} closed onto a raised regulator", regulator.position)
        if name == LV:
            self._judge_preparation(written)

    def _judge_preparation(self, written: Sequence[Event]) -> None:
        """Since the guard shut: watchdog dropped, every prompt put as written and answered."""
        put: set[str] = set()
        answered: set[str] = set()
        for event in written:
            facts = event.facts
            if event.kind == "prompt" and event.t >= self._shut_since:
                row = (facts["id"], facts["asked"], facts["who"], facts["follows"])
                put = put | {row[0]} if row in PREPARATION else put - {row[0]}
            elif event.kind == "answer" and facts["value"] and facts["prompt"] in put:
                answered.add(facts["prompt"])
        if missing := len(PREPARATION) - len(answered):
            self._note("LV closed without every answer since the guard shut", missing)
        if self._dropped_at < self._shut_since:
            self._note("LV closed, the watchdog not dropped since the guard shut", 1.0)

    def _promised(self) -> float:
        """Return the e.m.f. that the LV regulator truly gives, per unit of rated."""
        full = self.expected.lv_regulator.full_voltage_v
        return self.plant.lv_regulator.share * full / self.plant.nameplate.lv_voltage_v

    @cached_property
    def _low(self) -> float:
        """Return half the impedance voltage, per unit of rated, with its margin and one step."""
        regulator = self.expected.lv_regulator
        half = HALF_IMPEDANCE_MARGIN * self.expected.half_impedance_voltage_v
        step = regulator.resolution * regulator.full_voltage_v
        return (half + step) / self.plant.nameplate.lv_voltage_v

    def _ceiling(self) -> float:
        """Return what the loop's cap lets through, where gap and supply both add to it."""
        plate = self.plant.nameplate
        drop = self.expected.loop_impedance_ohm * plate.hv_current_a
        gap = 2 * self.pair.ratio() * plate.hv_voltage_v
        source = self.expected.loop_regulator.source_ohm * plate.hv_current_a
        return TRIP_CURRENT * METERS**2 + (source + 2 * gap) / drop

    def _acting_s(self) -> float:
        """Return how long the program and a contactor take to act on what was published, s."""
        return self.expected.scan_period_s + self.plant.truth.contactor_open_s + UNSEEN_S

    def _lasting(self, what: str, true: bool, t: int) -> float:
        """Return for how long something has been true, s."""
        if not true:
            self._since.pop(what, None)
            return 0.0
        return (t - self._since.setdefault(what, t)) / S

    def _note(self, words: str, value: float) -> None:
        self._seen.setdefault(words, f"{value:.4g}, at {self.plant.t / S:.2f} s")
