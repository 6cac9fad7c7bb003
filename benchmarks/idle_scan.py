"""What an idle scan costs, by item, and as a ratio to the bare queries underneath.

Run: python -m benchmarks.idle_scan
"""

import tempfile
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from time import perf_counter_ns
from typing import Any

from acquire.archive import Archive
from acquire.configuration import load_scenario
from acquire.rehearsal import Rehearsal
from drivers.simulated.links import SimulatedLinks
from sequences.expected import Expected
from sequences.scan import Procedure, Wait

SCANS = 3000


def idle(_expected: Expected) -> Procedure[None]:
    """Ask for nothing, for ever."""
    while True:
        yield Wait()


def timed(of: object, name: str, spent: dict[str, int], label: str) -> None:
    """Replace a method by one that adds the time it takes to `spent[label]`."""
    original: Callable[..., Any] = getattr(of, name)

    def wrapper(*args: object) -> Any:
        begun = perf_counter_ns()
        answer = original(*args)
        spent[label] += perf_counter_ns() - begun
        return answer

    setattr(of, name, wrapper)


def run_scans(rehearsal: Rehearsal, count: int) -> float:
    """Run scans and return microseconds a scan."""
    scans = rehearsal.scans()
    begun = perf_counter_ns()
    for _ in range(count):
        next(scans)
    return (perf_counter_ns() - begun) / 1000 / count


def new_rehearsal(folder: str) -> Rehearsal:
    """Return a rehearsal of the shipped scenario whose procedure is idle, warmed up."""
    scenario = load_scenario("distribution_pair", "loss_test")
    rehearsal = Rehearsal(scenario, seed=1, archive=Archive(Path(folder)), procedure=idle)
    run_scans(rehearsal, 100)
    return rehearsal


def bare_queries(rehearsal: Rehearsal) -> float:
    """Return microseconds that one scan's text queries take without any of our own code."""
    scenario = rehearsal.scenario
    links = SimulatedLinks(
        rehearsal.stand, scenario.descriptions, scenario.folder / "meters.yaml", rehearsal.clock
    )
    opened = []
    for instrument in scenario.stand.instrument:
        if instrument.resource.startswith("TCPIP"):
            link = links.text(instrument)
            link.reopen()
            opened.append(link._opened("FETC?"))
    begun = perf_counter_ns()
    for _ in range(SCANS):
        for session in opened:
            session.query("FETC?")
    return (perf_counter_ns() - begun) / 1000 / SCANS


def split(rehearsal: Rehearsal) -> dict[str, float]:
    """Return microseconds a scan by item."""
    spent: dict[str, int] = defaultdict(int)
    for poller in rehearsal.pollers:
        timed(poller.instrument, "poll", spent, f"poll {poller.instrument.name}")
    timed(rehearsal.cycle.outputs, "follow", spent, "outputs follow contacts")
    timed(rehearsal.cycle.protection, "check", spent, "protection")
    timed(rehearsal.cycle.run, "step", spent, "procedure")
    timed(rehearsal.recorder, "readings", spent, "archive")
    timed(rehearsal.cycle, "scan", spent, "whole scan")
    total = run_scans(rehearsal, SCANS)
    items = {label: ns / 1000 / SCANS for label, ns in spent.items()}
    whole = items.pop("whole scan")
    inside = ("outputs follow contacts", "protection", "procedure", "archive")
    items["image, evidence, gate"] = whole - sum(items[i] for i in inside)
    items["clock and publications"] = total - sum(items.values())
    return items


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        whole = min(run_scans(new_rehearsal(f"{folder}/{i}"), SCANS) for i in range(3))
        bare = bare_queries(new_rehearsal(f"{folder}/bare"))
        print(f"idle scan, all in        {whole:7.1f} µs")
        print(f"its text queries, bare   {bare:7.1f} µs   ratio {whole / bare:.2f}")
        print("split (with timers on):")
        for label, us in sorted(split(new_rehearsal(f"{folder}/split")).items(), key=_cost):
            print(f"  {label:<28}{us:7.1f} µs")


def _cost(item: tuple[str, float]) -> float:
    return -item[1]


if __name__ == "__main__":
    main()
