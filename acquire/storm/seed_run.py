"""One seed from its start to its last end: run, crash, run again, and judge what remains."""

import tempfile
import traceback
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from acquire.archive import Archive
from acquire.clock import S, VirtualClock
from acquire.configuration import Scenario
from acquire.database import ArchiveError
from acquire.fault_schedule import Crashed
from acquire.outcome import RunOutcome
from acquire.rehearsal import Rehearsal
from acquire.restart import restarted
from acquire.storm import ends
from acquire.storm.drawing import Drawn, draw
from acquire.storm.heat_drawing import draw_heat
from acquire.storm.heat_ends import judge_heat
from acquire.storm.wild import Wild
from acquire.storm.witness import Witness
from sequences.expected import Expected
from sequences.procedures import procedure_of, record_of
from sequences.scan import Procedure

Story = Callable[[int, str, Mapping[str, Any]], None]
LONGEST_S = 3 * 3600  # of stand time: whatever lasts longer goes on for ever
LONGEST_HEAT_S = 10 * 3600
AFTERWARDS_S = 60
MOST_PROGRAMS = 6


@dataclass(frozen=True)
class SeedOutcome:
    """What came of one seed; `began` says which fault began in which stage.

    `over_k` is how far a temperature ever was over the schedule's limit, K; None: none can be.
    """

    seed: int
    kind: str
    asks_at_random: bool
    faults: tuple[str, ...]
    ends: tuple[str, ...]
    stand_s: float
    began: tuple[tuple[str, str], ...]
    violations: tuple[str, ...]
    hashes: tuple[str, ...] = field(default=())
    over_k: float | None = None

    @property
    def failed(self) -> bool:
        """Whether an invariant did not hold."""
        return bool(self.violations)


def in_memory() -> str | None:
    """Return a folder in memory where there is one: the archive forces every event to the disk."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


def run_seed(
    seed: int, base: Scenario, faults: Sequence[str] | None = None, story: Story | None = None
) -> SeedOutcome:
    """Draw a seed and run it; with `faults` it is given those instead of its own."""
    heats = base.schedule.procedure == "heat_run"
    drawn = draw_heat(seed, base) if heats else draw(seed, base)
    if faults is not None:
        drawn = replace(drawn, faults=tuple(faults))
    with tempfile.TemporaryDirectory(dir=in_memory()) as folder, Archive(Path(folder)) as archive:
        try:
            return SeedRun(drawn, archive, story).run()
        except Exception as error:  # whatever leaves the program is the program's
            return _escaped(drawn, error)


def _escaped(drawn: Drawn, error: Exception) -> SeedOutcome:
    where = traceback.extract_tb(error.__traceback__)[-1]
    words = f"nothing_escapes_the_program: {type(error).__name__}: {error}"
    words = f"{words} (in {where.name} of {Path(where.filename).name})"
    random = bool(drawn.acts)
    return SeedOutcome(
        drawn.seed, drawn.kind, random, drawn.faults, ("escaped",), 0.0, (), (words,)
    )


class SeedRun:
    """The programs that run on one seed's plant, one after another."""

    def __init__(self, drawn: Drawn, archive: Archive, story: Story | None) -> None:
        self._drawn, self._archive = drawn, archive
        self._story = story or (lambda _t, _kind, _facts: None)
        self._heats = drawn.scenario.schedule.procedure == "heat_run"
        self._wild = Wild(drawn.acts, self._test)
        self._witness: Witness | None = None
        self._untold: list[tuple[int, str, Mapping[str, Any]]] = []
        self._began: list[tuple[str, str]] = []
        self._reached: set[str] = set()
        self._stage = ""
        self._ends: list[str] = []
        self._hashes: list[str] = []

    def run(self) -> SeedOutcome:
        """Run every program to its end, and see what remains of each."""
        rehearsal = self._first()
        witness = self._witness = Witness(rehearsal, honest=not self._drawn.acts)
        for told in self._untold:
            witness.heard(*told)
        for _ in range(MOST_PROGRAMS):
            outcome = self._to_its_end(rehearsal, witness)
            if outcome is not None or not self._ends[-1].startswith("crashed"):
                break
            rehearsal = self._again(rehearsal, witness)
        self._afterwards(rehearsal, witness)
        drawn = self._drawn
        return SeedOutcome(
            drawn.seed,
            drawn.kind,
            bool(drawn.acts),
            drawn.faults,
            tuple(self._ends),
            rehearsal.clock.now() / S,
            tuple(self._began),
            tuple(str(v) for v in witness.violations),
            tuple(self._hashes),
            witness.heat.highest_over_k if witness.heat is not None else None,
        )

    def _first(self) -> Rehearsal:
        drawn = self._drawn
        procedure = self._procedure if drawn.acts else None
        rehearsal = Rehearsal(
            drawn.scenario,
            seed=drawn.seed,
            archive=self._archive,
            faults=drawn.faults,
            observer=self._observe,
            procedure=procedure,
        )
        self._wild.rehearsal = rehearsal
        drawn.plant.wire(rehearsal.stand, rehearsal.site.hands)
        return rehearsal

    @staticmethod
    def _test(expected: Expected) -> Procedure[Any]:
        return procedure_of(expected, record_of(expected))

    def _procedure(self, expected: Expected) -> Procedure[Any]:
        return self._wild.procedure(expected)

    def _observe(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        self._story(t, kind, facts)
        if self._witness is None:
            self._untold.append((t, kind, facts))
        else:
            self._witness.heard(t, kind, facts)
        if kind == "stage":
            self._stage = facts["stage"]
        elif kind == "state":
            self._stage = facts["state"]
        elif kind == "simulated.fault":
            self._fault(facts["name"], facts["happening"])

    def _fault(self, name: str, happening: str) -> None:
        """A fault behind the guard began when the guard was opened for it."""
        if happening == "the guard is opened for it":
            self._reached.add(name)
        elif happening != "begins" or name in self._reached:
            return
        self._began.append((name, self._stage or "prepare"))

    def _to_its_end(self, rehearsal: Rehearsal, witness: Witness) -> RunOutcome | None:
        """Run one program to its end; return None where it had none."""
        longest_s = LONGEST_HEAT_S if self._heats else LONGEST_S
        latest = rehearsal.clock.now() + longest_s * S
        outcome = None
        try:
            for scan in rehearsal.scans():
                if scan.now > latest:
                    witness.note("a_run_comes_to_an_end", longest_s)
                    break
            else:
                outcome = rehearsal.finish()
        except Crashed as crash:
            self._ends.append(f"crashed in {self._stage or 'prepare'}")
            self._began.append((str(crash), self._stage or "prepare"))
        except ArchiveError:
            self._ends.append("its end could not be written")
        if outcome is not None:
            self._ends.append(_words(outcome))
            self._hashes += [outcome.readings_sha256, outcome.events_sha256]
            ends.judge_end(witness, rehearsal, outcome, self._drawn)
            if witness.heat is not None:
                judge_heat(witness, witness.heat, rehearsal, outcome)
        elif not self._ends:
            self._ends.append("no end")
        return outcome

    def _again(self, rehearsal: Rehearsal, witness: Witness) -> Rehearsal:
        """Have the program start again on the same plant."""
        committed = rehearsal.recorder.committed
        witness.gone()
        self._wild, self._stage = Wild(self._drawn.acts, self._test), ""
        down = round(self._drawn.down_s * S)
        if witness.heat is not None:
            witness.heat.down_s = self._drawn.down_s
        without_program(rehearsal.clock, rehearsal.clock.now() + down)
        again = restarted(rehearsal, 0.0)
        self._wild.rehearsal = again
        ends.judge_abandoned(witness, self._archive, rehearsal.recorder.run, committed)
        witness.begin(again)
        return again

    def _afterwards(self, rehearsal: Rehearsal, witness: Witness) -> None:
        """The program is gone; the plant stands as it was left, and the record is read back."""
        committed = rehearsal.recorder.committed
        witness.gone()
        rehearsal.close()
        rehearsal.site.faults.tell = lambda _t, _kind, _facts: None
        rehearsal.site.operator.forget()
        until = rehearsal.clock.now() + AFTERWARDS_S * S
        without_program(rehearsal.clock, until)
        rehearsal.stand.advance(until)
        run = rehearsal.recorder.run
        if self._archive.run(run).end is None:
            self._archive.close_abandoned()
            ends.judge_abandoned(witness, self._archive, run, committed)
        else:
            ends.judge_record(witness, self._archive, run, committed)


def without_program(clock: VirtualClock, until: int) -> None:
    """Let time pass; a crash that is due has no program to end."""
    while clock.now() < until:
        with suppress(Crashed):
            clock.without_program(until)


def _words(outcome: RunOutcome) -> str:
    finding = outcome.finding["name"] if outcome.finding else outcome.verdict or "no verdict"
    live = ", may be live" if outcome.may_be_live else ""
    return f"{outcome.state}: {finding}{live}"
