"""The resistance meter's selector: positions, d.c. that dies away, no closing under voltage."""

from dataclasses import replace
from math import exp

import pytest

from drivers.reading import OVER_RANGE, Quality
from drivers.simulated.machinery import SECOND
from drivers.simulated.selector import Selector
from drivers.simulated.winding import DISCHARGED_AFTER, EXCESS
from tests.drivers.simulated.scenario import DRY, FOLDER, Bench, build, stand_file, truth_file

CLOSE_S, OPEN_S, DISCHARGE_S = 0.06, 0.04, 5.0
DISCHARGED = round((OPEN_S + DISCHARGE_S) * SECOND)
CLOSED = round(CLOSE_S * SECOND)


class Voltage:
    """Whether there is any, as the test says."""

    there = False

    def __call__(self) -> bool:
        return self.there


@pytest.fixture(name="voltage")
def _voltage() -> Voltage:
    return Voltage()


@pytest.fixture(name="selector")
def _selector(voltage: Voltage) -> Selector:
    return Selector(CLOSE_S, OPEN_S, lambda _: DISCHARGE_S, voltage)


def at(selector: Selector, t: int) -> int:
    """Move on to `t`, with every instant at which something is due on the way."""
    while selector.due < t:
        selector.advance(int(selector.due))
    selector.advance(t)
    return selector.contact


def tell(selector: Selector, t: int, position: int) -> None:
    """Command it at `t`, as a write to the outputs unit does."""
    at(selector, t)
    selector.commanded = position
    selector.advance(t)


class TestAlone:
    def test_it_closes_onto_a_position_and_applies_its_d_c(self, selector: Selector) -> None:
        """After the contacts' time, and the d.c. counts from then."""
        tell(selector, 0, 2)
        assert [at(selector, t) for t in (0, CLOSED - 1, CLOSED)] == [0, 0, 2]
        assert selector.d_c(CLOSED + 3 * SECOND) == (2, 3.0)

    def test_it_opens_only_when_the_d_c_has_died_away(self, selector: Selector) -> None:
        """Until then it reads as closed, and nothing is measured."""
        tell(selector, 0, 1)
        told = 2 * SECOND
        tell(selector, told, 0)
        seen = [at(selector, told + t) for t in (0, DISCHARGED - 1)]
        assert selector.d_c(told + DISCHARGED - 1) is None
        assert [*seen, at(selector, told + DISCHARGED)] == [1, 1, 0]

    def test_it_moves_on_through_open(self, selector: Selector) -> None:
        """Never two positions at once: discharged, open, and then the next."""
        tell(selector, 0, 1)
        told = 2 * SECOND
        tell(selector, told, 2)
        seen = [at(selector, told + t) for t in (0, DISCHARGED - 1, DISCHARGED)]
        assert [*seen, at(selector, told + DISCHARGED + CLOSED)] == [1, 1, 0, 2]
        assert selector.d_c(told + DISCHARGED + CLOSED) == (2, 0.0)

    def test_told_back_half_way_it_stays_and_begins_its_d_c_anew(self, selector: Selector) -> None:
        """What was being discharged is applied afresh, and settles afresh."""
        tell(selector, 0, 1)
        tell(selector, 2 * SECOND, 0)
        tell(selector, 4 * SECOND, 1)
        assert at(selector, 60 * SECOND) == 1
        assert selector.d_c(60 * SECOND) == (1, 56.0)

    def test_it_does_not_close_under_voltage(self, selector: Selector, voltage: Voltage) -> None:
        """Nor by itself when the voltage has gone: only when it is told anew."""
        voltage.there = True
        tell(selector, 0, 1)
        at(selector, SECOND)
        voltage.there = False
        assert at(selector, 60 * SECOND) == 0
        tell(selector, 61 * SECOND, 0)
        tell(selector, 62 * SECOND, 1)
        assert at(selector, 63 * SECOND) == 1

    def test_without_its_interlock_it_closes(self, selector: Selector, voltage: Voltage) -> None:
        """The hazard that the interlock keeps away."""
        voltage.there, selector.interlocked = True, False
        tell(selector, 0, 1)
        assert at(selector, SECOND) == 1

    def test_welded_it_stays_and_jammed_it_stays_open(self, selector: Selector) -> None:
        """Each until the fault has gone, and then it does as it is told."""
        selector.jammed = True
        tell(selector, 0, 1)
        jammed = at(selector, 60 * SECOND)
        selector.jammed = False
        freed = [at(selector, t) for t in (61 * SECOND, 62 * SECOND)][-1]
        selector.welded = True
        tell(selector, 63 * SECOND, 0)
        welded = at(selector, 120 * SECOND)
        selector.welded = False
        opened = [at(selector, t) for t in (121 * SECOND, 140 * SECOND)][-1]
        assert (jammed, freed, welded, opened) == (0, 1, 1, 0)

    def test_one_that_is_stuck_is_not_due_over_and_over(self, selector: Selector) -> None:
        """A plant that stops at every instant at which something is due would never get on."""
        selector.jammed = True
        tell(selector, 0, 1)
        assert selector.due > SECOND


def polled(bench: Bench) -> dict[str, float | None]:
    return {r.channel: r.value for r in bench.instruments["resistance_meter"].poll()}


class TestOnTheStand:
    def test_open_every_winding_reads_over_range(self) -> None:
        """Nothing is connected: BAD and never a number, and said to be over range."""
        bench = build()
        bench.run(1)
        readings = bench.instruments["resistance_meter"].poll()
        assert len(readings) == 4
        assert {(r.quality, r.reason) for r in readings} == {(Quality.BAD, OVER_RANGE)}

    def test_a_reading_starts_far_too_high_and_settles(self) -> None:
        """By the winding's own constant; after ten of them what is left is lost in the noise."""
        bench = build()
        bench.put("resistance_selector", 1)
        bench.run(CLOSE_S)
        for seconds in (2.0, 10.0, 200.0):
            bench.run(seconds)
            plant = bench.plant
            for channel, settling_s in (("a.resistance_hv", 4.0), ("a.resistance_lv", 8.0)):
                applied = plant.resistance_selector.d_c(plant.t)
                seen = plant.resistance(channel)
                assert applied is not None
                assert seen is not None
                true = plant.true_resistance(channel)
                left = EXCESS * exp(-applied[1] / settling_s)
                assert seen == pytest.approx(true * (1 + left), rel=1e-12)
        values = polled(bench)
        for channel, value in values.items():
            assert value == pytest.approx(bench.plant.true_resistance(channel), rel=1e-3)

    def test_a_position_connects_its_own_windings_alone(self) -> None:
        """Of the dry pair first unit A's windings, then unit B's."""
        bench = build(folder=DRY)
        seen = []
        for position in (1, 2):
            bench.put("resistance_selector", position)
            bench.run(120)
            seen.append({c for c, v in polled(bench).items() if v is not None})
        assert seen == [set(p) for p in stand_file(DRY).outputs.resistance_selector.positions]
        assert bench.plant.status()[5] == 2

    def test_a_position_that_is_not_wired_connects_nothing(self) -> None:
        """It reads its position, and no winding."""
        bench = build()
        bench.put("resistance_selector", 7)
        bench.run(120)
        assert bench.plant.status()[5] == 7
        assert set(polled(bench).values()) == {None}

    def test_where_no_positions_are_given_one_has_all(self) -> None:
        """The channels in ohms, as the stand file lists them; none where it has none."""
        stand = stand_file()
        outputs = stand.outputs
        bare = replace(outputs.resistance_selector, positions=())
        stand = replace(stand, outputs=replace(outputs, resistance_selector=bare))
        assert stand.selector_positions() == stand_file().selector_positions()
        bench = build(stand=stand)
        bench.put("resistance_selector", 1)
        bench.run(120)
        assert None not in polled(bench).values()
        without = tuple(i for i in stand.instrument if i.name != "resistance_meter")
        assert replace(stand, instrument=without).selector_positions() == ()

    def test_it_discharges_by_its_slowest_winding(self) -> None:
        """Several of its settling constants after it was told to open."""
        bench = build()
        bench.put("resistance_selector", 1)
        bench.run(100)
        bench.put("resistance_selector", 0)
        bench.run(DISCHARGED_AFTER * 8.0 - 0.1)
        before = bench.plant.status()[5]
        bench.run(0.2)
        assert (before, bench.plant.status()[5]) == (1, 0)

    @pytest.mark.parametrize(("lv", "closes"), [(0.0, True), (0.003, True), (0.02, False)])
    def test_under_voltage_it_stays_open(self, lv: float, closes: bool) -> None:
        """50 V anywhere on the windings: 1.4 V on the bus are 23 V on HV, 9 V are 150."""
        bench = build()
        bench.energise(lv)
        bench.put("resistance_selector", 1)
        bench.run(1)
        assert bench.plant.resistance_selector.closed is closes

    def test_live_after_it_closed_it_reads_nothing(self) -> None:
        """Whoever raises a voltage behind the permissives gets no number for it."""
        bench = build()
        bench.energise(0.0)
        bench.put("resistance_selector", 1)
        bench.run(60)
        assert None not in polled(bench).values()
        bench.put("lv_regulator", 0.5)
        bench.run(20)
        assert set(polled(bench).values()) == {None}

    def test_settling_is_the_windings_own_in_every_scenario(self) -> None:
        """Seconds, and slower on LV, whose resistance is the smaller against its inductance."""
        for folder in (FOLDER, DRY):
            truth = truth_file(folder)
            for unit in (truth.a, truth.b):
                assert 3 <= unit.hv_settling_s < unit.lv_settling_s <= 10
