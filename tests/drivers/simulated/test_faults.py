"""The faults of the plant: each is one thing held, each is undone alone, answers are spoilt."""

from typing import Any, NamedTuple

import pytest

from drivers.link import BadAnswer, ConnectionLost, NoAnswer
from drivers.reading import NO_READING_YET, OVER_RANGE
from drivers.simulated.circuit import Wiring
from drivers.simulated.faults.fault import STAGES, PlantFault
from drivers.simulated.faults.instruments import MUST, instrument_faults
from drivers.simulated.faults.stand import stand_faults
from drivers.simulated.faults.wiring import wiring_faults
from drivers.simulated.hands import Change, Hands, becoming
from drivers.simulated.stand import SimulatedStand
from tests.drivers.simulated.scenario import (
    SECOND,
    Bench,
    build,
    descriptions,
    nameplate_file,
    stand_file,
    truth_file,
)

FAULTS = {
    f.name: f
    for f in (
        *instrument_faults(stand_file(), descriptions()),
        *stand_faults(),
        *wiring_faults(),
    )
}
MACHINES = (
    "lv_contactor",
    "loop_contactor",
    "lv_regulator",
    "loop_regulator",
    "watchdog",
    "upstream_breaker",
    "resistance_selector",
    "cooling_a",
    "cooling_b",
)
PLAIN = (
    "guard",
    "emergency_stop",
    "protection_contact",
    "wiring",
    "lv_supply_lost",
    "loop_supply_lost",
    "frequency_hz",
    "temperatures_c",
    "out_of_pocket",
    "silent",
    "latencies_s",
    "tampering",
)


class At(NamedTuple):
    """What faults are given: something with a stand."""

    stand: SimulatedStand


@pytest.fixture(name="bench")
def _bench() -> Bench:
    return build()


@pytest.fixture(name="plant")
def _plant() -> SimulatedStand:
    return SimulatedStand(stand_file(), nameplate_file(), truth_file(), 1)


def state(plant: SimulatedStand) -> dict[str, Any]:
    """Return all of the plant that hands can reach."""
    found = {name: getattr(plant, name) for name in PLAIN}
    contacts = ("welded", "jammed", "fallen_out", "auxiliary")
    hands = (*contacts, "stuck", "drift_per_s", "fan_stopped", "hindrance")
    for name in MACHINES:
        machine = getattr(plant, name)
        found |= {f"{name}.{h}": getattr(machine, h) for h in hands if hasattr(machine, h)}
    for name, meter in plant.meters.items():
        found[f"meter {name}"] = (meter.multiplier, meter.dead, meter.frozen)
    return found


def put(plant: SimulatedStand, hands: Hands, name: str, by: str = "1") -> None:
    """Hold every change of a fault."""
    fault: PlantFault = FAULTS[name]
    for change in fault.changes(At(plant)):
        hands.hold(by, change)


class TestCatalogue:
    @pytest.mark.parametrize("name", FAULTS)
    def test_each_changes_something_and_leaves_nothing(
        self, plant: SimulatedStand, name: str
    ) -> None:
        """Held, the plant is another one; let go, it is what it was."""
        hands, before = Hands(), state(plant)
        put(plant, hands, name)
        assert state(plant) != before
        hands.let_go("1")
        assert state(plant) == before

    @pytest.mark.parametrize("name", FAULTS)
    def test_each_is_undone_alone(self, plant: SimulatedStand, name: str) -> None:
        """Whichever of two ends first, the other one is all that is left."""
        hands = Hands()
        put(plant, hands, name, "only")
        alone = state(plant)
        for other in FAULTS:
            put(plant, hands, other, "other")
        hands.let_go("other")
        assert state(plant) == alone

    def test_every_instrument_has_every_fault_that_it_can_have(self) -> None:
        """Contacts have neither ranges nor a mark for no value; all else has all."""
        lacking = {"contacts_over_range", "contacts_not_a_number"}
        for instrument in stand_file().instrument:
            names = {f"{instrument.name}_{how}" for how in MUST}
            assert names - lacking <= FAULTS.keys()
        assert not lacking & FAULTS.keys()

    @pytest.mark.parametrize("name", FAULTS)
    def test_each_says_what_must_be_done_and_where(self, name: str) -> None:
        """Words, and stages that there are."""
        assert len(FAULTS[name].must) > 10
        assert FAULTS[name].stages
        assert set(FAULTS[name].stages) <= set(STAGES)

    def test_only_hands_at_terminals_open_the_guard(self) -> None:
        """A shorted turn happens by itself, a multiplier is set at the instrument."""
        behind = {f.name for f in FAULTS.values() if f.behind_guard}
        assert "leads_swapped" in behind
        assert "hv_ct_reversed" in behind
        assert not behind & {"shorted_turn", "hv_current_doubled", "guard_opened"}


class TestHands:
    def test_two_factors_and_the_first_taken_back(self, plant: SimulatedStand) -> None:
        """A wattmeter and its transformer reversed read rightly; one of them does not."""
        hands, meter = Hands(), plant.meters["hv.power.1"]
        put(plant, hands, "hv_wattmeter_reversed", "a")
        put(plant, hands, "hv_ct_reversed", "b")
        assert meter.multiplier == 1.0
        hands.let_go("a")
        assert meter.multiplier == -1.0

    def test_a_guard_held_open_twice_is_shut_by_the_last(self, plant: SimulatedStand) -> None:
        """Somebody else still stands in it."""
        hands = Hands()
        for by in "ab":
            hands.hold(by, becoming(plant, "guard", False))
        hands.let_go("a")
        assert not plant.guard
        hands.let_go("b")
        assert plant.guard

    def test_what_lies_beneath_may_change_meanwhile(self, plant: SimulatedStand) -> None:
        """A secondary interchanged while leads are swapped is interchanged when they are not."""
        hands = Hands()
        put(plant, hands, "leads_swapped")
        hands.alter(Change(plant, "wiring", Wiring.interchanged))
        assert not plant.wiring.aiding
        hands.let_go("1")
        assert plant.wiring.aiding

    def test_what_somebody_sets_past_the_hands_stays(self, plant: SimulatedStand) -> None:
        """The last word of a test's own hand is what a fault leaves behind."""
        hands = Hands()
        hands.hold("a", becoming(plant, "guard", False))
        hands.hold("b", becoming(plant, "emergency_stop", False))
        plant.guard = True
        hands.let_go("a")
        assert plant.guard
        assert not plant.emergency_stop

    def test_letting_go_of_nothing_is_nothing(self, plant: SimulatedStand) -> None:
        """No name, no change."""
        before = state(plant)
        Hands().let_go("nobody")
        assert state(plant) == before


TEXT = "lv_analyser"
REGISTERS = "temperatures"


class TestAnswers:
    def polled(self, bench: Bench, name: str) -> tuple[list[float | None], set[str], Any]:
        """Poll an instrument once; return its values, reasons and fault."""
        readings = bench.instruments[name].poll()
        reasons = {r.reason for r in readings}
        return [r.value for r in readings], reasons, bench.instruments[name].fault

    @pytest.mark.parametrize(
        ("name", "how", "fault"),
        [
            (TEXT, "silent", NoAnswer),
            (TEXT, "late", NoAnswer),
            (TEXT, "garbage", BadAnswer),
            (TEXT, "truncated", BadAnswer),
            (TEXT, "identity_changed", ConnectionLost),
            (REGISTERS, "silent", NoAnswer),
            (REGISTERS, "late", NoAnswer),
            (REGISTERS, "garbage", BadAnswer),
            (REGISTERS, "truncated", BadAnswer),
            (REGISTERS, "identity_changed", BadAnswer),
        ],
    )
    def test_no_number_is_made_of_it(
        self, bench: Bench, name: str, how: str, fault: type[Exception]
    ) -> None:
        """Every channel is bad, and the fault says why; let go, the instrument is itself again."""
        hands = Hands()
        bench.instruments[name].poll()
        put(bench.plant, hands, f"{name}_{how}")
        values, _reasons, seen = self.polled(bench, name)
        assert set(values) == {None}
        assert type(seen) is fault
        hands.let_go("1")
        for _ in range(2):
            values, reasons, seen = self.polled(bench, name)
        assert None not in values
        assert (reasons, seen) == ({""}, None)

    @pytest.mark.parametrize("name", [TEXT, REGISTERS])
    def test_over_range_and_not_a_number_are_told_apart(self, bench: Bench, name: str) -> None:
        """The one is exceeded for a trip, the other is nothing."""
        for how, over in (("over_range", True), ("not_a_number", False)):
            hands = Hands()
            put(bench.plant, hands, f"{name}_{how}")
            values, reasons, seen = self.polled(bench, name)
            assert set(values) == {None}
            assert (reasons == {OVER_RANGE}) is over
            assert seen is None
            hands.let_go("1")

    def test_another_instrument_is_not_believed_after_reopening(self, bench: Bench) -> None:
        """It answers well, and under another name."""
        put(bench.plant, Hands(), f"{TEXT}_identity_changed")
        faults = []
        for _ in range(3):
            values, _reasons, seen = self.polled(bench, TEXT)
            faults.append(type(seen))
            assert set(values) == {None}
        assert faults[-1] is BadAnswer

    @pytest.mark.parametrize("name", [TEXT, "series_voltmeter", "contacts", REGISTERS])
    def test_frozen_says_what_it_said(self, bench: Bench, name: str) -> None:
        """Whatever the plant does meanwhile, and with a fresh instant each time."""
        put(bench.plant, Hands(), f"{name}_frozen")
        first = bench.instruments[name].poll()
        bench.energise(0.5)
        bench.plant.temperatures_c = {"a.top_liquid": 70.0}
        bench.plant.guard = False
        then = bench.instruments[name].poll()
        assert [r.value for r in then] == [r.value for r in first]
        assert all(r.began > first[0].t for r in then)

    def test_slow_takes_its_time_and_answers(self, bench: Bench) -> None:
        """Nine tenths of the time-out, then a good reading."""
        instrument = next(i for i in stand_file().instrument if i.name == TEXT)
        bench.instruments[TEXT].poll()
        put(bench.plant, Hands(), f"{TEXT}_slow")
        began = bench.clock.t
        readings = bench.instruments[TEXT].poll()
        assert bench.clock.t - began == round(0.9 * instrument.timeout_s * SECOND)
        assert NO_READING_YET not in {r.reason for r in readings}
        assert None not in {r.value for r in readings}

    def test_a_late_answer_is_one_behind_until_the_link_is_opened_anew(self, bench: Bench) -> None:
        """What a driver that does not open it anew would take for the present."""
        link = bench.links.text(next(i for i in stand_file().instrument if i.name == TEXT))
        link.reopen()
        put(bench.plant, Hands(), f"{TEXT}_late")
        with pytest.raises(NoAnswer):
            link.query("FETC?", 0.5)
        bench.energise(0.5)
        assert float(link.query("FETC?", 0.5).split(",")[0]) < 1.0
        assert float(link.query("FETC?", 0.5).split(",")[0]) > 100.0
        assert link.query("*IDN?", 0.5).startswith("2")
        link.reopen()
        assert "POWER ANALYSER" in link.query("*IDN?", 0.5)

    def test_a_driver_takes_no_late_answer_for_another(self, bench: Bench) -> None:
        """One poll in ten is lost, none is of the time before."""
        put(bench.plant, Hands(), f"{TEXT}_late")
        lost = 0
        for _ in range(40):
            bench.plant.frequency_hz += 0.1
            values = bench.instruments[TEXT].poll()[-1].value
            if values is None:
                lost += 1
            else:
                assert values == pytest.approx(bench.plant.frequency_hz, rel=3e-4)
        assert 3 <= lost <= 6

    def test_two_at_once_act_one_after_the_other(self, bench: Bench) -> None:
        """A frozen answer cut short is a frozen answer cut short."""
        hands = Hands()
        put(bench.plant, hands, f"{TEXT}_frozen", "a")
        put(bench.plant, hands, f"{TEXT}_truncated", "b")
        assert set(self.polled(bench, TEXT)[0]) == {None}
        hands.let_go("b")
        for _ in range(2):
            values = self.polled(bench, TEXT)[0]
        assert None not in values


def test_somebody_may_look_on_between_two_writes(bench: Bench) -> None:
    """What happens there finds the one output written and the next one not."""
    seen = []
    wiring = bench.plant.stand.outputs

    def look() -> None:
        seen.append((bench.plant.lv_contactor.commanded, bench.plant.loop_contactor.commanded))

    bench.outputs.unit.after_write = look
    assert wiring.loop_contactor.address == wiring.lv_contactor.address + 1
    bench.outputs.write(wiring.lv_contactor.address, (1, 1), 0.5)
    assert seen == [(True, False), (True, True)]
