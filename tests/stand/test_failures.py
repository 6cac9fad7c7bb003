"""What fails while the stand is live: the procedure, the scan, the whole process.

Contactors are out, the run ends as the state table says, the record is readable and whole.
"""

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from acquire.archive import FILE, Archive
from acquire.records import Event
from sequences.expected import Expected
from sequences.loss_test import loss_test
from sequences.prompt import MAKING_SAFE
from sequences.scan import Procedure, Wait
from tests.stand.conftest import STAGES, Watch, Watched
from tests.stand.hands import left_alone, open_soon


class Planted(Exception):
    """What the tests plant."""


class Failing:
    """The loss test, which fails some scans after it has entered a stage."""

    def __init__(self, stage: str, scans: int) -> None:
        self._stage = stage
        self._scans = scans

    def __call__(self, expected: Expected) -> Procedure[Any]:
        """Return the procedure, for Rehearsal."""
        inner = loss_test(expected)
        request, left = next(inner), None
        while True:
            if isinstance(request, Wait) and request.stage == self._stage:
                left = self._scans
            if left is not None:
                left -= 1
                if left < 0:
                    raise Planted(self._stage)
            scan = yield request
            request = inner.send(scan)


class TestProcedure:
    @pytest.mark.parametrize("scans", [1, 7])
    @pytest.mark.parametrize("stage", STAGES)
    def test_an_exception_in_any_stage_stops_the_run(
        self, watch: Watch, stage: str, scans: int
    ) -> None:
        """A category 1 stop, current before voltage, stopped; the record says what it was."""
        watched = watch(procedure=Failing(stage, scans))
        plant = watched.plant
        loop, current = False, 0.0
        for _scan in watched.scans():
            if watched.state != "running" and loop and not plant.loop_contactor.closed:
                assert current < 0.05
                assert plant.lv_contactor.closed
            loop, current = plant.loop_contactor.closed, plant.true_state().loop
        outcome = watched.finish()
        assert (outcome.state, outcome.end, outcome.stage) == ("stopped", "stopped", stage)
        assert outcome.finding is not None
        assert outcome.finding["name"] == "procedure_fault"
        assert outcome.finding["seen"] == f"Planted: {stage}"
        assert not plant.lv_contactor.closed
        assert not plant.loop_contactor.closed
        assert plant.lv_regulator.position == plant.loop_regulator.position == 0
        assert watched.archive.verify(outcome.run).faults == ()
        assert watched.archive.run(outcome.run).end == "stopped"


class TestScan:
    def test_one_that_fails_opens_everything_and_ends_the_process(self, watch: Watch) -> None:
        """A fault of the program outside the procedure leaves nothing live behind."""
        watched = watch()
        watched.until_stage("load_readings", 2)

        def failing(*_: object) -> None:
            raise Planted

        watched.rehearsal.cycle.protection.check = failing  # type: ignore[method-assign,assignment]  # this run alone
        with pytest.raises(Planted):
            watched.go_on(1)
        assert not watched.plant.lv_contactor.commanded
        assert not watched.plant.loop_contactor.commanded
        assert open_soon(watched.plant)
        watched.rehearsal.close()
        assert [r.end for r in watched.archive.close_abandoned()] == ["aborted"]


class Abandoned:
    """Takes a run as it stands on the disk at many instants, and what becomes of its plant."""

    def __init__(self, watched: Watched, folder: Path) -> None:
        self._watched = watched
        self._folder = folder
        self.taken: list[tuple[Path, int, int]] = []
        self.live: list[int] = []
        self.were_live = 0

    def look(self) -> None:
        """See that the plant left alone from here on is dead within relay and opening time."""
        plant = self._watched.plant
        after = left_alone(plant, plant.stand.watchdog.drop_s + plant.truth.contactor_open_s)
        if plant.lv_contactor.closed:
            self.were_live += 1
        if after.lv_contactor.closed or after.loop_contactor.closed:
            self.live.append(plant.t)

    def take(self, event: int) -> None:
        """Copy the archive's files as a process that ends here would leave them."""
        to = self._folder / str(len(self.taken))
        to.mkdir(parents=True)
        for part in self._watched.archive.folder.glob(f"{FILE}*"):
            if not part.name.endswith("-shm"):
                shutil.copy(part, to)
        self.taken.append((to, event, self._watched.rehearsal.recorder.committed))


class TestProcess:
    def test_ended_at_any_event_it_leaves_a_dead_stand_and_a_whole_record(
        self, watch: Watch, tmp_path: Path
    ) -> None:
        """After each event: contactors out by the watchdog alone, nothing committed is lost."""
        watched = watch()
        abandoned = Abandoned(watched, tmp_path / "abandoned")
        recorder = watched.rehearsal.recorder
        commit, events = recorder.event, 0

        def event(t: int, kind: str, facts: Mapping[str, Any]) -> int:
            nonlocal events
            abandoned.look()
            committed = commit(t, kind, facts)
            events += 1
            if events % 3 == 0:
                abandoned.take(events)
            return committed

        recorder.event = event  # type: ignore[method-assign]  # a spy on this run alone
        for _scan in watched.scans():
            abandoned.look()
        outcome = watched.finish()
        assert outcome.state == "complete"
        assert abandoned.live == []
        assert abandoned.were_live > 50
        whole = list(watched.archive.events(outcome.run))
        assert len(abandoned.taken) > 20
        for folder, written, rows in abandoned.taken:
            assert_ends_aborted(folder, whole[: written + 1], rows)


def assert_ends_aborted(folder: Path, events: list[Event], rows: int) -> None:
    """The next start ends the run; what was committed is there, and all of it holds together."""
    with Archive(folder) as archive:
        assert [r.end for r in archive.close_abandoned()] == ["aborted"]
        run = archive.run(1)
        assert (run.state, run.verdict, run.result) == ("aborted", None, None)
        found = list(archive.events(1))
        assert found[: len(events)] == events
        assert [e.kind for e in found[len(events) :]] == ["run.abandoned", "run.sealed"]
        verification = archive.verify(1)
        assert verification.faults == ()
        assert verification.polls + len(events) == rows


KILLED = """
import os, signal, sys
from pathlib import Path
from acquire.archive import Archive
from acquire.configuration import load_scenario
from acquire.rehearsal import Rehearsal

def die(t, kind, facts):
    print(kind, flush=True)
    if facts.get("stage") == "circulate":
        os.kill(os.getpid(), signal.SIGKILL)

scenario = load_scenario("distribution_pair", "loss_test")
Rehearsal(scenario, seed=1, archive=Archive(Path(sys.argv[1])), observer=die).finish()
"""


@pytest.mark.skipif(os.name != "posix", reason="kills a process as only POSIX does")
def test_killed_outright_it_leaves_every_event_that_it_told_of_but_the_last(
    tmp_path: Path,
) -> None:
    """A process that is gone between two instructions: its run is ended by the next start."""
    command = [sys.executable, "-c", KILLED, str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == -signal.SIGKILL
    told = done.stdout.split()
    with Archive(tmp_path) as archive:
        assert [r.end for r in archive.close_abandoned()] == ["aborted"]
        kinds = [e.kind for e in archive.events(1)]
        assert kinds == [*told[:-1], "run.abandoned", "run.sealed"]
        assert archive.verify(1).faults == ()


class TestContactsAtTheEnd:
    """Nobody reads the contacts in the very scan in which the last prompt is answered."""

    def silent(self, watch: Watch) -> Watched:
        watched = watch()
        prompts = [row[0] for row in MAKING_SAFE]
        watched.until(lambda _scan: [e.facts["id"] for e in watched.told("prompt")][-3:] == prompts)
        watched.plant.silent.add("contacts")
        watched.until(lambda scan: any(a.prompt == prompts[-1] for a in scan.answers))
        watched.go_on(3.0)
        return watched

    def test_an_answer_that_is_lost_is_waited_for(self, watch: Watch) -> None:
        watched = self.silent(watch)
        watched.plant.silent.clear()
        assert watched.finish().end == "complete"

    def test_contacts_that_are_read_no_more_are_a_finding(self, watch: Watch) -> None:
        """Nobody sees the stop's own openings either: it may be live until somebody looks."""
        outcome = self.silent(watch).finish()
        assert (outcome.end, outcome.may_be_live) == ("aborted", True)
        assert outcome.finding is not None
        assert outcome.finding["name"] == "contactor_not_open"
