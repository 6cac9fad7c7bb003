"""Contactors, regulators and the watchdog relay: when they move, and how they fail."""

import pytest

from drivers.simulated.machinery import Contactor, Regulator, Watchdog
from tests.drivers.simulated.scenario import stand_file

MS = 1_000_000
SECOND = 1_000_000_000


def _closed() -> Contactor:
    contactor = Contactor(0.06, 0.04)
    contactor.commanded = True
    contactor.advance(0, supplied=True)
    contactor.advance(60 * MS, supplied=True)
    assert contactor.closed
    return contactor


def test_a_contactor_takes_its_time() -> None:
    """Closed 60 ms after the command, and not a nanosecond before."""
    contactor = Contactor(0.06, 0.04)
    contactor.commanded = True
    contactor.advance(0, supplied=True)
    contactor.advance(60 * MS - 1, supplied=True)
    early = contactor.closed
    contactor.advance(60 * MS, supplied=True)
    assert (early, contactor.closed, contactor.contact) == (False, True, True)


@pytest.mark.parametrize("how", ["command", "supply", "itself"])
def test_a_contactor_opens(how: str) -> None:
    """It opens 40 ms after the command, its coil's supply or its own grip has gone."""
    contactor = _closed()
    contactor.commanded = how != "command"
    contactor.fallen_out = how == "itself"
    contactor.advance(SECOND, supplied=how != "supply")
    contactor.advance(SECOND + 40 * MS - 1, supplied=how != "supply")
    early = contactor.closed
    contactor.advance(SECOND + 40 * MS, supplied=how != "supply")
    assert (early, contactor.closed) == (True, False)


def test_a_command_taken_back_in_time_closes_nothing() -> None:
    """A coil that loses its command while closing never closes the contacts."""
    contactor = Contactor(0.06, 0.04)
    contactor.commanded = True
    contactor.advance(0, supplied=True)
    contactor.commanded = False
    contactor.advance(30 * MS, supplied=True)
    contactor.advance(SECOND, supplied=True)
    assert not contactor.closed


def test_welded_contacts_stay_closed() -> None:
    """Welded, it stays closed without its coil, and opens once it is free."""
    contactor = _closed()
    contactor.welded = True
    contactor.commanded = False
    contactor.advance(SECOND, supplied=True)
    contactor.advance(2 * SECOND, supplied=True)
    welded = contactor.closed
    contactor.welded = False
    contactor.advance(3 * SECOND, supplied=True)
    assert (welded, contactor.closed) == (True, False)


def test_a_jammed_contactor_never_closes() -> None:
    """Jammed, it doesn't close, whatever its coil does."""
    contactor = Contactor(0.06, 0.04)
    contactor.jammed = contactor.commanded = True
    contactor.advance(0, supplied=True)
    contactor.advance(SECOND, supplied=True)
    assert not contactor.closed
    assert not contactor.contact


def test_the_auxiliary_contact_may_lie() -> None:
    """The auxiliary contact can say what isn't so; the main contacts don't follow it."""
    contactor = _closed()
    contactor.auxiliary = False
    assert contactor.closed
    assert not contactor.contact


def _regulator() -> Regulator:
    return Regulator(stand_file().outputs.lv_regulator)


def test_a_regulator_travels_at_its_rate() -> None:
    """Four hundredths of travel a second, to the target and no further."""
    regulator = _regulator()
    regulator.command(0.5)
    regulator.advance(5 * SECOND)
    assert regulator.position == pytest.approx(0.2)
    regulator.advance(20 * SECOND)
    assert regulator.position == pytest.approx(0.5)
    regulator.command(0.0)
    regulator.advance(40 * SECOND)
    assert regulator.position == 0.0


def test_a_regulator_moves_in_steps() -> None:
    """Its position is a whole number of its steps, under way and at rest."""
    regulator = _regulator()
    regulator.command(0.123456)
    for t in range(0, 5 * SECOND, 70 * MS):
        regulator.advance(t)
        steps = regulator.position / 0.0002
        assert steps == pytest.approx(round(steps), abs=1e-6)
    assert regulator.position == pytest.approx(0.1234)


@pytest.mark.parametrize(("to", "end"), [(1.5, 1.0), (-0.5, 0.0)])
def test_a_regulator_stays_within_its_travel(to: float, end: float) -> None:
    """A target outside its travel is the end of it."""
    regulator = _regulator()
    regulator.command(to)
    regulator.advance(60 * SECOND)
    assert regulator.position == end


def test_a_stuck_regulator_stays() -> None:
    """A stuck motor moves nothing, and goes on when it is free."""
    regulator = _regulator()
    regulator.stuck = True
    regulator.command(0.5)
    regulator.advance(20 * SECOND)
    assert regulator.position == 0.0
    regulator.stuck = False
    regulator.advance(21 * SECOND)
    assert regulator.position == pytest.approx(0.04)


def test_a_runaway_moves_by_itself() -> None:
    """A drifting regulator leaves its target, as far as the end of its travel."""
    regulator = _regulator()
    regulator.drift_per_s = 0.1
    regulator.advance(3 * SECOND)
    assert regulator.position == pytest.approx(0.3)
    regulator.advance(60 * SECOND)
    assert regulator.position == 1.0


def test_feedback_and_output_may_leave_the_position() -> None:
    """The transmitter can lie, and the voltage can stay behind the position."""
    regulator = _regulator()
    regulator.command(0.4)
    regulator.advance(20 * SECOND)
    assert (regulator.reported, regulator.share) == pytest.approx((0.4, 0.4))
    regulator.feedback, regulator.output = 0.1, 0.2
    assert (regulator.reported, regulator.share) == (0.1, 0.2)
    assert regulator.position == pytest.approx(0.4)


def test_the_watchdog_needs_toggling() -> None:
    """It picks up at the first toggle, holds for its time, and not for a level that stays."""
    watchdog = Watchdog(3.0)
    seen: list[bool] = []

    def see(t: int) -> None:
        watchdog.advance(t)
        seen.append(watchdog.picked_up)

    watchdog.beat(0, 0)
    see(0)
    watchdog.beat(0, 1)
    see(0)
    watchdog.beat(2 * SECOND, 1)
    see(3 * SECOND - 1)
    see(3 * SECOND)
    watchdog.beat(5 * SECOND, 0)
    see(5 * SECOND)
    assert seen == [False, True, True, False, True]


def test_a_welded_watchdog_never_drops() -> None:
    """A relay that is stuck holds without a heartbeat, and drops once it is free."""
    watchdog = Watchdog(3.0)
    watchdog.beat(0, 1)
    watchdog.welded = True
    watchdog.advance(20 * SECOND)
    stuck = watchdog.picked_up
    watchdog.welded = False
    watchdog.advance(21 * SECOND)
    assert (stuck, watchdog.picked_up) == (True, False)
