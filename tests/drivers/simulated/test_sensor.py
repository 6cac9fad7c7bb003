"""Temperature sensors: late, off by what stays, noisy, and in their pockets or out of them."""

from math import exp
from statistics import mean, stdev

import pytest

from drivers.simulated.faults.heat import heat_faults
from drivers.simulated.hands import Hands
from drivers.simulated.thermal.sensor import Sensor
from tests.drivers.simulated.scenario import SECOND, Bench, build
from tests.drivers.simulated.test_faults import At


def test_it_follows_a_ramp_one_lag_behind() -> None:
    """Of 0.01 K/s, asked every 5 s, it is 0.6 K behind with a lag of 60 s: first order."""
    sensor = Sensor("a.top_liquid", 1, 60.0, 0.0, 0.0)
    shown = [sensor.shown(5 * k * SECOND, 20 + 0.05 * k) for k in range(200)]
    assert shown[-1] == pytest.approx(20 + 0.05 * 199 - 0.6, abs=1e-6)
    assert shown[12] == pytest.approx(20 + 0.6 - 0.6 * (1 - exp(-1.0)), abs=1e-9)


def test_it_does_not_ask_how_often_it_is_asked() -> None:
    """On a ramp its answer is the same by the second and by the minute."""
    often, seldom = (Sensor("ambient.1", 1, 900.0, 0.0, 0.0) for _ in range(2))
    for k in range(601):
        by_second = often.shown(k * SECOND, 20 + 0.001 * k)
        if k % 60 == 0:
            by_minute = seldom.shown(k * SECOND, 20 + 0.001 * k)
    assert by_minute == pytest.approx(by_second, abs=1e-9)


def test_its_offset_stays_and_is_its_own() -> None:
    """Drawn from seed and channel, within its limit, for the whole run."""
    offsets = [Sensor(f"ambient.{k}", 7, 60.0, 0.0, 0.1).offset_k for k in range(50)]
    assert max(abs(o) for o in offsets) <= 0.1
    assert stdev(offsets) == pytest.approx(0.1 / 3**0.5, rel=0.25)
    assert Sensor("ambient.1", 7, 5.0, 0.0, 0.1).offset_k == offsets[1]
    assert Sensor("ambient.1", 8, 5.0, 0.0, 0.1).offset_k != offsets[1]


def test_its_noise_is_as_stated() -> None:
    """Two thousand values in something that stays as it is."""
    sensor = Sensor("a.top_liquid", 1, 60.0, 0.02, 0.0)
    values = [sensor.shown(k * SECOND, 20.0) for k in range(2000)]
    assert stdev(values) == pytest.approx(0.02, rel=0.1)
    assert mean(values) == pytest.approx(20.0, abs=0.002)


@pytest.fixture(name="warm")
def _warm() -> Bench:
    """A bench whose pair has carried about rated current at rated voltage for two hours."""
    bench = build()
    bench.plant.watchdog.welded = True
    bench.energise(lv=0.872, loop=0.76)
    bench.plant.advance(bench.clock.t + 7200 * SECOND)
    return bench


def test_out_of_its_pocket_it_cools_to_the_room(warm: Bench) -> None:
    """With its own lag, and back in, warms again; its twin shows what it showed."""
    plant, hands = warm.plant, Hands()
    fault = next(f for f in heat_faults() if f.name == "unit_a_sensor_out_of_pocket")
    before = plant.temperature("a.top_liquid")
    for change in fault.changes(At(plant)):
        hands.hold("1", change)
    plant.advance(plant.t + 30 * SECOND)
    on_its_way = plant.temperature("a.top_liquid")
    plant.advance(plant.t + 900 * SECOND)
    out = plant.temperature("a.top_liquid")
    assert before > 40
    assert out < on_its_way < before
    assert out == pytest.approx(plant.temperature("ambient.1"), abs=0.5)
    assert plant.temperature("b.top_liquid") > 40
    hands.let_go("1")
    plant.temperature("a.top_liquid")
    plant.advance(plant.t + 900 * SECOND)
    assert plant.temperature("a.top_liquid") > before


def test_a_channel_of_something_that_the_unit_lacks_is_in_the_room(warm: Bench) -> None:
    """Wherever it hangs, it is somewhere in the room."""
    assert warm.plant.temperature("a.cellar") == pytest.approx(22, abs=1.5)


def test_hands_lay_a_temperature_over_what_the_sensor_shows(warm: Bench) -> None:
    """As it was before anything warmed up by itself."""
    warm.plant.temperatures_c = {"a.top_liquid": 99.0}
    assert warm.plant.temperature("a.top_liquid") == 99.0
