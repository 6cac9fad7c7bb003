"""One program alone drives a stand: who comes second is told so, and writes nothing."""

from dataclasses import replace
from pathlib import Path

import pytest

from acquire.alone import DrivenAlready, alone, refuse_beating
from acquire.clock import WallClock
from acquire.configuration import load_scenario
from drivers.link import Block, Refused

STAND = load_scenario("distribution_pair", "loss_test").stand
S = 1_000_000_000


class Unit:
    """An outputs unit that only shows its heartbeat; `beats` is what it shows at each look."""

    def __init__(self, *beats: int) -> None:
        self.beats = list(beats)
        self.asked: list[Block] = []
        self.refuses = False

    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        assert timeout_s > 0
        self.asked.append(block)
        if self.refuses:
            raise Refused("outputs", "read", "it can only be written")
        return (self.beats.pop(0) if len(self.beats) > 1 else self.beats[0],)

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        raise AssertionError(f"written: {address}, {values}, {timeout_s}")

    def reopen(self) -> None:
        raise AssertionError("it is open")

    def close(self) -> None:
        raise AssertionError("it stays open")


class Jumping:
    """A monotonic clock that whoever sleeps moves on."""

    def __init__(self) -> None:
        self.t = 0
        self.clock = WallClock(monotonic_ns=lambda: self.t, sleep=self._sleep)

    def _sleep(self, seconds: float) -> None:
        self.t += max(round(seconds * S), 1)


def test_a_second_program_on_this_computer_is_refused_until_the_first_has_ended() -> None:
    """However the address is written."""
    respelt = replace(STAND.outputs, resource=STAND.outputs.resource.replace("/1", "/2"))
    with (
        alone(STAND),
        pytest.raises(DrivenAlready, match="another program on this computer"),
        alone(replace(STAND, outputs=respelt)),
    ):
        raise AssertionError("two at once")
    with alone(STAND):
        pass


def test_another_stand_is_another_matter() -> None:
    """Two stands may be run from one computer."""
    other = replace(STAND.outputs, resource="modbus-tcp:192.0.2.9:502/1")
    with alone(STAND), alone(replace(STAND, outputs=other)):
        pass


def test_where_no_lock_can_be_had_the_run_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The look at the heartbeat is left."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "gone"))
    with alone(STAND):
        pass


@pytest.mark.parametrize("beats", [(0, 1), (1, 0), (*[0] * 40, 1)])
def test_a_heartbeat_that_changes_is_another_programs(beats: tuple[int, ...]) -> None:
    """Looked at for the whole of the watchdog's time."""
    time = Jumping()
    with pytest.raises(DrivenAlready, match="another program drives these outputs"):
        refuse_beating(Unit(*beats), STAND, time.clock)
    assert time.t <= STAND.watchdog.drop_s * S


@pytest.mark.parametrize("beat", [0, 1])
def test_one_that_rests_is_nobodys(beat: int) -> None:
    """What a program that was killed has left stands as it was."""
    time, unit = Jumping(), Unit(beat)
    refuse_beating(unit, STAND, time.clock)
    assert time.t >= STAND.watchdog.drop_s * S
    assert set(unit.asked) == {Block(STAND.outputs.heartbeat, 1, "holding")}


def test_a_unit_that_can_only_be_written_shows_nothing() -> None:
    """It isn't asked again."""
    unit = Unit(0)
    unit.refuses = True
    refuse_beating(unit, STAND, Jumping().clock)
    assert len(unit.asked) == 1


def test_coils_are_read_as_coils() -> None:
    """They are in a table of their own."""
    coils = replace(STAND.outputs, resource=f"{STAND.outputs.resource}/coils")
    unit = Unit(0)
    refuse_beating(unit, replace(STAND, outputs=coils), Jumping().clock)
    assert {block.table for block in unit.asked} == {"coil"}
