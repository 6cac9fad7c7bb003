"""Resident memory over a million polls: owner threads, drivers, image, scans, archive's writer.

Six instruments on sockets, served by another process, are each polled as fast as they go. Beside
the memory stands what the writer has not yet committed, since a backlog would be memory too. Asked:
flat. Judged from the second mark on, when everything has been allocated once.

Run: python -m benchmarks.memory_over_polls [POLLS] [FOLDER]
"""

import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from acquire.archive import Archive
from acquire.clock import WallClock
from acquire.wall_run import WallRun
from acquire.wires import Wires
from benchmarks.constructed_stand import ConstructedStand
from benchmarks.scan_lateness import Nobody
from sequences.expected import Expected
from sequences.run import Run
from sequences.scan import Procedure, Scan, Wait

POLL_S = 0.0005
SCAN_S = 0.1
MARKS = 10


def resident_mib() -> float:
    """Return this process's resident memory, MiB."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


class Marks:
    """Notes the memory each time so many polls have come."""

    def __init__(self, polls: int) -> None:
        self.mib: list[float] = []
        self.run: WallRun
        self._polls = polls
        self._begun = time.monotonic()

    def watch(self, _scan: Scan, _run: Run[Any]) -> None:
        """Look at what has come by a scan."""
        polls = sum(owner.polls for owner in self.run.owners)
        if polls < len(self.mib) * self._polls / MARKS:
            return
        self.mib.append(resident_mib())
        behind_s = (self.run.clock.now() - self.run.recorder.last_commit_t) / 1e9
        took_s = time.monotonic() - self._begun
        print(
            f"  {polls:>9,} polls, {took_s:5.0f} s: {self.mib[-1]:6.1f} MiB resident,"
            f" last commit {behind_s:.1f} s ago",
            flush=True,
        )

    def steps(self, _expected: Expected) -> Procedure[None]:
        """Look on until all marks are there."""
        while len(self.mib) <= MARKS:
            yield Wait()


def main(polls: int, folder: str | None) -> None:
    """Poll and print."""
    stand = ConstructedStand(POLL_S, SCAN_S)
    marks = Marks(polls)
    with tempfile.TemporaryDirectory(dir=folder) as place, Archive(Path(place)) as archive:
        marks.run = run = WallRun(
            stand.scenario,
            archive=archive,
            links=Wires(stand.scenario.stand),
            clock=WallClock(),
            asker=Nobody(),
            observer=lambda _t, _kind, _facts: None,
            watch=marks.watch,
            procedure=marks.steps,
        )
        outcome = run.finish()
        run.close()
        written = sum(f.stat().st_size for f in Path(place).iterdir() if f.is_file()) / 2**20
    stand.close()
    faults = [o.instrument.name for o in run.owners if o.instrument.fault is not None]
    settled = marks.mib[1:]
    print(
        f"run {outcome.end}, faults {faults}, archive {written:.0f} MiB; from {polls // MARKS:,}"
        f" polls on {min(settled):.1f} to {max(settled):.1f} MiB, last less first"
        f" {settled[-1] - settled[0]:+.1f} MiB"
    )


if __name__ == "__main__":
    words = sys.argv[1:]
    main(int(words[0]) if words else 1_000_000, words[1] if words[1:] else None)
