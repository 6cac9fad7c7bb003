"""A motor between two relays, on the simulated regulator: where it ends, and when it stops."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.motor import Motor
from drivers.reading import Quality, Reading
from drivers.simulated.machinery import Regulator
from drivers.wiring import MotorRelays
from tests.drivers.simulated.scenario import SHIPPED, stand_file

S = 1_000_000_000
NAME = "loop_regulator"
RELAYS = MotorRelays(raise_at=4, lower_at=5)
WIRED = stand_file(SHIPPED / "bench_pair").outputs.loop_regulator
SCAN_NS = S // 10


class Bench:
    """A motor, its drive and its position, scanned ten times a second.

    `rate` is how many times as fast as its file says the motor is, `late_ns` how old a position is
    when it is read; `shown` is what the potentiometer makes of a position.
    """

    def __init__(self, rate: float = 1.0, late_ns: int = 0) -> None:
        self.t = 0
        self.written: list[tuple[int, int]] = []
        self.plant = Regulator(
            replace(WIRED, rate_per_s=min(rate * WIRED.rate_per_s, 0.1), resolution=1e-5)
        )
        self.motor = Motor(NAME, WIRED, RELAYS, self._write)
        self.late_ns = late_ns
        self.shown: Callable[[float], float | None] = lambda position: position
        self.limits_read = True
        self.rested: int | None = None

    def _write(self, address: int, word: int) -> None:
        self.written.append((address, word))
        self.plant.relay("raise" if address == RELAYS.raise_at else "lower", word == 1)

    def send(self, to: float) -> None:
        self.rested = None
        self.motor.to(to, self.t)

    def scan(self, after_ns: int = SCAN_NS) -> None:
        """Read, and let the motor go on."""
        began = self.t + after_ns - self.late_ns
        self.plant.advance(began)
        value = self.shown(self.plant.position)
        quality = Quality.BAD if value is None else Quality.GOOD
        position = Reading(NAME, began, began, value, quality)
        limits = zip(("lower_limit", "upper_limit"), self.plant.limits, strict=True)
        self.t += after_ns
        self.plant.advance(self.t)
        self.motor.take(position)
        if self.limits_read:
            for which, made in limits:
                self.motor.take(Reading(f"{NAME}.{which}", began, began, float(made)))
        if self.rested is None and self.motor.rests(position):
            self.rested = self.t
        self.motor.go_on(self.t)

    def scans(self, seconds: float) -> None:
        for _ in range(round(seconds * S / SCAN_NS)):
            self.scan()

    @property
    def running(self) -> tuple[int, int]:
        """The raise and the lower relay as last written."""
        last = dict(self.written)
        return last.get(RELAYS.raise_at, 0), last.get(RELAYS.lower_at, 0)


def at_zero() -> Bench:
    """A bench whose motor is known to be at zero."""
    bench = Bench()
    bench.scans(0.3)
    return bench


@given(
    st.lists(st.floats(0, 1), min_size=1, max_size=4),
    st.floats(0.85, 1.15),
    st.integers(0, SCAN_NS // 2),
    st.randoms(use_true_random=False),
)
def test_it_ends_where_it_was_sent(targets: list[float], rate: float, late: int, r: object) -> None:
    """Within the step that it can hold, though slower or faster than its file says, read late and
    scanned unevenly; within 3 s of the travel time that it has at its true rate."""
    bench = Bench(rate, late)
    bench.scans(0.3)
    jitter = r.uniform  # type: ignore[attr-defined]  # hypothesis types its randoms as object
    for target in targets:
        way = abs(target - bench.plant.position)
        due = bench.t + way / WIRED.rate_per_s * S / 0.85 + 3 * S
        bench.send(target)
        while bench.rested is None and bench.t < due:
            bench.scan(round(SCAN_NS * jitter(0.9, 1.1)))
        assert bench.rested is not None
        assert bench.running == (0, 0)
        assert bench.plant.position == pytest.approx(target, abs=1.01 * WIRED.resolution)


def test_the_two_relays_are_never_energised_together() -> None:
    """The one that opens is written first, also where it turns round on its way."""
    bench = at_zero()
    for target in (0.5, 0.1, 0.3, 0.0, 1.0, 0.2):
        bench.send(target)
        bench.scans(4)
    held = {RELAYS.raise_at: 0, RELAYS.lower_at: 0}
    for address, word in bench.written:
        held[address] = word
        assert sum(held.values()) < 2


def test_to_zero_it_lowers_until_the_limit_contact_is_made() -> None:
    """A position that already reads zero is no reason to stop short."""
    bench = at_zero()
    bench.send(0.2)
    bench.scans(12)
    bench.shown = lambda _: 0.0
    bench.send(0.0)
    bench.scans(2)
    assert bench.running == (0, 1)
    assert bench.rested is None
    bench.scans(10)
    assert bench.plant.position == 0.0
    assert bench.running == (0, 0)


def test_it_is_not_at_zero_while_nobody_reads_the_limit_contact() -> None:
    """It goes on lowering: the contact cuts the motor in its own circuit."""
    bench = Bench()
    bench.limits_read = False
    bench.send(0.0)
    bench.scans(2)
    assert bench.running == (0, 1)
    assert bench.rested is None


def test_a_position_that_reads_low_does_not_raise_for_ever() -> None:
    """It stops once it has raised for a third longer than its way takes, and a second."""
    bench = at_zero()
    bench.shown = lambda _: 0.0
    bench.send(0.2)
    bench.scans(40)
    assert bench.running == (0, 0)
    assert bench.plant.position <= 0.2 * 1.3 + WIRED.rate_per_s + WIRED.resolution
    assert bench.rested is None


def test_the_same_command_again_gives_it_no_more_time() -> None:
    """Nor does one that a scan repeats."""
    bench = at_zero()
    bench.shown = lambda _: 0.0
    for _ in range(400):
        bench.send(0.2)
        bench.scan()
    assert bench.plant.position <= 0.2 * 1.3 + WIRED.rate_per_s + WIRED.resolution


def test_without_a_position_it_does_not_raise() -> None:
    """Neither from rest, nor any further on its way."""
    bench = at_zero()
    bench.shown = lambda _: None
    bench.scan()
    bench.send(0.5)
    bench.scans(1)
    assert bench.plant.position == 0.0
    bench.shown = lambda position: position
    bench.scans(3)
    assert bench.running == (1, 0)
    bench.shown = lambda _: None
    bench.scan()
    assert bench.running == (0, 0)


@pytest.mark.parametrize("shown", [1.0, None])
def test_an_upper_limit_that_is_made_or_unread_stops_a_raise(shown: float | None) -> None:
    """And it still lowers."""
    bench = at_zero()
    bench.limits_read = False
    bench.send(0.5)
    bench.scans(3)
    bench.motor.take(Reading(f"{NAME}.upper_limit", bench.t, bench.t, shown))
    bench.scan()
    assert bench.running == (0, 0)
    bench.send(0.02)
    bench.motor.take(Reading(f"{NAME}.lower_limit", bench.t, bench.t, 0.0))
    bench.scans(1)
    assert bench.running == (0, 1)


def test_while_it_runs_it_is_not_at_rest_though_its_position_is_right() -> None:
    """A position on the way through is no proof that it stays there."""
    bench = at_zero()
    bench.send(0.1)
    bench.scans(1)
    assert bench.running == (1, 0)
    assert not bench.motor.rests(Reading(NAME, bench.t, bench.t, 0.1))
