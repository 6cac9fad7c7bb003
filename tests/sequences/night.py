"""A soak on paper: what sensors and meters read while it goes on, a scan every half minute."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from typing import Any

from acquire.configuration import load_scenario
from acquire.stand import expected_of
from drivers.outputs import LOOP_REGULATOR, LV_REGULATOR, OutputState
from drivers.reading import Reading
from sequences.expected import Expected
from sequences.heat_record import HeatRecord
from sequences.prompt import Answer, Prompt
from sequences.scan import (
    HV_CURRENT,
    HV_POWER,
    LV_POWER,
    LV_VOLTAGE_MEAN,
    Ask,
    Finding,
    Move,
    Request,
    S,
    Scan,
    Wait,
)
from sequences.schedule import Soak
from sequences.soak import soak
from sequences.stages import folded
from tests.sequences.built import scan

STEP_S = 30.0
STIRS_K = 1e-6
RATED_V = 400.0
RATED_A = 100_000 / 6600
AMBIENTS = ("ambient.1", "ambient.2", "ambient.3")
AT = {LV_REGULATOR: 0.87, LOOP_REGULATOR: 0.78}
Temperatures = Callable[[float], Mapping[str, float]]


@cache
def shipped_heat_run() -> Expected:
    """Return what the shipped heat run leads one to expect."""
    return expected_of(load_scenario("distribution_pair", "heat_run"))


def with_soak(**parts: Any) -> Expected:
    """Return the same with other parts of its soak."""
    expected = shipped_heat_run()
    plan = replace(expected.soak, **parts)
    return replace(expected, schedule=replace(expected.schedule, soak=plan))


def constant(seconds: float) -> dict[str, float]:
    """Return units as warm as they will ever be; sensors that live are never quite still."""
    return frozen(seconds) | {"a.top_liquid": 60.0 + STIRS_K * (int(seconds // 60.0) % 2)}


def frozen(_seconds: float) -> dict[str, float]:
    """Return sensors that say the same for ever."""
    return {"a.top_liquid": 60.0, "b.top_liquid": 62.0}


class Night:
    """A soak from its first scan on, LV and loop regulator at rest at rated values.

    Voltage and current follow their regulators in proportion, times `fed`, which a test lets
    drift. `minutes_before` is for how long the same was read before the soak began.
    """

    def __init__(
        self,
        expected: Expected | None = None,
        temperatures: Temperatures = constant,
        minutes_before: float = 0.0,
    ) -> None:
        self.expected = expected or shipped_heat_run()
        self.record = HeatRecord(self.expected)
        self.now_s = 600.0
        self.temperatures = temperatures
        self.ambient = dict.fromkeys(AMBIENTS, 20.0)
        self.fed = {LV_REGULATOR: 1.0, LOOP_REGULATOR: 1.0}
        self.values: dict[str, float | None] = {}
        self.outputs = {o: OutputState(at, 0, 0, 0) for o, at in AT.items()}
        self.asked: tuple[Prompt, int] | None = None
        self.moves: list[tuple[float, Move]] = []
        self.asks: list[tuple[float, Prompt]] = []
        self.findings: list[Finding] = []
        self.marks: list[tuple[str, Mapping[str, Any]]] = []
        self.stages: list[str] = []
        self.ended = False
        first = self._scan(())
        self.record.scanned(first)
        for _ in range(round(minutes_before * 60 / STEP_S)):
            self.now_s += STEP_S
            first = self._scan(())
            self.record.scanned(first)
        self.began_s = self.now_s
        self._procedure = folded(
            soak(first, self.expected, self.record, self.expected.loop_impedance_ohm),
            self.record.scanned,
        )
        self.request: Request = next(self._procedure)

    @property
    def plan(self) -> Soak:
        """The soak of the schedule."""
        return self.expected.soak

    def step(self, seconds: float = STEP_S, answers: tuple[Answer, ...] = ()) -> Request:
        """Act on the last request, let time pass, and return the next one."""
        self._act(self.request)
        self.now_s += seconds
        try:
            self.request = self._procedure.send(self._scan(answers))
        except StopIteration:
            self.ended = True
            self.request = Wait()
        return self.request

    def go_on(self, seconds: float) -> None:
        """Let time pass, to the end of the soak at most."""
        end = self.now_s + seconds
        while self.now_s < end and not self.ended:
            self.step()

    def to_the_end(self, most_s: float = 40 * 3600.0) -> float:
        """Go on to the end of the soak; return how long it took, s."""
        self.go_on(most_s)
        assert self.ended
        return self.now_s - self.began_s

    def answer(self, value: bool = True, saw: int | None = None) -> Request:
        """Have the prompt that stands open answered."""
        assert self.asked is not None
        prompt, put = self.asked
        seen = put if saw is None else saw
        return self.step(answers=(said(prompt.id, self.now_s, value, seen),))

    def facts(self, mark: str) -> Mapping[str, Any]:
        """Return the facts of a mark."""
        return next(facts for name, facts in self.marks if name == mark)

    @property
    def holds(self) -> bool:
        """Whether it asks for a hold."""
        return isinstance(self.request, Ask) and self.request.holds

    def _act(self, request: Request) -> None:
        now = round(self.now_s * S)
        if not isinstance(request, Ask):
            self.asked = None
        match request:
            case Move(output, to):
                self.moves.append((self.now_s, request))
                self.outputs[output] = OutputState(to, now, now, now)
            case Ask(prompt):
                if self.asked is None:
                    self.asked = (prompt, now)
                    self.asks.append((self.now_s, prompt))
            case Wait(stage, finding, shows):
                if stage is not None:
                    self.stages.append(stage)
                if finding is not None:
                    self.findings.append(finding)
                if shows is not None and "mark" in shows:
                    self.marks.append((shows["mark"], shows))
            case _:
                raise AssertionError(f"a soak asks for {request}")

    def _scan(self, answers: tuple[Answer, ...]) -> Scan:
        t = round(self.now_s * S)
        shares = {o: self.outputs[o].commanded / AT[o] * self.fed[o] for o in AT}
        values: dict[str, float | None] = {
            **self.ambient,
            **self.temperatures(self.now_s),
            LV_VOLTAGE_MEAN: RATED_V * shares[LV_REGULATOR],
            HV_CURRENT: RATED_A * shares[LOOP_REGULATOR],
            LV_POWER: 640.0,
            HV_POWER: 3500.0,
            **self.values,
        }
        arrived = [Reading(c, t, t, v) for c, v in values.items() if v is not None]
        seen = scan(self.now_s, arrived, outputs=self.outputs, values=values)
        seen.answers, seen.asked = answers, self.asked
        return seen


def said(prompt: str, now_s: float, value: bool = True, saw: int = 0) -> Answer:
    """Return what somebody says."""
    return Answer(prompt, "somebody", "paper", round(now_s * S), value, saw)
