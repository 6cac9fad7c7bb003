"""Who looks at the true plant at every instant at which it moves, and writes down what may not be.

What is looked for stands in `invariants`; here is what they look at.
"""

from collections import deque
from collections.abc import Mapping
from typing import Any, NamedTuple

from acquire.clock import S
from acquire.records import Event
from acquire.rehearsal import Rehearsal
from acquire.storm import invariants
from acquire.storm.patience import Patience
from acquire.storm.true_pair import TruePair
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from sequences.expected import HALF_IMPEDANCE_MARGIN

CONTACTORS = (LV, LOOP, SELECTOR)
REMEMBERED = 40  # writes to the outputs: more than one scan makes


class Violation(NamedTuple):
    """Which invariant did not hold, when it first didn't (stand time, s), and by how much."""

    invariant: str
    t_s: float
    value: float

    def __str__(self) -> str:
        """Return it as one line."""
        return f"{self.invariant} ({self.value:.4g}, at {self.t_s:.2f} s)"


class Stopped(NamedTuple):
    """When a run was first stopped, its category by now, and since when that is so."""

    t: int
    category: int
    since: int


class Witness:
    """Sees one plant through every program that runs on it.

    Shares are of rated. `bus` and `loop` are the true circuit's, `promised` the e.m.f. of the LV
    supply, each at the last look; `ran_away` by how much each regulator has moved by itself, and
    `on_its_way` those that began to while they were sent somewhere.
    `honest`: the procedure is the test's own.
    """

    def __init__(self, rehearsal: Rehearsal, *, honest: bool = True) -> None:
        self.honest = honest
        self.site, self.expected = rehearsal.site, rehearsal.expected
        self.plant = rehearsal.stand
        self.pair = TruePair(self.plant)
        self.patience = Patience(self.plant, self.expected)
        self.highest = dict.fromkeys(("bus", "loop", "closings"), 0.0)
        self.bus = self.loop = self.promised = 0.0
        self.closed = dict.fromkeys(CONTACTORS, False)
        self.changed_at = dict.fromkeys(CONTACTORS, 0)
        self.ran_away = dict.fromkeys((LV_REGULATOR, LOOP_REGULATOR), 0.0)
        self.on_its_way: set[str] = set()
        self.drifted_per_s: dict[str, float] = {}
        self.guard_shut_at = 0
        self.watchdog_dropped_at = self.opposed_at = -1
        self.meters_were_wrong = False
        self.was_sound = self.voltmeter_was_live = self.proven = False
        self._found: dict[str, Violation] = {}
        self._windows: dict[str, tuple[int, float]] = {}
        self._guard_opened_at: int | None = None
        self._at_rest = {LV_REGULATOR: 0.0, LOOP_REGULATOR: 0.0}
        self.half_impedance = self._half_impedance()
        self.begin(rehearsal)
        self.plant.moved, self.plant.written = self._look, self._written

    def begin(self, rehearsal: Rehearsal) -> None:
        """Begin to see another program on the same plant."""
        self.rehearsal: Rehearsal | None = rehearsal
        self.stopped: Stopped | None = None
        self.stage = ""
        self.read_open = False
        self.told_closed = dict.fromkeys(CONTACTORS, 0)
        self.told_closed_at = dict.fromkeys(CONTACTORS, -1)
        self.writes: deque[tuple[int, str, float]] = deque(maxlen=REMEMBERED)
        self.commanded = {c: getattr(self.plant, c).commanded for c in CONTACTORS}
        invariants.judge(self, invariants.AT_START)

    def gone(self) -> None:
        """The program is no more, by its end or without one."""
        self.rehearsal = None
        self.stopped = Stopped(self.plant.t, 0, self.plant.t)

    def heard(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        """Hear what the program tells, once its scan is over."""
        if kind == "stage":
            self.stage = facts["stage"]
        elif kind in {"trip", "finding"}:
            self._heard_stop(t, kind, facts)
        elif kind == "state" and facts["state"] in {"stopping", "aborting"}:
            self._stop(t, 0 if facts["state"] == "aborting" else 1)

    def _heard_stop(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        # A finding on the way, such as aiding, stops nothing: the state tells.
        if kind == "trip":
            # One that follows another finds everything opened, and slow outputs still writing.
            first = self.stopped is None or self.stopped.category > 0
            self._stop(t, facts["category"])
            if facts["category"] == 0 and first:
                invariants.judge(self, invariants.AT_CATEGORY_0)

    def _stop(self, t: int, category: int) -> None:
        if self.stopped is None:
            self.stopped = Stopped(t, category, t)
        elif category < self.stopped.category:
            self.stopped = Stopped(self.stopped.t, category, t)

    @property
    def violations(self) -> list[Violation]:
        """What was that may not be: each kind when it first was."""
        return list(self._found.values())

    def note(self, invariant: str, value: float) -> None:
        """Write down that an invariant does not hold."""
        found = Violation(invariant, self.plant.t / S, value)
        self._found.setdefault(invariant, found)

    def events(self) -> list[Event]:
        """Return what the record of the program that runs holds by now."""
        if self.rehearsal is None:
            return []
        return list(self.rehearsal.archive.events(self.rehearsal.recorder.run))

    def longer(self, what: str, true: bool, allowed_s: float | None) -> float | None:
        """Return for how long something has been so, s, once that is longer than it may be.

        None for `allowed_s`: nothing could see it or do anything about it; the time begins anew.
        """
        if not true or allowed_s is None:
            self._windows.pop(what, None)
            return None
        since, most = self._windows.get(what, (self.plant.t, 0.0))
        self._windows[what] = since, max(most, allowed_s)
        lasted = (self.plant.t - since) / S
        return lasted if lasted > max(most, allowed_s) else None

    def _half_impedance(self) -> float:
        """Return half the impedance voltage, share of rated, with its margin and one step."""
        regulator = self.expected.lv_regulator
        half = HALF_IMPEDANCE_MARGIN * self.expected.half_impedance_voltage_v
        step = regulator.resolution * regulator.full_voltage_v
        return (half + step) / self.plant.nameplate.lv_voltage_v

    def _look(self) -> None:
        plant, plate = self.plant, self.plant.nameplate
        solution = plant.solution()
        self.bus = abs(solution.bus) / plate.lv_voltage_v
        self.loop = abs(solution.loop) / plate.hv_current_a
        self.highest["bus"] = max(self.bus, self.highest["bus"])
        self.highest["loop"] = max(self.loop, self.highest["loop"])
        self._see_regulators()
        changed = self._see_contactors()
        self._see_guard()
        self._see_proofs()
        self.meters_were_wrong = self.meters_were_wrong or self.patience.any_believed_wrongly()
        for name in changed:
            after = invariants.ON_CLOSING if self.closed[name] else invariants.ON_OPENING
            invariants.judge_one(self, after, name)
        if any(self.closed.values()):
            invariants.judge(self, invariants.ALWAYS)
        elif self._windows:
            self._windows.clear()

    def _see_regulators(self) -> None:
        plant = self.plant
        full = self.expected.lv_regulator.full_voltage_v
        self.promised = plant.lv_regulator.share * full / plant.nameplate.lv_voltage_v
        for name, at in self._at_rest.items():
            regulator = getattr(plant, name)
            if regulator.drift_per_s:
                if abs(regulator.target - at) > self.expected.regulator(name).resolution:
                    self.on_its_way.add(name)
                self.drifted_per_s[name] = regulator.drift_per_s
                self.ran_away[name] = max(regulator.position - at, 0.0)
            elif self.ran_away[name] and regulator.position > at:
                self.ran_away[name] = regulator.position - at
            else:
                self.ran_away[name] = 0.0
                self.on_its_way.discard(name)
                self._at_rest[name] = regulator.position

    def _see_contactors(self) -> list[str]:
        if not (self.plant.lv_contactor.contact or self.plant.loop_contactor.contact):
            self.read_open = True
        changed = []
        for name in CONTACTORS:
            closed = getattr(self.plant, name).closed
            if closed != self.closed[name]:
                self.closed[name] = closed
                self.changed_at[name] = self.plant.t
                self.highest["closings"] += closed
                changed.append(name)
        return changed

    def _see_guard(self) -> None:
        """An opening that is over before anybody can have seen it is none."""
        plant = self.plant
        if not plant.watchdog.picked_up:
            self.watchdog_dropped_at = plant.t
        if not plant.guard:
            if self._guard_opened_at is None:
                self._guard_opened_at = plant.t
            seen_s = self.patience.seen_s("guard", 1)
            if seen_s is not None and plant.t - self._guard_opened_at > seen_s * S:
                self.guard_shut_at = plant.t
        else:
            self._guard_opened_at = None

    def _see_proofs(self) -> None:
        """What was so at some instant of a closed loop since the guard was last seen open."""
        if self.pair.opposed(self.expected.ratio_limit):
            self.opposed_at = self.plant.t
        if self.guard_shut_at == self.plant.t and not self.closed[LV]:
            self.was_sound = self.voltmeter_was_live = False
        elif self.closed[LOOP]:
            self.was_sound = self.was_sound or self.pair.sound()
            self.voltmeter_was_live = self.voltmeter_was_live or self.pair.voltmeter_live()
        shown = self.rehearsal is not None and self.rehearsal.cycle.evidence.loop is not None
        # Evidence may be gone before the contacts are open.
        self.proven = shown or (self.proven and self.closed[LOOP])

    def _written(self, output: str, value: float) -> None:
        self.writes.append((self.plant.t, output, value))
        invariants.judge_one(self, invariants.ON_WRITING, output)
        if output in CONTACTORS:
            told = value == 1
            if told and not self.commanded[output]:
                self.told_closed[output] += 1
                self.told_closed_at[output] = self.plant.t
                invariants.judge_one(self, invariants.ON_COMMAND, output)
            self.commanded[output] = told
        elif output == LV_REGULATOR:
            self._written_lv(value)

    def _written_lv(self, value: float) -> None:
        if value < self.plant.lv_regulator.target:
            invariants.judge(self, invariants.ON_LOWERING_LV)
