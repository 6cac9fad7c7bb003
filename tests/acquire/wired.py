"""The simulated stand on links that any thread may use, moved on by the clock on the wall."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from functools import cache
from threading import Event, Lock
from typing import Any, TypeVar

from acquire.clock import WallClock
from acquire.configuration import Scenario, load_scenario
from drivers.description import Instrument
from drivers.link import Block, ConnectionLost, RegisterLink, TextLink
from drivers.simulated.circuit import OPPOSITION
from drivers.simulated.links import SimulatedLinks
from drivers.simulated.stand import SimulatedStand
from sequences.prompt import Answer, Prompt

T = TypeVar("T")

# What a busy computer may make late, at a raised speed, without its being a fault of the stand.
PATIENT_S = 20.0


@cache
def unhurried() -> Scenario:
    """Return the shipped scenario with short windows, its watchdog and stale channels patient."""
    scenario = load_scenario("distribution_pair", "loss_test")
    schedule = replace(scenario.schedule, window_s=8.0, dwell_s=4.0)
    instruments = tuple(
        replace(i, channel=tuple(replace(c, stale_after_s=PATIENT_S) for c in i.channel))
        for i in scenario.stand.instrument
    )
    watchdog = replace(scenario.stand.watchdog, drop_s=PATIENT_S)
    stand = replace(scenario.stand, instrument=instruments, watchdog=watchdog)
    return replace(scenario, schedule=schedule, stand=stand)


class WiredStand:
    """Links to one simulated plant.

    For hands, each by the names of links: `hung` wait for `released`, `spinning` burn a processor
    until then, `gone` are cut, `swapped` lead to another instrument.
    """

    def __init__(self, scenario: Scenario, clock: WallClock, seed: int = 1) -> None:
        self.plant = SimulatedStand(
            scenario.stand, scenario.pair.nameplate, scenario.truth, seed, OPPOSITION
        )
        self.plant.latencies_s = {}
        self.hung: set[str] = set()
        self.gone: set[str] = set()
        self.spinning: set[str] = set()
        self.swapped: dict[str, str] = {}
        self.released = Event()
        self.asked: dict[str, int] = {}
        self._lock = Lock()
        self._links = SimulatedLinks(
            self.plant, scenario.descriptions, scenario.folder / "meters.yaml", clock
        )

    def text(self, instrument: Instrument) -> TextLink:
        """Return the link of a text instrument."""
        of = self.swapped.get(instrument.name, instrument.name)
        link = next(self._links.text(i) for i in self.plant.stand.instrument if i.name == of)
        return _Text(self, instrument.name, link)

    def registers(self, instrument: Instrument) -> RegisterLink:
        """Return the link of a register unit."""
        return _Registers(self, instrument.name, self._links.registers(instrument))

    def outputs(self) -> RegisterLink:
        """Return the link of the outputs."""
        return _Registers(self, "outputs", self._links.outputs())

    def source(self, output: str) -> TextLink:
        """Return the link of a source that serves as a regulator."""
        return _Text(self, output, self._links.source(output))

    def through(self, name: str, call: Callable[[], T]) -> T:
        """Have a call reach the plant, unless its link hangs or is cut."""
        self.asked[name] = self.asked.get(name, 0) + 1
        if name in self.hung:
            self.released.wait()
        while name in self.spinning and not self.released.is_set():
            pass
        if name in self.gone:
            raise ConnectionLost(name, "anything", "the wire is cut")
        with self._lock:
            return call()


class _Link:
    def __init__(self, stand: WiredStand, name: str, link: Any) -> None:
        self._stand, self._name, self._link = stand, name, link

    def reopen(self) -> None:
        self._stand.through(self._name, self._link.reopen)

    def close(self) -> None:
        with suppress(ConnectionLost):
            self._stand.through(self._name, self._link.close)


class _Text(_Link):
    def query(self, message: str, timeout_s: float) -> str:
        answer: str = self._stand.through(self._name, lambda: self._link.query(message, timeout_s))
        return answer

    def write(self, message: str, timeout_s: float) -> None:
        self._stand.through(self._name, lambda: self._link.write(message, timeout_s))


class _Registers(_Link):
    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        values: tuple[int, ...] = self._stand.through(
            self._name, lambda: self._link.read(block, timeout_s)
        )
        return values

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        self._stand.through(self._name, lambda: self._link.write(address, values, timeout_s))


class SaysYes:
    """Answers every prompt in the next scan."""

    def __init__(self) -> None:
        self.said: list[str] = []
        self.more: list[Answer] = []
        self._asked: tuple[Prompt, int] | None = None

    def put(self, prompt: Prompt, t: int) -> None:
        """Hear a prompt."""
        self._asked = (prompt, t)

    def answers(self) -> list[Answer]:
        """Return what was answered since the last call."""
        answers, self.more = self.more, []
        if self._asked is not None:
            (prompt, t), self._asked = self._asked, None
            self.said.append(prompt.id)
            answers.append(Answer(prompt.id, "somebody", "test", t, True, t))
        return answers
