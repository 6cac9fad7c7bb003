"""What the tests of this room share: a rehearsal that can be watched, and broken between scans."""

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import pytest

from acquire.archive import Archive
from acquire.clock import Order
from acquire.configuration import Scenario, load_scenario
from acquire.outcome import RunOutcome
from acquire.rehearsal import Rehearsal
from drivers.simulated.stand import SimulatedStand
from sequences.scan import Scan

S = 1_000_000_000
STAGES = (
    "prepare",
    "prove",
    "energise",
    "no_load_readings",
    "circulate",
    "load_readings",
    "shut_down",
    "make_safe",
)
LONG_S = 3600  # no test waits longer for anything


class Event(NamedTuple):
    """What the observer of a run was told: stand time in ns, kind and facts."""

    t: int
    kind: str
    facts: Mapping[str, Any]


class Watched:
    """A rehearsal of which the events are kept, run as far as a test wants it."""

    def __init__(self, scenario: Scenario, archive: Archive, **options: Any) -> None:
        self.events: list[Event] = []
        self.archive = archive
        self.rehearsal = Rehearsal(scenario, archive=archive, observer=self._observe, **options)
        self._scans = self.rehearsal.scans()
        self._lock: sqlite3.Connection | None = None
        self.hand_t = 0

    @property
    def plant(self) -> SimulatedStand:
        """The simulated plant, for hands."""
        return self.rehearsal.stand

    @property
    def state(self) -> str:
        """The state of the run."""
        return self.rehearsal.cycle.run.state.value

    def scans(self) -> Iterator[Scan]:
        """Go on to the end of the run, scan by scan; may be left and taken up again."""
        while (scan := next(self._scans, None)) is not None:
            yield scan

    def until(self, reached: Callable[[Scan], bool]) -> Scan:
        """Run to the first scan for which this is true; fail where the run ends before."""
        latest = self.rehearsal.clock.now() + LONG_S * S
        for scan in self.scans():
            if reached(scan):
                return scan
            assert scan.now < latest, "it does not come"
        raise AssertionError(f"the run ended {self.state}: {self.rehearsal.cycle.run.finding}")

    def until_stage(self, stage: str, seconds: float = 0.0) -> Scan:
        """Run until a stage has been entered, and some stand time beyond."""
        run = self.rehearsal.cycle.run
        scan = self.until(lambda _scan: run.stage == stage)
        return self.go_on(seconds) if seconds else scan

    def go_on(self, seconds: float) -> Scan:
        """Run for some stand time."""
        end = self.rehearsal.cycle.last.now + round(seconds * S)
        return self.until(lambda scan: scan.now >= end)

    def go_on_to_the_end(self) -> None:
        """Run to the end, the record left open."""
        for _scan in self.scans():
            pass

    def finish(self) -> RunOutcome:
        """Run to the end and close the record."""
        return self.rehearsal.finish()

    def hand(self, action: Callable[["Watched"], None], missed: str = "contacts") -> None:
        """Have something done to the plant a millisecond after the next poll of an instrument."""
        polled = next(i for i in self.rehearsal.scenario.stand.instrument if i.name == missed)
        period, phase = round(polled.period_s * S), round(polled.phase_s * S)
        now = self.rehearsal.clock.now()
        self.hand_t = now + (phase - now) % period + S // 1000
        self.rehearsal.clock.at(self.hand_t, Order.PUBLICATION, lambda: action(self))

    def lock_archive(self) -> None:
        """Keep the archive locked, as another program would."""
        self._lock = sqlite3.connect(self.archive.path, isolation_level=None)
        self._lock.execute("BEGIN IMMEDIATE")

    def unlock_archive(self) -> None:
        """Let the archive be written again."""
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    def told(self, kind: str) -> list[Event]:
        """Return the events of one kind so far."""
        return [e for e in self.events if e.kind == kind]

    def close(self) -> None:
        """Let go of the archive, as the end of the process would."""
        self.unlock_archive()
        self.rehearsal.close()
        self.archive.close()

    def _observe(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        self.events.append(Event(t, kind, facts))


class Watch(Protocol):
    """What the fixture `watch` gives."""

    def __call__(self, scenario: Scenario | None = None, **options: Any) -> Watched:
        """Return a rehearsal of a scenario (the quick one) with options of Rehearsal."""
        ...


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody here lets go of a lock while another waits for it."""
    monkeypatch.setattr("acquire.database.BUSY_S", 0.01)


@pytest.fixture(name="scenario", scope="session")
def _scenario() -> Scenario:
    """Return the shipped scenario."""
    return load_scenario("distribution_pair", "loss_test")


@pytest.fixture(name="quick", scope="session")
def _quick(scenario: Scenario) -> Scenario:
    """Return the shipped scenario with the shortest windows and dwell that still make sense."""
    return replace(scenario, schedule=replace(scenario.schedule, window_s=8.0, dwell_s=4.0))


@pytest.fixture(name="watch")
def _watch(quick: Scenario, tmp_path: Path) -> Iterator[Watch]:
    """Return what makes rehearsals, each in an archive of its own folder."""
    with ExitStack() as open_runs:
        made = 0

        def watch(scenario: Scenario | None = None, **options: Any) -> Watched:
            nonlocal made
            made += 1
            archive = Archive(tmp_path / f"runs_{made}")
            watched = Watched(scenario or quick, archive, **{"seed": 1, **options})
            open_runs.callback(watched.close)
            return watched

        yield watch
