"""What a heat record keeps of readings and marks. Constructed readings."""

from dataclasses import replace
from math import isnan

import pytest

from calculation.readings import LoadMeans, LossReadings, NoLoadMeans, ProveMeans
from drivers.outputs import LOOP_REGULATOR, LV, LV_REGULATOR
from drivers.reading import Quality, Reading
from sequences.heat_record import FALLEN_S, MOST_CURRENTS, SHUTDOWN, SOAK, HeatRecord
from sequences.procedures import record_of
from sequences.scan import HV_CURRENT, HV_VOLTAGE, TOP_LIQUID_A
from tests.sequences.built import fails, ns, over, reads, scan, told
from tests.sequences.night import shipped_heat_run
from tests.sequences.paper import shipped

A_HV = "a.resistance_hv"


@pytest.fixture(name="record")
def _record() -> HeatRecord:
    """Return an empty record of the shipped pair."""
    return HeatRecord(shipped_heat_run())


def doubtful(channel: str, value: float, t: float) -> Reading:
    """Return a reading that is uncertain."""
    return reads(channel, value, t)._replace(quality=Quality.UNCERTAIN)


class TestReadings:
    def test_only_good_ones_count(self, record: HeatRecord) -> None:
        for channel in (TOP_LIQUID_A, HV_CURRENT, A_HV):
            good = reads(channel, 40.0, 10.0), reads(channel, 42.0, 14.0)
            none = fails(channel, 12.0), over(channel, 13.0)
            record.add([good[0], doubtful(channel, 99.0, 11.0), *none, good[1]])
        record.add([reads(TOP_LIQUID_A, 40.0, 100.0)])
        history = record.history()
        assert history.channels[TOP_LIQUID_A][0] == history.channels[HV_CURRENT][0] == 41.0
        for of in (record.resistance("a_hv", 0.0, 60.0), record.current(0.0, 60.0)):
            assert [list(column) for column in of] == [[10.0, 14.0], [40.0, 42.0]]

    def test_what_a_heat_run_has_no_use_for_is_not_kept(self, record: HeatRecord) -> None:
        record.add([reads(HV_VOLTAGE, 1.0, 10.0), reads(LV, 1.0, 10.0)])
        record.add([reads(TOP_LIQUID_A, 40.0, 10.0), reads(TOP_LIQUID_A, 40.0, 100.0)])
        assert set(record.history().channels) == {TOP_LIQUID_A}

    def test_every_winding_has_its_own_resistances(self, record: HeatRecord) -> None:
        channels = {f"{u}_{s}": f"{u}.resistance_{s}" for u in "ab" for s in ("lv", "hv")}
        record.add([reads(c, float(at), 10.0) for at, c in enumerate(channels.values())])
        for at, winding in enumerate(channels):
            assert list(record.resistance(winding, 0.0, 20.0)[1]) == [float(at)]

    def test_an_interval_has_both_its_ends(self, record: HeatRecord) -> None:
        record.add([reads(A_HV, t, t) for t in (9.0, 10.0, 15.0, 20.0, 21.0)])
        assert list(record.resistance("a_hv", 10.0, 20.0)[0]) == [10.0, 15.0, 20.0]
        assert [len(column) for column in record.resistance("a_hv", 30.0, 40.0)] == [0, 0]


class TestCurrents:
    def test_those_of_the_shutdown_are_kept_and_what_comes_later_is_not(
        self, record: HeatRecord
    ) -> None:
        record.mark(SHUTDOWN, ns(1000.0))
        last = 1000.0 + FALLEN_S
        record.add([reads(HV_CURRENT, 1.0, t) for t in (900.0, 1000.0, last, last + 1.0, 2000.0)])
        assert list(record.current(0.0, 3000.0)[0]) == [900.0, 1000.0, last]

    def test_only_the_newest_are_kept(self, record: HeatRecord) -> None:
        """Memory does not grow with the night."""
        record.add([reads(HV_CURRENT, 1.0, float(t)) for t in range(3 * MOST_CURRENTS)])
        t_s, _ = record.current(0.0, 1e9)
        assert (len(t_s), t_s[-1]) == (MOST_CURRENTS, 3 * MOST_CURRENTS - 1.0)

    def test_a_soak_begins_them_anew(self, record: HeatRecord) -> None:
        """A run that continues one which was shut down has a shutdown of its own."""
        record.mark(SHUTDOWN, ns(1000.0))
        record.mark(SOAK, ns(5000.0))
        record.add([reads(HV_CURRENT, 1.0, 6000.0)])
        assert len(record.current(0.0, 1e9)[0]) == 1


class TestMovements:
    def test_each_command_is_one_and_the_state_at_the_start_none(self, record: HeatRecord) -> None:
        for since in (0.0, 0.0, 5.0, 5.0, 9.0):
            record.scanned(scan(10.0 + since, outputs=told(LOOP_REGULATOR, 0.5, since=since)))
        assert record.movements == 2

    def test_both_regulators_count(self, record: HeatRecord) -> None:
        for since in (0.0, 5.0):
            both = told(LOOP_REGULATOR, 0.5, since=since) | told(LV_REGULATOR, 0.5, since=since)
            record.scanned(scan(10.0 + since, outputs=both | told(LV, 1.0, since=since)))
        assert record.movements == 2


class TestMarks:
    def test_they_come_in_their_order_with_their_facts(self, record: HeatRecord) -> None:
        facts = record.mark("cold", ns(7.25), position=1)
        record.mark("hot", ns(9.0))
        record.mark("cold", ns(8.0), position=2)
        assert facts == {"mark": "cold", "at_s": 7.25, "position": 1}
        assert record.marked("cold") == [(7.25, {"position": 1}), (8.0, {"position": 2})]
        assert record.marked("soak") == []

    def test_losses_come_back_as_they_were_read(self, record: HeatRecord) -> None:
        assert record.losses is None
        for prove in (ProveMeans(1.0, 2.0, 3.0, 4.0, 5.0), None):
            losses = LossReadings(
                no_load=NoLoadMeans(400.0, 400.1, 9.0, 640.0),
                load=LoadMeans(520.0, 15.0, 3000.0, 400.0, 600.0),
                prove=prove,
                series_voltage_v=6.0,
                loss_exponent=2.1,
                winding_temperature_c=24.0,
                prove_temperature_c=21.0,
            )
            record.read_losses(ns(10.0), losses)
            assert record.losses == losses


class TestInherited:
    def test_it_ends_with_the_last_whole_minute_and_says_how_warm_all_was(
        self, record: HeatRecord
    ) -> None:
        record.add([reads(TOP_LIQUID_A, 40.0, 30.0), reads("b.top_liquid", 50.0, 31.0)])
        record.add([reads(TOP_LIQUID_A, 44.0, 90.0), reads(TOP_LIQUID_A, 99.0, 200.0)])
        inherited = record.inherited()
        assert inherited.inherited_to_s == 150.0
        assert isnan(inherited.history().channels[TOP_LIQUID_A][-1])
        assert inherited.newest_c() == {TOP_LIQUID_A: 44.0, "b.top_liquid": 50.0}


def test_only_a_heat_run_has_a_record() -> None:
    assert record_of(shipped()) is None
    assert isinstance(record_of(shipped_heat_run()), HeatRecord)
    other = replace(shipped().schedule, procedure="heat_run")
    assert record_of(replace(shipped(), schedule=other)) is not None
