"""What a second of the pair's heat costs, as a ratio to its bare arithmetic, and how far it is off.

Run: python -m benchmarks.thermal_step
"""

from collections import Counter
from pathlib import Path
from time import perf_counter
from typing import Any, ClassVar

from drivers.simulated.machinery import SECOND
from drivers.simulated.stand import SimulatedStand
from drivers.simulated.thermal.pair import ThermalPair
from tests.drivers.simulated.heat import HOUR, carrying, pair
from tests.drivers.simulated.scenario import (
    DRY,
    FOLDER,
    nameplate_file,
    stand_file,
    truth_file,
)
from tests.drivers.simulated.test_thermal_against_scipy import worst_error_k

STEPS = 12 * 3600
REPEATS = 5


class Counted(float):
    """A number that counts what is done with it."""

    done: ClassVar[Counter[str]] = Counter()


def _counting(name: str, sign: str) -> Any:
    plain = getattr(float, name)

    def counted(self: float, other: float) -> Counted:
        Counted.done[sign] += 1
        return Counted(plain(float(self), float(other)))

    return counted


for _name, _sign in (("mul", "*"), ("truediv", "/"), ("pow", "**"), ("add", "+"), ("sub", "-")):
    for _side in ("", "r"):
        setattr(Counted, f"__{_side}{_name}__", _counting(f"__{_side}{_name}__", _sign))


def operations(thermal: ThermalPair) -> Counter[str]:
    """Return how often one step of both units and the room does what."""
    for unit in (thermal.a, thermal.b):
        for name, value in vars(unit).items():
            if isinstance(value, float):
                setattr(unit, name, Counted(value))
    Counted.done = Counter()
    thermal.to(thermal.t + SECOND)
    return Counted.done


def bare_us(done: Counter[str]) -> float:
    """Return microseconds for the same number of each operation on plain numbers, unrolled."""
    lines = [f"    z = x {sign} y" for sign, count in done.items() for _ in range(count)]
    names: dict[str, Any] = {}
    exec("def bare(x, y):\n" + "\n".join(lines), names)
    bare = names["bare"]

    def rounds() -> None:
        for _ in range(STEPS):
            bare(40.7, 1.25)

    return min(_seconds(rounds) for _ in range(REPEATS)) / STEPS * 1e6


def step_us(folder: Path) -> float:
    """Return microseconds for one second of both units and the room, best of some runs."""

    def once() -> float:
        thermal = pair(folder)
        thermal.carry(carrying(folder, lead_ohm=0.0012))
        return _seconds(lambda: thermal.to(STEPS * SECOND))

    return min(once() for _ in range(REPEATS)) / STEPS * 1e6


def plant_s(folder: Path) -> float:
    """Return seconds for twelve hours of the whole plant at rated, circuit and all."""
    plant = SimulatedStand(stand_file(folder), nameplate_file(folder), truth_file(folder), 1)
    plant.watchdog.welded = True
    plant.write("heartbeat", 1)
    for output, value in (("lv_contactor", 1), ("lv_regulator", 0.87)):
        plant.write(output, value)
    plant.advance(40 * SECOND)
    for output, value in (("loop_contactor", 1), ("loop_regulator", 0.75)):
        plant.write(output, value)
    return _seconds(lambda: plant.advance(12 * HOUR))


def _seconds(what: Any) -> float:
    begun = perf_counter()
    what()
    return perf_counter() - begun


def main() -> None:
    """Print the figures of both shipped scenarios."""
    for folder in (FOLDER, DRY):
        thermal = pair(folder)
        thermal.carry(carrying(folder, lead_ohm=0.0012))
        thermal.to(HOUR)
        done = operations(thermal)
        step, bare = step_us(folder), bare_us(done)
        counts = ", ".join(f"{count} {sign}" for sign, count in done.items())
        print(f"{folder.name}: {step:.2f} us a step of 1 s, both units and the room")
        print(f"  {step / bare:.1f} times its bare arithmetic ({bare:.2f} us: {counts})")
        print(f"  off by {worst_error_k(folder):.1e} K at most in twelve hours, against SciPy")
        print(f"  the whole plant for twelve hours at rated: {plant_s(folder):.2f} s")


if __name__ == "__main__":
    main()
