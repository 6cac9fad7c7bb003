"""Outputs as they are written: a selector onto a position, contactors onto nothing but 1."""

import pytest

from drivers.link import Block, NoAnswer
from drivers.outputs import LOOP, LV, LV_REGULATOR, SELECTOR, Outputs, S
from drivers.reading import Reading
from tests.drivers.simulated.scenario import SHIPPED, LocalClock, stand_file

WIRING = stand_file().outputs


class Written:
    """An outputs unit that keeps what is written to it."""

    def __init__(self) -> None:
        self.words: list[tuple[int, int]] = []

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        assert timeout_s > 0
        self.words += [(address + i, value) for i, value in enumerate(values)]

    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        raise AssertionError(f"nothing is read: {block}, {timeout_s}")

    def reopen(self) -> None:
        raise AssertionError("it is open")

    def close(self) -> None:
        raise AssertionError("it stays open")


@pytest.fixture(name="unit")
def _unit() -> Written:
    return Written()


@pytest.fixture(name="outputs")
def _outputs(unit: Written) -> Outputs:
    return Outputs(WIRING, unit, LocalClock())


def test_a_selector_is_closed_onto_a_position(outputs: Outputs, unit: Written) -> None:
    """Its register and its command are the position."""
    outputs.close(SELECTOR, 2)
    assert unit.words == [(WIRING.resistance_selector.address, 2)]
    assert outputs.states()[SELECTOR].commanded == 2.0


@pytest.mark.parametrize(("output", "address"), [(LV, 1), (LOOP, 2)])
def test_a_contactor_knows_no_positions(
    outputs: Outputs, unit: Written, output: str, address: int
) -> None:
    """Closed is 1, whatever is asked."""
    outputs.close(output, 3)
    assert unit.words == [(address, 1)]
    assert outputs.states()[output].commanded == 1.0


def test_moving_on_it_is_at_rest_only_at_its_new_position(outputs: Outputs) -> None:
    """Neither where it stood nor open, through which it goes."""
    seen = []
    outputs.close(SELECTOR, 1)
    outputs.follow([Reading(SELECTOR, 1, 1, 1.0)])
    outputs.close(SELECTOR, 2)
    for began, position in ((2, 1.0), (3, 0.0), (4, 2.0)):
        outputs.follow([Reading(SELECTOR, began, began, position)])
        seen.append(outputs.states()[SELECTOR].at_rest_since)
    assert seen == [None, None, 4]


def test_a_regulator_is_due_its_travel_after_the_write_was_answered() -> None:
    """A write that waited for its answer leaves it no less time; readings count from before it."""
    clock, unit = LocalClock(), Written()

    class Slow(Written):
        def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
            unit.write(address, values, timeout_s)
            clock.wait_until(clock.now() + 4 * S)

    outputs = Outputs(WIRING, Slow(), clock)
    begun = clock.now()
    outputs.move(LV_REGULATOR, 0.4)
    state = outputs.states()[LV_REGULATOR]
    travel = round(0.4 / WIRING.lv_regulator.rate_per_s * S)
    assert unit.words
    assert (state.since, state.due) == (begun, begun + 4 * S + travel)


def test_stop_category_0_opens_it(outputs: Outputs, unit: Written) -> None:
    """After loop and LV."""
    outputs.close(SELECTOR, 2)
    unit.words.clear()
    outputs.open_all()
    assert unit.words[:3] == [(2, 0), (1, 0), (3, 0)]
    assert outputs.states()[SELECTOR].commanded == 0.0


DROP_NS = 3_000_000_000


class TestHeartbeat:
    def test_it_toggles(self, outputs: Outputs, unit: Written) -> None:
        """A relay is held by change, not by a level."""
        for _ in range(3):
            outputs.heartbeat(DROP_NS)
        assert unit.words == [(WIRING.heartbeat, 1), (WIRING.heartbeat, 0), (WIRING.heartbeat, 1)]

    @pytest.mark.parametrize("contactor", [LV, LOOP])
    def test_a_relay_that_may_have_dropped_is_not_picked_up_under_a_closed_command(
        self, unit: Written, contactor: str
    ) -> None:
        """However late in a scan time has passed: it is asked when the beat is written."""
        clock = LocalClock()
        outputs = Outputs(WIRING, unit, clock)
        outputs.heartbeat(DROP_NS)
        outputs.close(contactor)
        clock.t += DROP_NS - 1
        outputs.heartbeat(DROP_NS)
        unit.words.clear()
        clock.t += DROP_NS
        outputs.heartbeat(DROP_NS)
        outputs.heartbeat(DROP_NS)
        assert unit.words == []
        outputs.open_all()
        unit.words.clear()
        outputs.heartbeat(DROP_NS)
        assert len(unit.words) == 1


class Failing(Written):
    """An outputs unit of which nothing is taken any more."""

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        raise NoAnswer("outputs", f"write {values} at {address}", f"no answer in {timeout_s} s")


def test_the_first_command_that_is_lost_is_the_one_that_is_told() -> None:
    """By the name of its output; from then on nothing beats."""
    outputs = Outputs(WIRING, Failing(), LocalClock())
    outputs.close(LV)
    outputs.heartbeat(DROP_NS)
    assert outputs.fault is not None
    assert "write (1,) at 1, lv_contactor" in str(outputs.fault)


def test_no_motor_runs_before_the_outputs_are_claimed(unit: Written) -> None:
    """Not even down to zero, where it would be sent: another program may hold them."""
    wiring = stand_file(SHIPPED / "bench_pair").outputs
    motor = wiring.loop_regulator.motor
    assert motor is not None
    outputs = Outputs(wiring, unit, LocalClock())
    outputs.go_on()
    assert unit.words == []
    outputs.claim()
    outputs.go_on()
    assert (motor.lower_at, 1) in unit.words
    assert (motor.raise_at, 1) not in unit.words
