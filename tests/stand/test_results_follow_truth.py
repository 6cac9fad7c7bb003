"""Results follow what the simulated pair truly is when the files of a scenario change."""

from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.archive import Archive
from acquire.configuration import Scenario, load_scenario
from acquire.outcome import RunOutcome
from acquire.rehearsal import Rehearsal
from acquire.storm.good_pairs import draw_scenario, use_up_classes
from acquire.storm.truth_bounds import Bounds, true_mean
from acquire.storm.twins import (
    IMPEDANCE_PERCENT,
    NO_LOAD_CURRENT_PERCENT,
    draw_nameplate,
    most_mismatch,
)
from calculation.readings import LossReadings
from drivers.description import Accuracy, Channel, Stand
from tests.stand.scenario_files import write_files

READING_PERCENT = 0.05
RANGE_PERCENT = 0.02  # at most: the meter rule may ask for less
NOISE_PERCENT = 0.002
# From this part of the largest mismatch on the plain split has to be visibly wrong.
VISIBLE_FROM = 0.5


def _good_class(channel: Channel) -> Channel:
    if channel.accuracy is None or channel.unit == "°C":
        return channel
    of_range = min(RANGE_PERCENT, channel.accuracy.range_percent)
    return replace(channel, accuracy=Accuracy(READING_PERCENT, of_range))


def _with_good_meters(stand: Stand) -> Stand:
    return replace(
        stand,
        scan_period_s=1.0,
        instrument=tuple(
            replace(i, channel=tuple(_good_class(c) for c in i.channel)) for i in stand.instrument
        ),
    )


def _drawn(seed: int, u_k: float, i0: float, part: float) -> Scenario:
    """Draw a scenario with this u_k and I0, percent, and this part of the largest mismatch.

    The auxiliary e.m.f. leads so that loop current is roughly in phase with LV voltage: the twins
    then exchange most power.
    """
    d = Random(f"files/{seed}")
    plate = draw_nameplate(d, u_k, i0)
    drawn = draw_scenario(d, plate, low_flux=False)
    mismatch = d.choice((-1, 1)) * 100 * part * most_mismatch(plate)
    quiet = {k: replace(i, noise_percent=NOISE_PERCENT) for k, i in drawn.truth.instrument.items()}
    supply = replace(drawn.truth.loop_supply, angle_degree=d.uniform(45, 90))
    truth = replace(
        drawn.truth, ratio_mismatch_percent=mismatch, instrument=quiet, loop_supply=supply
    )
    return replace(drawn, stand=_with_good_meters(drawn.stand), truth=truth)


def _rehearsed(scenario: Scenario, seed: int, archive: Archive) -> tuple[RunOutcome, Bounds]:
    """Rehearse; every other time with all meters at the limits of their classes."""
    rehearsal = Rehearsal(scenario, seed=seed, archive=archive)
    if seed % 2:
        use_up_classes(rehearsal, Random(f"errors/{seed}"))
    outcome = rehearsal.finish()
    assert outcome.state == "complete", outcome.finding
    readings = rehearsal.cycle.run.returned
    assert isinstance(readings, LossReadings)
    return outcome, Bounds(scenario, rehearsal.expected, readings)


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    u_k=st.floats(*IMPEDANCE_PERCENT),
    i0=st.floats(*NO_LOAD_CURRENT_PERCENT),
    part=st.floats(0.0, 1.0),
)
def test_results_are_within_class_and_method_of_the_truth_and_the_plain_split_is_not(
    tmp_path_factory: pytest.TempPathFactory, seed: int, u_k: float, i0: float, part: float
) -> None:
    folder: Path = tmp_path_factory.mktemp("scenario")
    drawn = _drawn(seed, u_k, i0, part)
    write_files(drawn, folder)
    scenario = load_scenario(str(folder), "loss_test")
    assert (scenario.stand, scenario.pair, scenario.truth) == (drawn.stand, drawn.pair, drawn.truth)
    with Archive(folder / "runs") as archive:
        outcome, bounds = _rehearsed(scenario, seed, archive)
    assert outcome.result is not None
    truth, mean = true_mean(scenario), outcome.result["pair_mean"]
    p0, p_k = bounds.no_load_loss(), bounds.load_loss()
    assert mean["no_load_loss_w"] == pytest.approx(truth.no_load_loss_w, rel=p0)
    assert mean["load_loss_w"] == pytest.approx(truth.load_loss_w, rel=p_k)
    assert mean["impedance_percent"] == pytest.approx(
        truth.impedance_percent, rel=bounds.impedance()
    )
    if part >= VISIBLE_FROM:
        split = outcome.result["plain_split"]
        assert abs(split["no_load_loss_w"] / truth.no_load_loss_w - 1) > p0
        assert abs(split["load_loss_w"] / truth.load_loss_w - 1) > p_k
