"""Stand time on the wall: monotonic, as fast as asked, with UTC beside it."""

import time
from datetime import UTC, datetime, timedelta

import pytest

from acquire.clock import (
    Anchors,
    S,
    WallClock,
    WallUtc,
    since_boot_ns,
    stand_time_of_now,
)


class Wall:
    """A monotonic clock and a UTC that a test sets; a sleep that wakes too early at first."""

    def __init__(self) -> None:
        self.monotonic = 1_000 * S
        self.utc = 1_700_000_000 * S
        self.slept: list[float] = []

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.advance(seconds * (0.5 if len(self.slept) == 1 else 1.0))

    def advance(self, seconds: float) -> None:
        self.monotonic += round(seconds * S)
        self.utc += round(seconds * S)

    def clock(self, begin: int = 0, speed: float = 1.0) -> WallClock:
        return WallClock(begin, speed=speed, monotonic_ns=lambda: self.monotonic, sleep=self.sleep)


@pytest.mark.parametrize("speed", [0.5, 1.0, 20.0])
def test_it_goes_on_from_its_beginning_as_fast_as_asked(speed: float) -> None:
    wall = Wall()
    clock = wall.clock(begin=7 * S, speed=speed)
    wall.advance(3.0)
    assert clock.now() == 7 * S + 3 * S * speed


def test_a_clock_set_on_the_wall_disturbs_no_duration() -> None:
    wall = Wall()
    clock = wall.clock()
    wall.utc -= 3600 * S
    wall.advance(1.0)
    assert clock.now() == S


def test_waiting_ends_when_the_instant_is_there_however_often_sleep_wakes_early() -> None:
    wall = Wall()
    clock = wall.clock(speed=2.0)
    clock.wait_until(8 * S)
    assert clock.now() == 8 * S
    assert wall.slept == [4.0, 2.0]


def test_an_instant_that_is_past_is_not_waited_for() -> None:
    wall = Wall()
    clock = wall.clock(begin=5 * S)
    clock.wait_until(4 * S)
    assert wall.slept == []
    assert clock.until_s(4 * S) == 0.0


@pytest.mark.parametrize("speed", [1.0, 20.0])
def test_utc_of_an_instant_counts_seconds_of_the_wall(speed: float) -> None:
    wall = Wall()
    clock = wall.clock(speed=speed)
    utc = WallUtc(clock, time_ns=lambda: wall.utc)
    wall.advance(10.0)
    assert utc.text(clock.now()) == "2023-11-14T22:13:30.000+00:00"
    assert utc.text(0) == "2023-11-14T22:13:20.000+00:00"


def test_a_stepped_utc_is_anchored_anew_and_a_steady_one_is_not() -> None:
    wall = Wall()
    clock = wall.clock(speed=20.0)
    anchors = Anchors(WallUtc(clock, time_ns=lambda: wall.utc), clock.now())
    wall.advance(1000.0)
    assert anchors.drift_ns() == 0
    wall.utc += 5 * S
    assert anchors.drift_ns() == 5 * S
    anchors.drop(clock.now())
    assert anchors.drift_ns() == 0


@pytest.mark.skipif(not hasattr(time, "CLOCK_BOOTTIME"), reason="the system has no such clock")
def test_the_time_in_which_the_computer_was_suspended_counts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What was read before is old when it wakes."""
    clock = WallClock()
    real = time.clock_gettime_ns
    monkeypatch.setattr(time, "clock_gettime_ns", lambda which: real(which) + 3600 * S)
    assert clock.now() >= 3600 * S
    assert since_boot_ns() >= 3600 * S


@pytest.mark.parametrize(
    # The anchor a minute ago at 100 s; how far it came, at which speed, and at which it goes on.
    ("left_s", "ran", "goes", "now_s"),
    [
        (100, 1.0, 1.0, 160),
        (150, 1.0, 1.0, 160),
        (700, 20.0, 20.0, 1300),
        (700, 20.0, 1.0, 730),
        (900, 1.0, 1.0, 900),
    ],
)
def test_a_run_that_continues_goes_on_in_the_old_runs_time(
    left_s: int, ran: float, goes: float, now_s: int
) -> None:
    minute_ago = (datetime.now(UTC) - timedelta(seconds=60)).isoformat()
    now = stand_time_of_now((100 * S, minute_ago), left_s * S, ran, goes)
    # The wall goes on while this test runs.
    assert now_s * S <= now < (now_s + 60 * goes) * S
