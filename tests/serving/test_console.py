"""People's hands on a served stand: what a line does, and what it says."""

import pytest

from drivers.simulated.circuit import Wiring
from tests.serving.conftest import Serve
from tests.serving.serving import Bench, asked, waited_for


def test_an_interchange_happens_behind_an_open_guard(serve: Serve) -> None:
    """Nobody reaches a terminal before; the pair is the other way round after."""
    bench = serve()
    assert "guard open" in bench.do("interchange")[0]
    assert bench.plant.wiring == Wiring()
    assert bench.do("guard open") == ["the guard is open"]
    assert bench.ask(lambda: bench.plant.status()[0]) is False
    assert "aiding" in bench.do("interchange")[0]
    assert bench.do("guard shut") == ["the guard is shut"]
    assert bench.plant.wiring == Wiring(aiding=True)
    assert bench.plant.guard


def test_a_fault_behind_the_guard_opens_it_first(serve: Serve) -> None:
    """Hands open the guard, reach the terminal, and shut it."""
    bench = serve(speed=200)
    assert bench.do("fault leads_swapped") == []
    assert waited_for(lambda: bench.ask(lambda: bench.plant.wiring.aiding and bench.plant.guard))
    assert [what for _, what in bench.told] == ["the guard is opened for it", "begins"]


def test_state_tells_contacts_truth_and_faults(serve: Serve) -> None:
    """Three lines: when and what the contacts are, the true circuit, the faults that are there."""
    bench = serve("guard_opened")
    status, true, faults = bench.do("state")
    assert "guard 0, emergency_stop 1" in status
    assert "LV bus 0.00 V" in true
    assert "in opposition" in true
    assert faults == "faults: guard_opened"


def test_a_selector_turned_by_hand_connects_the_resistance_meter(serve: Serve) -> None:
    """Its contact follows, the meter reads the windings, and open again it reads none."""
    bench = serve(speed=100, by_hand=True)
    port = bench.port("resistance_meter")

    def reads() -> list[float]:
        return [float(value) for value in asked(port, "FETC?")[0].split(",")]

    over_range = reads()
    assert bench.do("selector 1") == ["the selector is turned: to position 1"]
    assert waited_for(lambda: 0.0 < min(reads()) < max(reads()) < 10.0)
    assert bench.ask(lambda: bench.plant.resistance_selector.contact) == 1
    assert bench.do("selector open") == ["the selector is turned: open"]
    assert waited_for(lambda: reads() == over_range)


@pytest.mark.parametrize("line", ["selector", "selector 2", "selector 0", "selector shut"])
def test_a_selector_has_the_positions_of_the_stand_file(serve: Serve, line: str) -> None:
    """One here; anything else is said to be none."""
    assert serve(by_hand=True).do(line) == ["selector open, or selector 1 to 1"]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("selector 1", "the program turns the selector"),
        ("dance", "'dance' is none of: fault NAME"),
        ("fault nonsense", "there is no 'nonsense'"),
        ("fault guard_opend", "did you mean guard_opened?"),
        ("fault crash", "crash befalls a program or its operator"),
        ("fault operator_absent:5", "twinload rehearse --fault operator_absent"),
        ("fault guard_opened:-1", "not a number of seconds"),
        ("fault guard_opened@5", "begins now"),
        ("clear guard_opened", "there is no fault 'guard_opened' to clear; there are: none"),
        ("guard ajar", "guard open, or guard shut"),
    ],
)
def test_a_line_that_can_not_be_done_says_why(stand: Bench, line: str, words: str) -> None:
    """One line, and nothing has changed."""
    said = stand.do(line)
    assert len(said) == 1
    assert words in said[0]
    assert stand.ask(lambda: stand.site.faults.now_held) == ()


def test_an_empty_line_is_nothing(stand: Bench) -> None:
    """Whoever leans on the return key disturbs nobody."""
    assert stand.do("  ") == []


def test_a_fault_cleared_before_its_time_ends_once(serve: Serve) -> None:
    """The end that it was given finds it gone, and a later one of the same name untouched."""
    bench = serve(speed=20)
    bench.do("fault guard_opened:4")
    bench.do("clear guard_opened")
    bench.do("fault guard_opened")
    past = bench.ask(lambda: bench.plant.t) + 5_000_000_000
    assert waited_for(lambda: bench.ask(lambda: bench.plant.t > past))
    assert [what for _, what in bench.told] == ["begins", "ends", "begins"]
    assert bench.plant.guard is False
