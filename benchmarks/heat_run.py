"""What the heat run's rehearsal costs: wall time, ratio to its bare queries, budget, memory.

Run: python -m benchmarks.heat_run
"""

import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

from acquire.archive import Archive
from acquire.configuration import load_scenario
from acquire.rehearsal import Rehearsal
from benchmarks.idle_scan import timed
from drivers.simulated.links import SimulatedLinks

SCENARIO, SCHEDULE = "distribution_pair", "heat_run"
QUERIES = 5000
REPEATS = 3
WORDS = ("rehearse", SCENARIO, "--schedule", SCHEDULE, "--json", "--out")
COMMAND = (sys.executable, "-c", "from acquire.commands import app; app()", *WORDS)
MEMORY = f"""
import resource, sys
from pathlib import Path
from acquire.archive import Archive
from acquire.configuration import load_scenario
from acquire.rehearsal import Rehearsal

def told(when):
    print(f"  {{when:>6}} {{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:7.1f}} MB")

with Archive(Path(sys.argv[1])) as archive:
    scenario = load_scenario("{SCENARIO}", "{SCHEDULE}")
    rehearsal = Rehearsal(scenario, seed=1, archive=archive)
    hour = 0
    for scan in rehearsal.scans():
        if scan.now >= hour * 3600 * 10**9:
            told(f"{{hour}} h")
            hour += 2
    rehearsal.finish()
    told("end")
"""


def command_s(folder: str) -> float:
    """Return the wall time of the command, start-up included, s."""
    begun = time.perf_counter()
    subprocess.run([*COMMAND, folder], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begun


def new_rehearsal(folder: str) -> Rehearsal:
    """Return a rehearsal of the heat run, not begun."""
    scenario = load_scenario(SCENARIO, SCHEDULE)
    return Rehearsal(scenario, seed=1, archive=Archive(Path(folder)))


def bare_queries(rehearsal: Rehearsal) -> dict[str, float]:
    """Return seconds that one bare query of each text instrument takes, none of our code in it."""
    scenario = rehearsal.scenario
    links = SimulatedLinks(
        rehearsal.stand, scenario.descriptions, scenario.folder / "meters.yaml", rehearsal.clock
    )
    taken = {}
    for instrument in scenario.stand.instrument:
        if not instrument.resource.startswith("TCPIP"):
            continue
        link = links.text(instrument)
        link.reopen()
        session = link._opened("FETC?")
        begun = time.perf_counter()
        for _ in range(QUERIES):
            session.query("FETC?")
        taken[instrument.name] = (time.perf_counter() - begun) / QUERIES
    return taken


def budget(rehearsal: Rehearsal) -> tuple[dict[str, float], dict[str, int], int]:
    """Return seconds by item (with timers on), polls by instrument, and scans."""
    spent: dict[str, int] = defaultdict(int)
    for poller in rehearsal.pollers:
        timed(poller.instrument, "poll", spent, f"poll {poller.instrument.name}")
    timed(rehearsal.cycle.outputs, "follow", spent, "outputs follow contacts")
    timed(rehearsal.cycle.protection, "check", spent, "protection")
    timed(rehearsal.cycle.run, "step", spent, "procedure, its record and forecasts")
    timed(rehearsal.recorder, "readings", spent, "archive, readings")
    timed(rehearsal.recorder, "event", spent, "archive, events")
    timed(rehearsal.cycle, "scan", spent, "whole scan")
    begun = time.perf_counter_ns()
    for _scan in rehearsal.scans():
        pass
    total = time.perf_counter_ns() - begun
    scans, t_s = rehearsal.cycle.scans, rehearsal.clock.now() / 1e9
    begun = time.perf_counter_ns()
    rehearsal.finish()
    items = {name: ns / 1e9 for name, ns in spent.items()}
    whole = items.pop("whole scan")
    inside = [items[i] for i in items if not i.startswith("poll ")]
    polls = [items[i] for i in items if i.startswith("poll ")]
    items["image, evidence, gate"] = whole - sum(inside)
    items["clock and publications"] = total / 1e9 - whole - sum(polls)
    items["results"] = (time.perf_counter_ns() - begun) / 1e9
    periods = {i.name: i.period_s for i in rehearsal.scenario.stand.instrument}
    return items, {name: round(t_s / period) for name, period in periods.items()}, scans


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        walls = [command_s(f"{folder}/command{i}") for i in range(REPEATS)]
        bare = bare_queries(new_rehearsal(f"{folder}/bare"))
        items, polls, scans = budget(new_rehearsal(f"{folder}/budget"))
        queries = sum(seconds * polls[name] for name, seconds in bare.items())
        print(f"command, best of {REPEATS}   {min(walls):6.2f} s   ({scans} scans)")
        print(f"its text queries, bare {queries:6.2f} s   ratio {min(walls) / queries:.2f}")
        print("budget (with timers on):")
        for name, seconds in sorted(items.items(), key=lambda item: -item[1]):
            print(f"  {name:<38}{seconds:6.2f} s {1e6 * seconds / scans:7.1f} µs a scan")
        print("greatest memory so far, by hour on the stand:", flush=True)
        subprocess.run([sys.executable, "-c", MEMORY, f"{folder}/memory"], check=True)


if __name__ == "__main__":
    main()
