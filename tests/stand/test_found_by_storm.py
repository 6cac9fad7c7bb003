"""What a storm has found on the whole stand, each by itself: docs/storm.md lists them."""

import re
from dataclasses import replace

import pytest

from acquire.clock import Order
from acquire.configuration import Scenario
from acquire.storm.witness import Witness
from drivers.outputs import LOOP_REGULATOR, LV, LV_REGULATOR
from sequences.scan import LV_VOLTAGE, LV_VOLTAGE_MEAN, Move
from tests.stand.bench import Bench
from tests.stand.conftest import S, Watch, Watched
from tests.stand.desk import Desk

NUMBERS = re.compile(r"(?<= )[\d.]+(?= |$)")
WITHIN_WINDOW_S = 6.0  # after load readings begin: ramps are over, the window is under way


class TestWindow:
    @pytest.mark.parametrize("how", ["doubled", "halved"])
    @pytest.mark.parametrize("meter", ["lv_power", "hv_current", "hv_power"])
    def test_a_multiplier_wrong_for_one_reading_is_no_result(
        self, watch: Watch, meter: str, how: str
    ) -> None:
        """In the mean of many it would pass every check on the mean; a voltage's trip is sooner."""
        fault = f"{meter}_{how}@load_readings+{WITHIN_WINDOW_S}:1"
        outcome = watch(faults=[fault]).finish()
        assert outcome.end != "complete"
        assert outcome.finding is not None
        assert outcome.finding["name"] == "readings_not_steady"

    def test_the_finding_names_channel_value_and_median(self, watch: Watch) -> None:
        fault = f"hv_power_doubled@load_readings+{WITHIN_WINDOW_S}:1"
        outcome = watch(faults=[fault]).finish()
        assert outcome.finding is not None
        seen = outcome.finding["seen"]
        read, middle = (float(word) for word in NUMBERS.findall(seen))
        assert seen.startswith("load readings: hv.power.1 reads")
        assert read == pytest.approx(2 * middle, rel=0.01)


class TestEmergencyStop:
    def test_one_pulled_out_at_once_has_cut_for_good(self, watch: Watch) -> None:
        """Between two readings of its contact: nothing closes by itself when it is reset."""
        watched = watch()
        watched.until_stage("load_readings", 3.0)
        witness = Witness(watched.rehearsal)
        watched.hand(pressing)
        clock = watched.rehearsal.clock
        clock.at(watched.hand_t + S // 20, Order.HANDS, lambda: releasing(watched))
        watched.go_on_to_the_end()
        assert watched.state == "aborted"
        assert watched.told("trip")[0].facts["name"] == "emergency_stop"
        assert witness.highest["closings"] <= 2  # what was closed when it began to look


def pressing(watched: Watched) -> None:
    """Press the emergency stop: the coils drop at once."""
    watched.plant.emergency_stop = False
    watched.plant.advance(watched.rehearsal.clock.now())


def releasing(watched: Watched) -> None:
    """Pull it out again."""
    watched.plant.advance(watched.rehearsal.clock.now())
    watched.plant.emergency_stop = True


def test_a_stop_that_is_overdue_opens_everything_though_all_reads_open(watch: Watch) -> None:
    """An auxiliary contact stuck open hides the one that its deadline is about."""
    watched = watch(
        faults=["lv_contactor_auxiliary_stuck_open@prepare+4", "series_voltmeter_silent@prepare+6"]
    )
    witness = Witness(watched.rehearsal)
    written: list[str] = []
    by_witness = watched.plant.written

    def note(output: str, value: float) -> None:
        if watched.rehearsal.cycle.run.state.value in {"aborting", "aborted"} and value == 0:
            written.append(output)
        by_witness(output, value)

    watched.plant.written = note
    watched.go_on_to_the_end()
    assert [e.facts["name"] for e in watched.told("trip")][-1] == "stop_overdue"
    assert {LV, LV_REGULATOR, LOOP_REGULATOR} <= set(written)
    assert witness.violations == []


def test_an_opening_that_nobody_reads_comes_to_an_end(watch: Watch) -> None:
    """With the LV contactor told to open nothing is armed any more that would end the wait."""
    watched = watch()
    watched.until_stage("shut_down")
    watched.until(lambda scan: scan.outputs[LV].commanded < 0.5)
    watched.plant.silent |= {"contacts"}
    outcome = watched.finish()
    assert outcome.finding is not None
    assert outcome.finding["name"] == "contactor_not_open"
    assert (outcome.end, outcome.may_be_live) == ("aborted", True)


@pytest.mark.parametrize("spoiled", ["dead", "frozen"])
@pytest.mark.parametrize("step", [0.1, 0.019, 0.005])
def test_a_voltmeter_that_dies_lets_nobody_raise_further(
    watch: Watch, quick: Scenario, spoiled: str, step: float
) -> None:
    """However small the steps, and with a supply that could give half as much again."""
    outputs = quick.stand.outputs
    strong = replace(outputs.lv_regulator, full_voltage_v=600.0)
    stand = replace(quick.stand, outputs=replace(outputs, lv_regulator=strong))
    desk = Desk()
    bench = Bench(watch(replace(quick, stand=stand), procedure=desk.procedure), desk)
    bench.honest(lambda evidence: evidence.proof_complete is not None)
    for volts in (100.0, 240.0, 360.0):
        bench.climb(LV_REGULATOR, volts / 600.0)
    for channel in (LV_VOLTAGE, LV_VOLTAGE_MEAN):
        setattr(bench.plant.meters[channel], spoiled, True)
    bench.mark()
    for _ in range(200):
        if not bench.running:
            break
        at = bench.last.outputs[LV_REGULATOR].commanded
        bench.ask(Move(LV_REGULATOR, min(at + step, 1.0)))
    # The cap of 1.1, and the regulator's step: nothing else lets it go on.
    assert 0.9 < bench.peak("bus") < 1.1 + 1 / 600
