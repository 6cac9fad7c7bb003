"""A rehearsal: the run that a real stand would make, on the simulated one and the virtual clock."""

import platform
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

from acquire.archive import Archive
from acquire.clock import Anchors, Order, S
from acquire.configuration import Scenario
from acquire.cycle import Cycle, Observer
from acquire.database import ArchiveError
from acquire.disk import SufferingRecorder
from acquire.encoding import sha256
from acquire.ending import UnrecordedEnd, conclude
from acquire.fault_schedule import Crashed
from acquire.heat_fold import folded, refuse_to_continue
from acquire.log import EventLog
from acquire.outcome import RunOutcome
from acquire.poller import VirtualPoller
from acquire.recorder import RunRecorder
from acquire.site import Site
from acquire.stand import expected_of
from acquire.wires import polled, sources
from drivers.outputs import Outputs
from drivers.simulated.links import SimulatedLinks
from sequences.expected import Expected
from sequences.procedures import procedure_of, record_of
from sequences.run import Run
from sequences.scan import Procedure, Scan

# When a run that continues another comes to a plant that another process has left.
FOUND_AFTER_NS = 600 * S


class Rehearsal:
    """One rehearsed run, scan by scan.

    `stand` is the simulated plant, for whoever wants to break it between two scans; `faults` are
    words as `acquire.fault_schedule` reads them. Where a `site` is given the run is the next one on
    a plant that another program has left as it is, and seed, wiring and faults are the site's.
    A heat run that `continues` another begins with all that the other's record holds.
    Raises ConfigurationError for a scenario whose meters don't suit its pair, FaultRefused, and
    Crashed in the middle of a scan or between two of them, where that is one of the faults.
    """

    def __init__(  # noqa: PLR0913 - what a run is composed of, each by its name
        self,
        scenario: Scenario,
        *,
        seed: int,
        archive: Archive,
        connection: str = "opposition",
        voltmeter: str = "live",
        faults: Sequence[str] = (),
        site: Site | None = None,
        continues: int | None = None,
        observer: Observer = lambda _t, _kind, _facts: None,
        procedure: Callable[[Expected], Procedure[Any]] | None = None,
    ) -> None:
        self.scenario = scenario
        self.expected = expected_of(scenario)
        self.archive = archive
        self.observer = observer
        self.procedure = procedure
        self.continues = continues
        self.record = record_of(self.expected)
        begin = 0
        if self.record is not None and continues is not None:
            self.record = folded(archive, continues, self.expected).inherited()
            begin = archive.run(continues).last_t + FOUND_AFTER_NS
        self.site = site or Site(
            scenario,
            seed=seed,
            connection=connection,
            voltmeter=voltmeter,
            faults=faults,
            begin=begin,
        )
        if self.record is not None and begin and site is None:
            self.site.found_as(self.record.newest_c())
        self.clock, self.stand = self.site.clock, self.site.stand
        self.operator = self.site.operator
        begun = self.clock.now()
        self._anchors = Anchors(self.site.utc, begun)
        self.recorder = self._start_run(begun)
        self._log = EventLog(archive.folder, self.recorder.run)
        links = SimulatedLinks(
            self.stand, scenario.descriptions, scenario.folder / "meters.yaml", self.clock
        )
        outputs = links.outputs()
        outputs.unit.after_write = self.site.faults.written
        driven = sources(scenario.stand, scenario.descriptions, links)
        for source in driven.values():
            source.reopen()
        self.cycle = Cycle(
            self.expected,
            Outputs(scenario.stand.outputs, outputs, self.clock, driven),
            lambda record: Run(self._steps(), self.expected, record),
            self.recorder,
            self.operator,
            self._tell,
            now=begun,
        )
        self.cycle.record("run.started", self._started())
        self.pollers = [
            VirtualPoller(
                polled(i, scenario.descriptions[i.description], links, self.clock),
                i.period_s,
                i.phase_s,
                self.clock,
                self.cycle.publish,
            )
            for i in scenario.stand.instrument
        ]
        self._period = round(scenario.stand.scan_period_s * S)
        self.clock.at(begun + self._period, Order.SCAN, self._scan)
        self.site.faults.tell = self.cycle.note
        if site is None:
            self.site.faults.start(self.site)
        else:
            self.site.faults.go_on()

    def _steps(self) -> Procedure[Any]:
        if self.procedure is not None:
            return self.procedure(self.expected)
        return procedure_of(self.expected, self.record)

    def _start_run(self, begun: int) -> RunRecorder | SufferingRecorder:
        scenario, archive = self.scenario, self.archive
        stand = scenario.stand
        recorder = archive.start_run(
            scenario.schedule.procedure,
            scenario.schedule_name,
            self.site.seed,
            scenario.files,
            {i.name: [c.name for c in i.channel] for i in stand.instrument},
            {
                "version": version("twinload"),
                "host": platform.node(),
                "anchors": self._anchors.dropped,
            },
            continues=self.continues,
            t=begun,
            commit_interval_s=stand.commit_interval_s,
        )
        if not self.site.faults.faults:
            return recorder
        return SufferingRecorder(recorder, self.site.disk)

    def _started(self) -> dict[str, Any]:
        site = self.site
        return {
            "procedure": self.scenario.schedule.procedure,
            "schedule": self.scenario.schedule_name,
            "seed": site.seed,
            "continues": self.continues is not None,
            "connection": site.connection,
            "voltmeter": site.voltmeter,
            "faults": [str(fault) for fault in site.faults.faults],
            "files": _hashes(self.scenario.files),
        }

    def _tell(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        self.site.faults.heard(kind, facts)
        self._log.event(t, kind, facts)
        self.observer(t, kind, facts)

    def scans(self) -> Iterator[Scan]:
        """Run, yielding after every scan, until the run has ended."""
        while not self.cycle.run.ended:
            number = self.cycle.scans
            while self.cycle.scans == number:
                self.clock.run_next()
            yield self.cycle.last

    def finish(self) -> RunOutcome:
        """Run to the end, reduce what was read, close the record and say how it ended."""
        for _scan in self.scans():
            pass
        try:
            outcome = conclude(
                self.cycle, self.recorder, self.archive.path, self.scenario.pair, self.record
            )
        except UnrecordedEnd:
            self.close()
            raise
        self._log.close()
        return outcome

    def close(self) -> None:
        """Let go of record and log; a run without an end counts as abandoned from then on."""
        self.recorder.close()
        self._log.close()

    def _scan(self) -> None:
        now = self.clock.now()
        self.clock.at(now + self._period, Order.SCAN, self._scan)
        self.cycle.scan(now)
        if self._anchors.drift_ns():
            self._anchor(now)

    def _anchor(self, now: int) -> None:
        """Record that stand time and UTC have drifted apart; UTC itself is in no chain."""
        drift_s = self._anchors.drift_ns() / S
        self._anchors.drop(now)
        self.recorder.anchors(self._anchors.dropped)
        self.cycle.record("clock.anchor", {"drift_s": drift_s})


def rehearse(
    scenario: Scenario,
    *,
    seed: int,
    connection: str,
    voltmeter: str,
    out: Path,
    observer: Observer,
    faults: Sequence[str] = (),
    continues: int | None = None,
) -> RunOutcome:
    """Rehearse a scenario from start to end into the archive of a folder.

    Runs that an earlier process left without an end are ended first. Raises ConfigurationError,
    ArchiveError, FaultRefused, and Crashed where that is one of the faults: the run is then left
    without an end. A heat run that `continues` another of the folder finds the plant as warm as
    that has last read it, ten minutes later. Raises CannotContinue where there is none to go on.
    """
    with Archive(out) as archive:
        for left in archive.close_abandoned():
            words = f"run {left.run} was left without an end by its process: it counts as aborted"
            observer(0, "note", {"words": words})
        if continues is not None:
            refuse_to_continue(archive, continues, scenario)
        rehearsal = Rehearsal(
            scenario,
            seed=seed,
            archive=archive,
            connection=connection,
            voltmeter=voltmeter,
            faults=faults,
            observer=observer,
            continues=continues,
        )
        try:
            outcome = rehearsal.finish()
            return replace(outcome, never_begun=rehearsal.site.faults.never_begun)
        except (Crashed, ArchiveError):
            rehearsal.close()
            raise


def _hashes(files: Mapping[str, str]) -> dict[str, Any]:
    return {name: sha256(text) for name, text in files.items()}
