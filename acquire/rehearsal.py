"""A rehearsal: the run that a real stand would make, on the simulated one and the virtual clock."""

import platform
from collections.abc import Callable, Iterator, Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any

from acquire.archive import Archive
from acquire.clock import Order, S, VirtualClock, utc_now
from acquire.configuration import Scenario
from acquire.cycle import Cycle, Observer
from acquire.encoding import sha256
from acquire.log import EventLog
from acquire.operator import RehearsedOperator
from acquire.outcome import RunOutcome, reduced
from acquire.poller import VirtualPoller
from acquire.stand import expected_of
from calculation.readings import LossReadings
from drivers.description import Instrument, TextDescription
from drivers.instrument import PolledInstrument, RegisterInstrument, TextInstrument
from drivers.outputs import Outputs
from drivers.simulated.circuit import WIRINGS
from drivers.simulated.links import SimulatedLinks
from drivers.simulated.stand import SimulatedStand
from sequences.expected import Expected
from sequences.loss_test import loss_test
from sequences.run import Run
from sequences.scan import Procedure, Scan


class Rehearsal:
    """One rehearsed run, scan by scan.

    `stand` is the simulated plant, for whoever wants to break it between two scans.
    Raises ConfigurationError for a scenario whose meters don't suit its pair.
    """

    def __init__(
        self,
        scenario: Scenario,
        *,
        seed: int,
        archive: Archive,
        connection: str = "opposition",
        voltmeter: str = "live",
        observer: Observer = lambda _t, _kind, _facts: None,
        procedure: Callable[[Expected], Procedure[Any]] = loss_test,
    ) -> None:
        self.scenario = scenario
        self.expected = expected_of(scenario)
        self.clock = VirtualClock()
        self.stand = SimulatedStand(
            scenario.stand, scenario.pair.nameplate, scenario.truth, seed, WIRINGS[connection]
        )
        self.stand.series_voltmeter.dead = voltmeter == "dead"
        self.operator = RehearsedOperator(self.stand, self.clock)
        stand = scenario.stand
        self.recorder = archive.start_run(
            scenario.schedule.procedure,
            scenario.schedule_name,
            seed,
            scenario.files,
            {i.name: [c.name for c in i.channel] for i in stand.instrument},
            {"version": version("twinload"), "host": platform.node(), "anchors": [[0, utc_now()]]},
            commit_interval_s=stand.commit_interval_s,
        )
        self._archive = archive
        self._log = EventLog(archive.folder, self.recorder.run)

        def tell(t: int, kind: str, facts: Mapping[str, Any]) -> None:
            self._log.event(t, kind, facts)
            observer(t, kind, facts)

        links = SimulatedLinks(
            self.stand, scenario.descriptions, scenario.folder / "meters.yaml", self.clock
        )
        self.cycle = Cycle(
            self.expected,
            Outputs(stand.outputs, links.outputs(), self.clock),
            lambda record: Run(procedure(self.expected), self.expected, record),
            self.recorder,
            self.operator,
            tell,
        )
        started = {
            "procedure": scenario.schedule.procedure,
            "schedule": scenario.schedule_name,
            "seed": seed,
            "connection": connection,
            "voltmeter": voltmeter,
            "files": _hashes(scenario.files),
        }
        self.cycle.record("run.started", started)
        self.pollers = [
            VirtualPoller(
                self._instrument(i, links), i.period_s, i.phase_s, self.clock, self.cycle.publish
            )
            for i in stand.instrument
        ]
        self._period = round(stand.scan_period_s * S)
        self.clock.at(self._period, Order.SCAN, self._scan)

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
        run = self.cycle.run
        finding = run.finding._asdict() if run.finding else None
        result = verdict = None
        if isinstance(run.returned, LossReadings):
            outcome = reduced(run.returned, self.scenario.pair, self.expected)
            result, verdict = outcome.result, outcome.verdict
            if outcome.finding is not None:
                finding = outcome.finding
                self.cycle.record("finding", finding)
        facts = {"state": run.state.value, "verdict": verdict, "may_be_live": run.may_be_live}
        self.cycle.record("run.ended", facts)
        self.recorder.end(run.state.value, run.state.value, verdict, result)
        self._log.close()
        return RunOutcome(
            state=run.state.value,
            end=run.state.value,
            run=self.recorder.run,
            archive=self._archive.path,
            attempts=run.attempts,
            verdict=verdict,
            stage=run.stage,
            finding=finding,
            result=result,
            may_be_live=run.may_be_live,
            readings_sha256=self.recorder.readings_sha256,
            events_sha256=self.recorder.events_sha256,
        )

    def close(self) -> None:
        """Let go of record and log; a run without an end counts as abandoned from then on."""
        self.recorder.close()
        self._log.close()

    def _scan(self) -> None:
        now = self.clock.now()
        self.clock.at(now + self._period, Order.SCAN, self._scan)
        self.cycle.scan(now)

    def _instrument(self, instrument: Instrument, links: SimulatedLinks) -> PolledInstrument:
        description = self.scenario.descriptions[instrument.description]
        if isinstance(description, TextDescription):
            return TextInstrument(instrument, description, links.text(instrument), self.clock)
        return RegisterInstrument(instrument, description, links.registers(instrument), self.clock)


def rehearse(
    scenario: Scenario,
    *,
    seed: int,
    connection: str,
    voltmeter: str,
    out: Path,
    observer: Observer,
) -> RunOutcome:
    """Rehearse a scenario from start to end into the archive of a folder.

    Runs that an earlier process left without an end are ended first. Raises ConfigurationError
    and ArchiveError.
    """
    with Archive(out) as archive:
        for left in archive.close_abandoned():
            words = f"run {left.run} was left without an end by its process: it counts as aborted"
            observer(0, "note", {"words": words})
        rehearsal = Rehearsal(
            scenario,
            seed=seed,
            archive=archive,
            connection=connection,
            voltmeter=voltmeter,
            observer=observer,
        )
        return rehearsal.finish()


def _hashes(files: Mapping[str, str]) -> dict[str, Any]:
    return {name: sha256(text) for name, text in files.items()}
