"""An instrument that says the same for too long of something that is there, and one that may."""

from dataclasses import replace
from typing import Any

import pytest

from drivers.description import Instrument
from drivers.instrument import RegisterInstrument, TextInstrument
from drivers.reading import Quality
from tests.drivers.canned import CannedClock, CannedRegisters, CannedText
from tests.drivers.simulated.scenario import descriptions, stand_file

S = 1_000_000_000
AFTER_S = 10.0
LIVE = "230.01,229.98,0.8612,104.21,50.001"
DEAD = "0.0131,0.0131,0.0002,0.01,50.001"


def instrument(name: str, after_s: float | None = AFTER_S) -> Instrument:
    found = next(i for i in stand_file().instrument if i.name == name)
    return replace(found, frozen_after_s=after_s)


class Polled:
    """The LV analyser, and the qualities of its first channel from poll to poll, one a second."""

    def __init__(self, *answers: str, after_s: float | None = AFTER_S) -> None:
        self.clock = CannedClock()
        link = CannedText(self.clock, idn=["INVENTED,POWER ANALYSER,1,1"], fetc=answers)
        description: Any = descriptions()["power_analyser"]
        self.driver = TextInstrument(
            instrument("lv_analyser", after_s), description, link, self.clock
        )

    def qualities(self, polls: int) -> list[Quality]:
        found = []
        for _ in range(polls):
            found.append(self.driver.poll()[0].quality)
            self.clock.t += S
        return found


def test_the_same_to_the_last_digit_for_its_time_is_bad() -> None:
    """Good until then; the fault says what it said and for how long."""
    polled = Polled(LIVE)
    assert set(polled.qualities(9)) == {Quality.GOOD}
    assert set(polled.qualities(3)[-2:]) == {Quality.BAD}
    assert "the same to the last digit" in str(polled.driver.fault)
    assert "FETC?" in str(polled.driver.fault)


def test_it_stays_bad_while_it_says_the_same_though_the_link_was_opened_anew() -> None:
    """An old answer is not made new by asking again."""
    polled = Polled(LIVE)
    assert set(polled.qualities(40)[12:]) == {Quality.BAD}


def test_one_digit_more_or_less_is_a_new_answer() -> None:
    """Of any of its values."""
    polled = Polled(*[LIVE] * 9, LIVE.replace("104.21", "104.22"), *[LIVE] * 9, LIVE + " ")
    assert set(polled.qualities(20)) == {Quality.GOOD}


def test_a_circuit_that_is_dead_may_say_the_same_for_ever() -> None:
    """Nothing has no noise; and rated frequency is no sign that anything is there."""
    assert set(Polled(DEAD).qualities(40)) == {Quality.GOOD}


def test_without_a_time_nothing_is_judged() -> None:
    """Only who knows the meter's digits can say how long they may rest."""
    assert set(Polled(LIVE, after_s=None).qualities(40)) == {Quality.GOOD}


@pytest.mark.parametrize(("value", "last"), [(2150, Quality.BAD), (0, Quality.GOOD)])
def test_registers_as_well(value: int, last: Quality) -> None:
    """A scanner that goes on with what it read last."""
    clock = CannedClock()
    registers = {0: 0x5453, 1: 1} | dict.fromkeys(range(2, 9), value)
    link = CannedRegisters(clock, registers)
    description: Any = descriptions()["temperature_scanner"]
    driver = RegisterInstrument(instrument("temperatures"), description, link, clock)
    qualities = []
    for _ in range(4):
        qualities.append(driver.poll()[0].quality)
        clock.t += 5 * S
    assert qualities == [Quality.GOOD, Quality.GOOD, last, last]
    registers[3] += 1
    assert driver.poll()[0].quality is Quality.GOOD
