"""A run on a stand that is there: the same scan as a rehearsal's, on the wall clock."""

import platform
from collections.abc import Callable
from contextlib import suppress
from importlib.metadata import version
from queue import Empty, SimpleQueue
from typing import Any

from acquire.alone import refuse_beating
from acquire.archive import Archive
from acquire.clock import Anchors, S, WallClock, WallUtc
from acquire.configuration import Setup
from acquire.cycle import Asker, Cycle, Observer
from acquire.encoding import sha256
from acquire.ending import conclude
from acquire.heat_fold import folded
from acquire.lateness import Lateness
from acquire.log import EventLog
from acquire.outcome import RunOutcome
from acquire.owner import Owner, Polled
from acquire.refusal import Refusal
from acquire.scan_link import ScanLink, ScanSource
from acquire.stand import expected_of
from acquire.wires import Links, polled, sources
from acquire.writer import Writer
from drivers.link import InstrumentFault
from drivers.outputs import Outputs
from sequences.expected import Expected
from sequences.procedures import procedure_of, record_of
from sequences.run import Run
from sequences.scan import Procedure, Scan

Watch = Callable[[Scan, Run[Any]], None]


def whole_periods(due: int, now: int, period: int) -> tuple[int, int]:
    """Return how many scans were missed by `now`, and when the next is due, all in ns.

    What was missed is left out: nobody gains from two scans of the same readings.
    """
    missed = max(now - due, 0) // period
    return missed, due + (missed + 1) * period


class WallRun:
    """One run on the wall clock. The thread that calls `finish` scans; all else has its own.

    Every instrument has an owner thread, the archive has a writer. `watch` is shown every scan
    with the run once it is over, on the scan's thread: it must not wait, nor may `observer`.
    Raises ConfigurationError for meters that don't suit the pair, InstrumentFault where the
    outputs' link can't be opened, and DrivenAlready where another program drives them.
    """

    def __init__(  # noqa: PLR0913 - what a run is composed of, each by its name
        self,
        setup: Setup,
        *,
        archive: Archive,
        links: Links,
        clock: WallClock,
        asker: Asker,
        observer: Observer,
        watch: Watch = lambda _scan, _run: None,
        continues: int | None = None,
        procedure: Callable[[Expected], Procedure[Any]] | None = None,
    ) -> None:
        self.setup = setup
        self.clock = clock
        self.lateness = Lateness()
        expected = expected_of(setup)
        output_link = ScanLink(links.outputs(), "outputs")
        driven = sources(setup.stand, setup.descriptions, links)
        scanned = {output: ScanSource(source, output) for output, source in driven.items()}
        self._output_link = output_link
        self._output_links: list[ScanLink | ScanSource] = [output_link, *scanned.values()]
        self._open_outputs()
        self._watch = watch
        self._archive = archive
        self._polled: SimpleQueue[Polled] = SimpleQueue()
        self._period = round(setup.stand.scan_period_s * S)
        self._record = record_of(expected)
        if self._record is not None and continues is not None:
            self._record = folded(archive, continues, expected).inherited()
        begun = clock.now()
        self._anchors = Anchors(WallUtc(clock), begun)
        self.recorder = self._start_run(begun, continues)
        steps = procedure(expected) if procedure else procedure_of(expected, self._record)
        self.cycle = Cycle(
            expected,
            Outputs(setup.stand.outputs, output_link, clock, scanned),
            lambda record: Run(steps, expected, record),
            self.recorder,
            asker,
            observer,
            now=begun,
        )
        self.cycle.record("run.started", self._started(continues))
        self.owners = [
            Owner(
                polled(i, setup.descriptions[i.description], links, clock),
                i.period_s,
                i.phase_s,
                clock,
                self._polled.put,
            )
            for i in setup.stand.instrument
        ]

    def finish(self) -> RunOutcome:
        """Scan until the run has ended, close the record and say how it ended.

        Raises UnrecordedEnd.
        """
        for owner in self.owners:
            owner.start()
        try:
            self._scan_to_the_end()
        finally:
            for owner in self.owners:
                owner.stop()
        self.cycle.record("scan.lateness", self.lateness.facts())
        return conclude(
            self.cycle, self.recorder, self._archive.path, self.setup.pair, self._record
        )

    def close(self) -> None:
        """Let go of record and outputs; a run without an end is abandoned from then on."""
        self._close_outputs()
        self.recorder.close()

    def _open_outputs(self) -> None:
        try:
            for link in self._output_links:
                link.reopen()
            refuse_beating(self._output_link, self.setup.stand, self.clock)
        except (InstrumentFault, Refusal):
            self._close_outputs()
            raise

    def _close_outputs(self) -> None:
        for link in self._output_links:
            link.close()

    def _scan_to_the_end(self) -> None:
        due = self.clock.now() + self._period
        try:
            while not self.cycle.run.ended:
                self.clock.wait_until(due)
                due = self._scan(due)
        except BaseException:
            self.cycle.outputs.open_all()
            raise

    def _scan(self, due: int) -> int:
        """Scan and return when the next is due: at the next whole period that is still to come."""
        now = self.clock.now()
        missed, next_due = whole_periods(due, now, self._period)
        self.lateness.add(now - due, missed)
        self._publish(now)
        self.cycle.begins(now, now - due)
        self.cycle.scan(now)
        self._watch(self.cycle.last, self.cycle.run)
        if self._anchors.drift_ns():
            self._anchor(now)
        return next_due

    def _publish(self, now: int) -> None:
        """Take what has been polled since the last scan into the image."""
        with suppress(Empty):
            while True:
                instrument, readings, fault = self._polled.get_nowait()
                if readings:
                    self.cycle.publish(instrument, readings, fault)
                elif fault is not None:
                    facts = {"asked": fault.asked, "came_back": fault.came_back}
                    self.cycle.note(now, "fault", {"instrument": instrument, **facts})

    def _anchor(self, now: int) -> None:
        drift_s = self._anchors.drift_ns() / S
        self._anchors.drop(now)
        self.recorder.anchors(self._anchors.dropped)
        self.cycle.record("clock.anchor", {"drift_s": drift_s})

    def _start_run(self, begun: int, continues: int | None) -> Writer:
        setup = self.setup
        recorder = self._archive.start_run(
            setup.schedule.procedure,
            setup.schedule_name,
            None,
            setup.files,
            {i.name: [c.name for c in i.channel] for i in setup.stand.instrument},
            {
                "version": version("twinload"),
                "host": platform.node(),
                "anchors": self._anchors.dropped,
            },
            continues=continues,
            t=begun,
            commit_interval_s=setup.stand.commit_interval_s,
        )
        return Writer(recorder, EventLog(self._archive.folder, recorder.run))

    def _started(self, continues: int | None) -> dict[str, Any]:
        return {
            "procedure": self.setup.schedule.procedure,
            "schedule": self.setup.schedule_name,
            "continues": continues is not None,
            "speed": self.clock.speed,
            "files": {name: sha256(text) for name, text in self.setup.files.items()},
        }
