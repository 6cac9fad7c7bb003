"""How warm windings are told to be while their load loss is read."""

from dataclasses import replace
from pathlib import Path

import pytest

from acquire.archive import Archive
from acquire.configuration import load_scenario
from acquire.rehearsal import Rehearsal
from drivers.reading import Reading
from sequences.scan import HV_CURRENT, HV_POWER, LV_POWER, S, Stop
from sequences.stages import Slope, Window
from sequences.warming import SMALL_S, Heating, winding_c
from tests.sequences.paper import Paper, shipped

RATED_A = shipped().nameplate.hv_current_a
LIQUID_C = 20.0
NO_LOAD = {LV_POWER: 640.0}
MEANS = {LV_POWER: 600.0, HV_POWER: 3040.0, HV_CURRENT: RATED_A}
SURE = 1e-9


def window(hv_power: float = 0.0, current: float = 0.0, standard: float = SURE) -> Window:
    """Return load readings that move by so much a second, on paper."""
    slopes = {LV_POWER: 0.0, HV_POWER: hv_power, HV_CURRENT: current}
    return Window(MEANS, {c: Slope(s, standard) for c, s in slopes.items()})


def heated(currents: list[float]) -> Heating:
    """Return what a second of each of these shares of rated current leaves."""
    heating, paper = Heating(shipped()), Paper()
    for k, share in enumerate(currents):
        reading = Reading(HV_CURRENT, k * S, k * S, share * RATED_A)
        heating.scanned(replace(paper.scan(), arrived=(reading,)))
    return heating


def test_rated_current_heats_for_as_long_as_it_flows() -> None:
    """In the first seconds; a slope that begins to fall is made up for."""
    assert heated([1.0] * 11).told_by_slope_s == pytest.approx(10.0, rel=0.03)


def test_it_counts_by_its_square() -> None:
    assert heated([0.5] * 11).told_by_slope_s == pytest.approx(2.5, rel=0.03)


def test_it_is_forgotten_with_the_windings_time_constant() -> None:
    """What the prove stage left is less by e after so long."""
    early = heated([1.0] * 11)
    late = heated([1.0] * 11 + [0.0] * int(SMALL_S))
    assert late.told_by_slope_s == pytest.approx(early.told_by_slope_s / 2.718, rel=0.05)


def test_loss_that_grows_tells_of_warmer_windings() -> None:
    """0.1 % a minute of a loss that a kelvin makes 0.35 % more, heated for a minute: 0.3 K."""
    told = winding_c(shipped(), window(hv_power=0.001 / 60 * 3000), NO_LOAD, LIQUID_C, 60.0)
    assert 0.2 < told - LIQUID_C < 0.4


def test_loss_that_grows_with_current_tells_nothing() -> None:
    """Twice the relative slope of current is power's own."""
    share = 1e-5
    moving = window(hv_power=2 * share * 3000, current=share * RATED_A)
    assert winding_c(shipped(), moving, NO_LOAD, LIQUID_C, 60.0) == pytest.approx(LIQUID_C)


def test_readings_that_scatter_tell_nothing() -> None:
    """The liquid's temperature stands."""
    noisy = window(hv_power=0.5, standard=0.5)
    assert winding_c(shipped(), noisy, NO_LOAD, LIQUID_C, 60.0) == LIQUID_C


def test_a_drift_that_no_winding_makes_is_found() -> None:
    with pytest.raises(Stop, match="load_loss_drifts"):
        winding_c(shipped(), window(hv_power=10.0), NO_LOAD, LIQUID_C, 60.0)


def test_it_is_what_the_windings_of_the_plant_truly_have(tmp_path: Path) -> None:
    """Within half a kelvin, where the liquid alone is two below."""
    scenario = load_scenario("distribution_pair", "loss_test")
    true_c = []
    with Archive(tmp_path) as archive:
        rehearsal = Rehearsal(scenario, seed=2, archive=archive)
        for _scan in rehearsal.scans():
            if rehearsal.cycle.run.stage == "load_readings":
                true_c += [c for unit in "ab" for c in rehearsal.stand.winding_c(unit)]
        result = rehearsal.finish().result
    assert result is not None
    mean = sum(true_c) / len(true_c)
    assert result["pair_mean"]["winding_temperature_c"] == pytest.approx(mean, abs=0.5)
    assert mean > 22.5
