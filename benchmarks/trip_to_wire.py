"""From a value over its limit in an instrument to the opening of the LV contactor on the wire.

End to end over sockets: the stand is served by another process, which times both instants itself.
Each trip has a run of its own, whose polls and scans lie anyhow to each other and to the instant
at which the value goes over. The contactors are open before, since closing them takes a whole
prove stage: an opening is written all the same, the loop contactor's first. Asked: one poll period
for each reading that the trip asks, one scan period and 20 ms.

Run: python -m benchmarks.trip_to_wire [TRIPS]
"""

import random
import sys
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from acquire.archive import Archive
from acquire.clock import WallClock
from acquire.configuration import Scenario
from acquire.wall_run import WallRun
from acquire.wires import Wires
from benchmarks.constructed_stand import ConstructedStand
from benchmarks.scan_lateness import Nobody, looking_on
from sequences.run import Run
from sequences.scan import Scan

POLL_S = 0.1
SCAN_S = 0.1
MORE_S = 0.02
FOREVER_S = 3600.0
# By then everything is claimed and read.
SCANS_BEFORE = 5
# The trip, where its value is read, on what it is read, and how many readings it asks.
TRIPS = (
    ("emergency_stop", "contacts", "Modbus TCP", 1),
    ("overvoltage", "lv_analyser", "text on TCP", 2),
)


class Opened(Exception):
    """The trip has acted: what a run does after the opening isn't waited for."""


def anyhow(scenario: Scenario) -> Scenario:
    """Return it with the polls at random phases."""
    phased = (replace(i, phase_s=random.uniform(0, POLL_S)) for i in scenario.stand.instrument)
    return replace(scenario, stand=replace(scenario.stand, instrument=tuple(phased)))


def trip(stand: ConstructedStand, name: str, instrument: str, folder: Path) -> float:
    """Run until this trip has opened everything; return how long it took to the wire, s."""
    tripped: list[Mapping[str, Any]] = []
    scenario = anyhow(stand.scenario)

    def watch(scan: Scan, _run: Run[Any]) -> None:
        if scan.number == SCANS_BEFORE:
            assert run.cycle.outputs.claimed
            stand.exceed(instrument, random.uniform(0, POLL_S + SCAN_S))
        if tripped:
            raise Opened

    with Archive(folder) as archive:
        run = WallRun(
            scenario,
            archive=archive,
            links=Wires(scenario.stand),
            clock=WallClock(),
            asker=Nobody(),
            observer=lambda _t, kind, facts: tripped.append(facts) if kind == "trip" else None,
            watch=watch,
            procedure=looking_on(FOREVER_S),
        )
        with suppress(Opened):
            run.finish()
        run.close()
    assert [t["name"] for t in tripped] == [name], tripped
    return stand.trip_s()


def main(trips: int) -> None:
    """Measure and print."""
    random.seed(1)
    stand = ConstructedStand(POLL_S, SCAN_S)
    for name, instrument, wire, readings in TRIPS:
        asked_ms = 1e3 * (readings * POLL_S + SCAN_S + MORE_S)
        with tempfile.TemporaryDirectory() as folder:
            archives = [Path(folder) / str(n) for n in range(trips)]
            took = sorted(1e3 * trip(stand, name, instrument, archive) for archive in archives)
        median, p95 = took[len(took) // 2], took[min(int(0.95 * len(took)), len(took) - 1)]
        print(
            f"{name} ({readings} of its readings, {wire}), {trips} trips: median {median:.0f} ms,"
            f" p95 {p95:.0f} ms, max {took[-1]:.0f} ms; asked {asked_ms:.0f} ms:"
            f" {'met' if took[-1] < asked_ms else 'MISSED'}",
            flush=True,
        )
    stand.close()


if __name__ == "__main__":
    with suppress(KeyboardInterrupt):
        main(int(sys.argv[1]) if sys.argv[1:] else 40)
