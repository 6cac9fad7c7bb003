"""Meters: within their class, the same for the same seed, and wrong in the ways they can be."""

from statistics import fmean, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.description import Accuracy, Channel
from drivers.replies import read_numbers
from drivers.simulated.meters import Meter, stand_meters
from drivers.simulated.truth import TrueInstrument
from tests.drivers.simulated.scenario import stand_file, truth_file

VOLTS = Channel("voltage", "lv.voltage.1", "V", 5.0, False, Accuracy(0.1, 0.05), (60.0, 600.0))
QUIET = TrueInstrument(noise_percent=0.0, digits=12)


@given(st.integers(0, 10**6), st.floats(0, 600))
def test_error_is_within_the_class(seed: int, true: float) -> None:
    """Whatever the seed, the reading is off by no more than reading part and range part."""
    shown = Meter(VOLTS, QUIET, seed).value(true)
    assert shown is not None
    span = 60 if true <= 60 else 600
    assert abs(shown - true) <= true * 0.1 / 100 + span * 0.05 / 100 + 1e-9


def test_errors_fill_the_class() -> None:
    """Over many seeds the fixed errors are uniform: as large as the class, and centred."""
    errors = [Meter(VOLTS, QUIET, seed).reading_error for seed in range(2000)]
    assert max(errors) > 0.098
    assert min(errors) < -0.098
    assert abs(fmean(errors)) < 4 * 0.1 / 3**0.5 / 2000**0.5
    assert stdev(errors) == pytest.approx(0.1 / 3**0.5, rel=0.05)


def test_reading_and_range_part_are_drawn_apart() -> None:
    """The two parts of an error don't go together."""
    meters = [Meter(VOLTS, QUIET, seed) for seed in range(500)]
    together = fmean(m.reading_error / 0.1 * m.range_error / 0.05 for m in meters)
    assert abs(together) < 4 / 3 / 500**0.5


def test_the_error_stays_for_the_run() -> None:
    """Without noise the same voltage reads the same each time."""
    meter = Meter(VOLTS, QUIET, 3)
    assert len({meter.text(230.0) for _ in range(20)}) == 1


def test_noise_is_as_stated() -> None:
    """Noise is drawn for each value, its spread a share of the reading."""
    meter = Meter(VOLTS, TrueInstrument(noise_percent=0.02, digits=12), 3)
    values = [meter.value(230.0) or 0.0 for _ in range(2000)]
    assert stdev(values) == pytest.approx(230 * 0.02 / 100, rel=0.1)


def test_same_seed_same_answers() -> None:
    """The same seed says the same, digit for digit; another seed doesn't."""

    def said(seed: int) -> list[str]:
        meter = Meter(VOLTS, TrueInstrument(noise_percent=0.01), seed)
        return [meter.text(230.0) for _ in range(5)]

    assert said(7) == said(7)
    assert said(7) != said(8)


def test_each_meter_has_noise_of_its_own() -> None:
    """A meter more or less, or one that is asked more often, changes nothing for another."""
    alone, busy = (stand_meters(stand_file(), truth_file(), 5) for _ in range(2))
    for _ in range(7):
        busy["lv.current.1"].text(5.0)
    assert alone["lv.voltage.1"].text(400.0) == busy["lv.voltage.1"].text(400.0)


def test_above_the_last_range_it_says_so() -> None:
    """Over range is what SCPI says of it, and read as that."""
    said = Meter(VOLTS, QUIET, 1).text(600.01)
    assert read_numbers(said, 1) == [float("inf")]


def test_the_ratio_is_taken_out() -> None:
    """An instrument behind a transformer reports what its terminals see."""
    behind = Channel("voltage", "series.voltage.1", "V", 5.0, ratio=100.0)
    assert Meter(behind, QUIET, 1).text(13200.0) == "132"


@pytest.mark.parametrize("digits", [4, 6])
def test_it_shows_its_digits(digits: int) -> None:
    """No more figures than the instrument has."""
    said = Meter(VOLTS, TrueInstrument(digits=digits), 1).text(123.456789)
    assert len(said.replace(".", "")) <= digits


def test_voltage_never_reads_below_nought() -> None:
    """A zero that is off to the other side still reads nought; power keeps its sign."""
    power = Channel("power", "lv.power.1", "W", 5.0, False, Accuracy(0, 0.05), (12000.0,))
    assert min(Meter(VOLTS, QUIET, seed).value(0.0) or 0.0 for seed in range(50)) == 0.0
    assert min(Meter(power, QUIET, seed).value(0.0) or 0.0 for seed in range(50)) < 0.0


def test_dead_frozen_and_wrongly_multiplied() -> None:
    """Dead is a perfect nought; frozen goes on saying the same; a multiplier acts on the truth."""
    meter = Meter(Channel("power", "lv.power.1", "W", 5.0), QUIET, 1)
    assert meter.text(100.0) == "100"
    meter.frozen = True
    assert meter.text(50.0) == "100"
    meter.frozen = False
    meter.multiplier = -1.0
    assert meter.text(50.0) == "-50"
    meter.dead = True
    assert meter.text(50.0) == "0"
