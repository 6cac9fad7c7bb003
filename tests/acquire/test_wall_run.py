"""A run on the wall clock: its scans, its threads, its stops. Figures are in benchmarks/."""

import shutil
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from acquire.archive import Archive
from acquire.clock import S, WallClock
from acquire.ending import UnrecordedEnd
from acquire.wall_run import WallRun, whole_periods
from drivers.link import ConnectionLost
from drivers.outputs import LV
from drivers.reading import NO_READING_YET
from sequences.expected import Expected
from sequences.prompt import OPERATOR_ABORT, OPERATOR_STOP, Answer
from sequences.scan import Procedure, Scan, Wait
from tests.acquire.wired import SaysYes, WiredStand, unhurried

SCANS = 25
MOST_SCANS = 600
POLLS = 3


class Stage:
    """A wall run on the wired stand, what it told, and its end."""

    def __init__(self, folder: Path, speed: float, procedure: Any = None) -> None:
        self.clock = WallClock(speed=speed)
        self.wired = WiredStand(unhurried(), self.clock)
        self.asker = SaysYes()
        self.told: list[tuple[str, Mapping[str, Any]]] = []
        self.each: Callable[[Scan], None] = lambda _scan: None
        self.archive = Archive(folder)
        self._procedure = procedure
        self.run: WallRun

    def begin(self) -> WallRun:
        self.run = WallRun(
            unhurried(),
            archive=self.archive,
            links=self.wired,
            clock=self.clock,
            asker=self.asker,
            observer=lambda _t, kind, facts: self.told.append((kind, facts)),
            watch=lambda scan, _run: self.each(scan),
            procedure=self._procedure,
        )
        return self.run

    def say(self, prompt: str) -> None:
        now = self.clock.now()
        self.asker.more.append(Answer(prompt, "somebody", "test", now, True, now))

    def dead(self) -> bool:
        """Whether nothing is energised in truth."""
        plant = self.wired.plant
        plant.advance(self.clock.now() + S)
        solution = plant.solution()
        return abs(solution.bus) + abs(solution.loop) < 1e-6


Staged = Callable[..., Stage]


@pytest.fixture(name="staged")
def _staged(tmp_path: Path) -> Iterator[Staged]:
    stages: list[Stage] = []

    def make(speed: float = 20.0, procedure: Any = None) -> Stage:
        stages.append(Stage(tmp_path, speed, procedure))
        return stages[-1]

    yield make
    for stage in stages:
        stage.wired.released.set()
        stage.archive.close()


def polled(stage: Stage) -> bool:
    """Whether all but the ill instrument have been polled often enough."""
    counts = [o.polls for o in stage.run.owners if o.instrument.name != "hv_analyser"]
    return min(counts) >= POLLS


def watching(
    scans: int, until: Callable[[], bool] = lambda: True
) -> Callable[[Expected], Procedure[None]]:
    """Return a procedure that looks on for so many scans, then until something, not for ever."""

    def steps(_expected: Expected) -> Procedure[None]:
        seen = 0
        scan = yield Wait()
        while seen < MOST_SCANS and (seen < scans or scan.value(LV) is None or not until()):
            scan = yield Wait()
            seen += 1

    return steps


@pytest.mark.parametrize(
    ("late_s", "missed", "due_s"),
    [(0.0, 0, 10.1), (0.09, 0, 10.1), (0.1, 1, 10.2), (7.25, 72, 17.3)],
)
def test_a_late_scan_leaves_out_what_it_missed_and_keeps_the_grid(
    late_s: float, missed: int, due_s: float
) -> None:
    now = 10 * S + round(late_s * S)
    assert whole_periods(10 * S, now, S // 10) == (missed, round(due_s * S))


@pytest.mark.parametrize("ill", ["hung", "spinning"])
def test_an_ill_instrument_delays_neither_the_scan_nor_the_others(staged: Staged, ill: str) -> None:
    stage = staged(procedure=watching(SCANS, lambda: polled(stage)))
    getattr(stage.wired, ill).add("hv_analyser")
    run = stage.begin()
    outcome = run.finish()
    run.close()
    assert outcome.end == "complete"
    last = run.cycle.last
    assert last.image["hv.current.1"].reason == NO_READING_YET
    assert last.image["lv.current.1"].value is not None
    polls = {owner.instrument.name: owner.polls for owner in run.owners}
    assert polls.pop("hv_analyser") == 0
    # An ill one that held up the others would leave them without, however long the run looks on.
    assert min(polls.values()) >= POLLS
    assert run.lateness.scans >= SCANS


def test_a_link_that_is_cut_and_comes_back_is_opened_and_identified_without_a_restart(
    staged: Staged,
) -> None:
    stage = staged(procedure=watching(60))
    stage.wired.gone.add("lv_analyser")

    def mend(scan: Scan) -> None:
        if scan.number == 20:
            stage.wired.gone.clear()

    stage.each = mend
    run = stage.begin()
    run.finish()
    run.close()
    assert ("fault.cleared", {"instrument": "lv_analyser"}) in stage.told
    assert run.cycle.last.image["lv.voltage.1"].value is not None


def test_lateness_is_in_the_record(staged: Staged) -> None:
    stage = staged(procedure=watching(5))
    run = stage.begin()
    outcome = run.finish()
    run.close()
    facts = next(e.facts for e in stage.archive.events(outcome.run) if e.kind == "scan.lateness")
    assert facts == run.lateness.facts()
    assert stage.archive.verify(outcome.run).whole


def test_what_held_scans_up_is_in_the_record_and_in_the_words_of_what_then_trips(
    staged: Staged,
) -> None:
    stage = staged(procedure=watching(SCANS))

    def hang(scan: Scan) -> None:
        if scan.number == 5:
            stage.clock.wait_until(scan.now + 3 * S)
            stage.say(OPERATOR_STOP)

    stage.each = hang
    run = stage.begin()
    outcome = run.finish()
    run.close()
    assert outcome.finding is not None
    late_s = max(facts["late_s"] for kind, facts in stage.told if kind == "held_up")
    assert late_s >= 2.0
    assert f"held up for {late_s:.1f} s until 0.0 s before" in outcome.finding["seen"]


@pytest.mark.parametrize(
    ("asks", "end", "finding"),
    [
        ((OPERATOR_STOP,), "stopped", OPERATOR_STOP),
        ((OPERATOR_STOP, OPERATOR_ABORT), "aborted", OPERATOR_STOP),
    ],
)
def test_a_stop_with_the_lv_contactor_closed_leaves_the_stand_dead(
    staged: Staged, asks: tuple[str, ...], end: str, finding: str
) -> None:
    stage = staged()
    left = list(asks)

    def ask(scan: Scan) -> None:
        if left and scan.outputs[LV].commanded:
            stage.say(left.pop(0))

    stage.each = ask
    run = stage.begin()
    outcome = run.finish()
    run.close()
    assert left == []
    assert outcome.end == end
    assert outcome.finding is not None
    assert outcome.finding["name"] == finding
    assert stage.dead()


def test_no_run_is_begun_where_the_outputs_do_not_answer(staged: Staged) -> None:
    stage = staged()
    stage.wired.gone.add("outputs")
    with pytest.raises(ConnectionLost, match="outputs"):
        stage.begin()
    assert stage.archive.runs() == []


def test_a_run_whose_folder_is_removed_has_no_end(staged: Staged, tmp_path: Path) -> None:
    """Nobody is told that it was complete where nothing of it is left."""
    stage = staged(procedure=watching(10))
    run = stage.begin()
    stage.each = lambda scan: shutil.rmtree(tmp_path) if scan.number == 3 else None
    with pytest.raises(UnrecordedEnd, match=r"removed, moved or replaced.*complete, has no end"):
        run.finish()
    run.close()


@pytest.mark.campaign
def test_a_whole_loss_test(staged: Staged) -> None:
    """From prepare to make safe at ten times its speed, about half a minute."""
    stage = staged(speed=10.0)
    run = stage.begin()
    outcome = run.finish()
    run.close()
    print(outcome.end, outcome.verdict, run.lateness.facts())
    assert outcome.end == "complete", outcome.finding
    assert outcome.verdict == "within"
    assert stage.archive.verify(outcome.run).whole
    assert stage.dead()


def test_whatever_fails_outside_a_scan_opens_everything_first(staged: Staged) -> None:
    """A viewer, the image or the clock's anchors: the stand is not left to the watchdog."""
    stage = staged()

    def fail(scan: Scan) -> None:
        if scan.outputs[LV].commanded:
            raise KeyError("no such channel")

    stage.each = fail
    run = stage.begin()
    with pytest.raises(KeyError):
        run.finish()
    run.close()
    assert run.cycle.outputs.states()[LV].commanded == 0.0
    assert stage.dead()
