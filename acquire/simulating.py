"""`twinload simulate`: serve the simulated stand until it is told to end."""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from acquire.clock import S
from acquire.configuration import Scenario, load_scenario
from acquire.fault_schedule import timed_fault
from acquire.faults import catalogue
from acquire.hands_console import WORDS, HandsConsole
from acquire.serving import STEP_S, Place, ServedStand, ServingRefused, Wanted
from acquire.site import Site
from drivers.simulated.stand import STATUS, SimulatedStand

if TYPE_CHECKING:
    from acquire.faults import SiteFault

STDIN = 0
MOST_AT_ONCE = 65_536
OF_A_STAND = ("instrument", "stand", "wiring")


def simulated(stand: str, seed: int, connection: str, faults: Sequence[str], wanted: Wanted) -> int:
    """Serve a scenario's stand until quit, SIGINT or SIGTERM; return the exit code.

    Raises ConfigurationError, FaultRefused and ServingRefused.
    """
    # The plant has nothing of the schedule; one is read since a scenario has one.
    scenario = load_scenario(stand, "loss_test")
    known, every = faults_of_a_stand(scenario), catalogue(scenario)
    for word in faults:
        if timed_fault(word, known, every).when.stage:
            raise ServingRefused(f"fault {word!r}: a stand that is served knows no stages")
    site = Site(scenario, seed=seed, connection=connection, faults=faults)
    site.faults.tell = _tell_fault
    return asyncio.run(_serve(scenario, site, known, wanted))


def faults_of_a_stand(scenario: Scenario) -> dict[str, SiteFault]:
    """Return the faults that need neither a program nor its operator."""
    return {n: f for n, f in catalogue(scenario).items() if f.kind in OF_A_STAND}


async def _serve(
    scenario: Scenario, site: Site, known: dict[str, SiteFault], wanted: Wanted
) -> int:
    served = ServedStand(scenario, site, wanted)
    ended = asyncio.Event()
    loop = asyncio.get_running_loop()
    for signalled in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(signalled, ended.set)
    await served.open()
    try:
        _tell(table(scenario, served.places, wanted))
        served.start()
        console = HandsConsole(site, known)
        _listen_to_stdin(console, served.move_on, ended)
        await _go_on(site, served.move_on, ended)
    finally:
        served.close()
    _tell(["the stand is no longer served"])
    return 0


async def _go_on(site: Site, move_on: Callable[[], None], ended: asyncio.Event) -> None:
    """Move the plant on and tell what switches, until it is ended."""
    switched = Switched(site.stand)
    while not ended.is_set():
        move_on()
        _tell(switched.untold())
        # The longest that telling lags behind; neither the plant nor the instant that is told does.
        try:
            await asyncio.wait_for(ended.wait(), STEP_S)
        except TimeoutError:
            continue


class Switched:
    """What has switched on a plant, each at its own instant, however late it is asked for."""

    def __init__(self, plant: SimulatedStand) -> None:
        self._plant = plant
        self._lines: list[str] = []
        self._before = self._now()
        plant.moved = self._look

    def untold(self) -> list[str]:
        """Return a line for each since the last call."""
        lines, self._lines = self._lines, []
        return lines

    def _look(self) -> None:
        now = self._now()
        if now != self._before:
            for name, before, is_on in zip(STATUS, self._before, now, strict=True):
                if before != is_on and "regulator" not in name:
                    self._lines.append(f"{self._plant.t / S:.2f} s: {name} {_says(name, is_on)}")
            self._before = now

    def _now(self) -> tuple[float, ...]:
        return tuple(map(float, self._plant.status()))


def _says(name: str, value: float) -> str:
    if name == "resistance_selector":
        return f"at {value:g}" if value else "open"
    words = {"watchdog": ("dropped", "picked up")}.get(name, ("open", "closed"))
    return words[bool(value)]


def _listen_to_stdin(
    console: HandsConsole, move_on: Callable[[], None], ended: asyncio.Event
) -> None:
    loop = asyncio.get_running_loop()
    waiting = b""

    def do(line: str) -> None:
        move_on()
        _tell(console.do(line))
        if console.ended:
            ended.set()

    def take() -> None:
        nonlocal waiting
        came = os.read(STDIN, MOST_AT_ONCE)
        if not came:
            # Nobody types any more; the stand goes on.
            loop.remove_reader(STDIN)
        *lines, waiting = (waiting + came).split(b"\n")
        for line in lines:
            do(line.decode("utf-8", "replace"))

    try:
        loop.add_reader(STDIN, take)
    except (OSError, ValueError):
        # A file, or nothing, has no end that could be waited for.
        return


def table(scenario: Scenario, places: Sequence[Place], wanted: Wanted) -> list[str]:
    """Return what is served where, a line each."""
    wide = max(len(p.what) for p in places)
    where = max(len(p.where) for p in places)
    return [
        f"{scenario.stand.name}: simulated, its clock {wanted.speed:g} times the wall's",
        *(f"  {p.what:<{wide}}  {p.where:<{where}}  {p.speaks}" for p in places),
        f"lines here: {WORDS}",
    ]


def _tell_fault(t: int, _kind: str, facts: Mapping[str, Any]) -> None:
    _tell([f"{t / S:.2f} s: {facts['name']}: {facts['happening']}"])


def _tell(lines: Sequence[str]) -> None:
    try:
        for line in lines:
            print(line)
        sys.stdout.flush()
    except OSError:
        # Whoever read this has gone; clients have not.
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - until the end
