"""A stand on paper: what its channels read and its outputs were told, scan by scan."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import cache

from acquire.configuration import load_scenario
from acquire.stand import expected_of
from drivers.description import Accuracy
from drivers.outputs import CONTACTORS, LV_REGULATOR, REGULATORS, OutputState
from drivers.reading import OVER_RANGE, Quality, Reading
from sequences.evidence import Evidence, Gap, Loop
from sequences.expected import Expected
from sequences.prompt import Answer, Prompt
from sequences.scan import (
    EMERGENCY_STOP,
    GUARD,
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    TOP_LIQUID_A,
    TOP_LIQUID_B,
    WATCHDOG,
    S,
    Scan,
)

ASKED_BEFORE_S = 0.3
HALF_V = 8.0  # half the impedance voltage of the shipped pair
ROOM_C = 20.0
PROVEN = Evidence(
    seen_open=1,
    watchdog_up=True,
    watchdog_dropped=True,
    watchdog_acted=1,
    guard_shut=1,
    answered={"people_clear": 2},
    lv_before_closing_v=HALF_V,
    loop=Loop(35.0, 3, ROOM_C),
    wattmeter=3,
    voltmeter_ranges=frozenset({15000}),
    voltmeter=3,
    proof_complete=4,
    gap=Gap(6.0, 400.0, 6.0 / 13200, 5),
    opposed=5,
)


@cache
def shipped() -> Expected:
    """Return what the shipped scenario leads one to expect."""
    return expected_of(load_scenario("distribution_pair", "loss_test"))


def with_meter(
    channel: str,
    *,
    ranges: tuple[float, ...] | None = None,
    range_percent: float | None = None,
    of: Expected | None = None,
) -> Expected:
    """Return what to expect with other ranges, or another class, of one channel."""
    expected = of or shipped()
    was = expected.channels[channel]
    accuracy = was.accuracy
    if range_percent is not None:
        accuracy = Accuracy(0.05, range_percent)
    new = replace(was, ranges=was.ranges if ranges is None else ranges, accuracy=accuracy)
    return replace(expected, channels={**expected.channels, channel: new})


class Paper:
    """Reads every channel afresh in each scan, a second apart, and folds the evidence.

    At first the guard is shut, everything healthy, open, at zero and dead.
    """

    def __init__(self, expected: Expected | None = None) -> None:
        self.expected = expected or shipped()
        self.evidence = Evidence()
        self.now = 10 * S
        self.values: dict[str, float | None] = dict.fromkeys(self.expected.channels, 0.0)
        self.values |= {GUARD: 1.0, EMERGENCY_STOP: 1.0, WATCHDOG: 0.0}
        self.values |= {TOP_LIQUID_A: ROOM_C, TOP_LIQUID_B: ROOM_C}
        self.outputs = {o: OutputState(0.0, 0, 0, 0) for o in (*CONTACTORS, *REGULATORS)}
        self._image: dict[str, Reading] = {}
        self._alive = dict.fromkeys(self.expected.channels, self.now)

    def tell(self, output: str, to: float, *, moving: bool = False) -> None:
        """Tell an output something; what reads its state follows at once unless it is moving."""
        rest = None if moving else self.now
        self.outputs[output] = OutputState(to, self.now, self.now, rest)
        if not moving:
            self.values[output] = to

    def low(self, voltage_v: float = HALF_V) -> None:
        """Have LV regulator and bus stand at a voltage."""
        full = self.expected.lv_regulator.full_voltage_v
        self.tell(LV_REGULATOR, voltage_v / full)
        self.values |= {LV_VOLTAGE: voltage_v, LV_CURRENT: 0.2}

    def loop(self, current_a: float, follows: float = 1.0, power_factor: float = 0.5) -> None:
        """Have the loop carry a current, in a proportion to what the nameplate lets expect."""
        voltage = current_a * self.expected.loop_impedance_at(ROOM_C) / follows
        self.values |= {HV_CURRENT: current_a, HV_VOLTAGE: voltage, SERIES_VOLTAGE: voltage}
        self.values[HV_POWER] = power_factor * voltage * current_a

    def scan(
        self,
        values: Mapping[str, float | None] | None = None,
        *,
        unread: Collection[str] = (),
        earlier: Collection[Reading] = (),
        answers: tuple[Answer, ...] = (),
        asked: tuple[Prompt, int] | None = None,
        intent: str | None = None,
    ) -> Scan:
        """Return the next scan; None is over range, and `earlier` arrived before the rest."""
        self.now += S
        self.values |= values or {}
        arrived = [*earlier]
        for channel, value in self.values.items():
            if channel in unread:
                continue
            reading = self.reading(channel, value)
            arrived.append(reading)
            self._image[channel] = reading
            self._alive[channel] = reading.t
        return Scan(
            number=self.now // S,
            now=self.now,
            image=dict(self._image),
            arrived=arrived,
            alive=dict(self._alive),
            answers=answers,
            outputs=dict(self.outputs),
            refused=(),
            intent=intent,
            last_commit=self.now,
            asked=asked,
        )

    def reading(self, channel: str, value: float | None, ago_s: float = ASKED_BEFORE_S) -> Reading:
        """Return a reading whose question was asked some time before now."""
        began = self.now - round(ago_s * S)
        if value is None:
            return Reading(channel, began + S // 50, began, None, Quality.BAD, OVER_RANGE)
        return Reading(channel, began + S // 50, began, value)

    def after(
        self,
        values: Mapping[str, float | None] | None = None,
        *,
        unread: Collection[str] = (),
        earlier: Collection[Reading] = (),
        answers: tuple[Answer, ...] = (),
        asked: tuple[Prompt, int] | None = None,
    ) -> Evidence:
        """Fold the next scan and return the evidence after it."""
        scan = self.scan(values, unread=unread, earlier=earlier, answers=answers, asked=asked)
        self.evidence = self.evidence.after(scan, self.expected)
        return self.evidence

    def asked_at(self) -> int:
        """Return when the questions of the newest readings were asked."""
        return self.now - round(ASKED_BEFORE_S * S)
