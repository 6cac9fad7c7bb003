"""The shipped scenarios, read and built for tests of the simulated stand."""

import tomllib
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from calculation.nameplate import Nameplate, Pair
from drivers.description import Description, RegisterDescription, Stand, TextDescription
from drivers.instrument import RegisterInstrument, TextInstrument
from drivers.simulated.circuit import OPPOSITION, Wiring
from drivers.simulated.links import SimulatedLinks
from drivers.simulated.stand import SimulatedStand
from drivers.simulated.truth import Truth

SECOND = 1_000_000_000
SHIPPED = Path(str(files("sim_configs")))
FOLDER = SHIPPED / "distribution_pair"
DRY = SHIPPED / "dry_pair"


def _read(kind: Any, path: Path) -> Any:
    return TypeAdapter(kind).validate_python(tomllib.loads(path.read_text("utf-8")))


def stand_file(folder: Path = FOLDER) -> Stand:
    stand: Stand = _read(Stand, folder / "stand.toml")
    return stand


def truth_file(folder: Path = FOLDER) -> Truth:
    truth: Truth = _read(Truth, folder / "truth.toml")
    return truth


def nameplate_file(folder: Path = FOLDER) -> Nameplate:
    pair: Pair = _read(Pair, folder / "pair.toml")
    return pair.nameplate


def descriptions() -> dict[str, Description]:
    folder = Path(str(files("drivers.descriptions")))
    kinds: Any = Description
    return {path.stem: _read(kinds, path) for path in folder.glob("*.toml")}


class LocalClock:
    """A clock that stands still but for those who wait."""

    def __init__(self) -> None:
        self.t = 0

    def now(self) -> int:
        return self.t

    def wait_until(self, t: int) -> None:
        self.t = max(self.t, t)


@dataclass
class Bench:
    """A simulated stand with its links and instruments on a clock that the test turns."""

    clock: LocalClock
    plant: SimulatedStand
    links: SimulatedLinks
    instruments: dict[str, TextInstrument | RegisterInstrument]

    def __post_init__(self) -> None:
        self.outputs = self.links.outputs()
        self._beat = 0

    def run(self, seconds: float, beating: bool = True) -> None:
        """Let time pass, with a heartbeat each second."""
        end = self.clock.t + round(seconds * SECOND)
        while self.clock.t < end:
            if beating:
                self._beat ^= 1
                self.outputs.write(self.plant.stand.outputs.heartbeat, (self._beat,), 0.5)
            self.clock.t = min(self.clock.t + SECOND, end)
        self.plant.advance(self.clock.t)

    def put(self, output: str, value: float) -> None:
        """Write an output by its name in the stand file."""
        wiring = getattr(self.plant.stand.outputs, output)
        raw = round(value / wiring.scale) if hasattr(wiring, "scale") else int(value)
        self.outputs.write(wiring.address, (raw,), 0.5)

    def energise(self, lv: float, loop: float | None = None) -> None:
        """Close and raise both supplies to positions, with all the time that it takes."""
        self.run(2)
        self.put("lv_contactor", 1)
        self.put("lv_regulator", lv)
        self.run(1 / 0.04 + 2)
        if loop is not None:
            self.put("loop_contactor", 1)
            self.put("loop_regulator", loop)
            self.run(1 / 0.04 + 2)


def build(
    seed: int = 1,
    wiring: Wiring = OPPOSITION,
    stand: Stand | None = None,
    truth: Truth | None = None,
    meters_yaml: Path | None = None,
    folder: Path = FOLDER,
) -> Bench:
    stand = stand or stand_file(folder)
    truth = truth or truth_file(folder)
    clock = LocalClock()
    plant = SimulatedStand(stand, nameplate_file(folder), truth, seed, wiring)
    described = descriptions()
    links = SimulatedLinks(plant, described, meters_yaml or folder / "meters.yaml", clock)
    instruments: dict[str, TextInstrument | RegisterInstrument] = {}
    for i in stand.instrument:
        match described[i.description]:
            case TextDescription() as d:
                instruments[i.name] = TextInstrument(i, d, links.text(i), clock)
            case RegisterDescription() as r:
                instruments[i.name] = RegisterInstrument(i, r, links.registers(i), clock)
    return Bench(clock, plant, links, instruments)
