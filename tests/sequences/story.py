"""A run told in built scans: what its procedure asks for, what it records, how it stops."""

from collections.abc import Mapping
from typing import Any

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, OutputState
from drivers.reading import Reading
from sequences.conditions import always, closed, saying
from sequences.run import Run
from sequences.scan import HV_CURRENT, LV_VOLTAGE, Procedure, Request, Scan, Wait
from sequences.trips import Trip
from tests.sequences.built import scan, told
from tests.sequences.paper import shipped


def trip(category: int, **columns: Any) -> Trip:
    """Return a trip of a category."""
    name = f"category_{category}"
    return Trip(name, None, category, always, closed, "hazard", saying(name), "check", **columns)


class Story:
    """A run of a procedure, what it recorded, and scans a second apart."""

    def __init__(self, procedure: Procedure[Any]) -> None:
        self.procedure = procedure
        self.told: list[tuple[str, Mapping[str, Any]]] = []
        self.run: Run[Any] = Run(procedure, shipped(), lambda k, f: self.told.append((k, f)))
        self.now = 0.0
        self.last: Scan

    def step(self, *arrived: Reading, **parts: Any) -> Request:
        """Step at the next second."""
        self.now += 1
        self.last = scan(self.now, arrived, **parts)
        return self.run.step(self.last)

    def stop(self, by: Trip, **parts: Any) -> Request:
        """Trip at the next second, and step in the same scan."""
        self.now += 1
        self.last = scan(self.now, **parts)
        self.run.stop(by, "seen", self.last)
        return self.run.step(self.last)

    def names(self, kind: str) -> list[Any]:
        """Return the names in the events of one kind."""
        return [f.get("name", f.get("state")) for k, f in self.told if k == kind]


def waiting() -> Procedure[str]:
    """Wait for ever."""
    while True:
        yield Wait()


def asking_for(*requests: Request) -> Procedure[str]:
    """Yield requests, the first of which primes, and return."""
    for request in requests:  # noqa: UP028 - a plain iterator can't be sent a scan
        yield request
    return "returned"


def live(
    *, since: float = 0.0, lv: float = 0.87, loop: float = 0.77, rest: float | None = 0.0
) -> dict[str, Any]:
    """Return the parts of a scan with both contactors closed, both regulators up."""
    outputs: dict[str, OutputState] = {}
    for contactor in (LV, LOOP):
        outputs |= told(contactor, 1.0, since=since)
    outputs |= told(LV_REGULATOR, lv, since=since, rest=rest)
    outputs |= told(LOOP_REGULATOR, loop, since=since, rest=rest)
    values = {LV: 1.0, LOOP: 1.0, LV_VOLTAGE: 400.0, HV_CURRENT: 15.0}
    return {"outputs": outputs, "values": values}


def dying(**values: float | None) -> dict[str, Any]:
    """Return the parts of a scan in which both contactors are told to open and read closed."""
    outputs = told(LV, 0.0, rest=None) | told(LOOP, 0.0, rest=None)
    return {"outputs": outputs, "values": {LV: 1.0, LOOP: 1.0} | values}
