"""Every fault of the catalogue, in a rehearsal: what it says must be done is what happens."""

from pathlib import Path
from typing import NamedTuple

import pytest

from acquire.database import ArchiveError
from acquire.fault_schedule import Crashed
from acquire.faults import catalogue
from tests.acquire.rehearsing import quick, rehearsing


class Expect(NamedTuple):
    """When the fault begins, how the run ends, and what it is then given for: finding or verdict.

    `may_be_live`: the stand is dead, and nobody can see it.
    """

    when: str
    end: str
    why: str
    may_be_live: bool = False


def silent(at: str = "@energise") -> Expect:
    """Return what is to be expected of an instrument that gives no value any more."""
    return Expect(at, "aborted", "stale_channel")


FINE = Expect("@energise", "complete", "within")
BLIND = Expect("@energise", "aborted", "stale_channel", may_be_live=True)
STARTS = ""
LOADED = "@load_readings+6"

EXPECTED = {
    **{
        f"{instrument}_{how}": BLIND if instrument == "contacts" else silent()
        for instrument in (
            "lv_analyser",
            "hv_analyser",
            "series_voltmeter",
            "contacts",
            "temperatures",
        )
        for how in ("silent", "garbage", "truncated", "not_a_number", "identity_changed")
        if (instrument, how) != ("contacts", "not_a_number")
    },
    **{
        f"{instrument}_{how}": FINE
        for instrument in (
            "lv_analyser",
            "hv_analyser",
            "series_voltmeter",
            "contacts",
            "temperatures",
        )
        for how in ("slow", "late")
    },
    "lv_analyser_frozen": Expect("@energise", "aborted", "stale_channel"),
    "lv_analyser_over_range": Expect("@energise", "aborted", "overvoltage"),
    "hv_analyser_frozen": Expect("@energise", "stopped", "loop_voltage_does_not_follow"),
    "hv_analyser_over_range": Expect("@energise", "aborted", "current_with_loop_open"),
    "series_voltmeter_frozen": Expect("@energise", "stopped", "voltmeter_did_not_follow"),
    "series_voltmeter_over_range": Expect("@energise", "stopped", "readings_missing"),
    # A single number cut short is a number: here of a gap of some volts, cut behind its point, and
    # then always the same.
    "series_voltmeter_truncated": Expect("@energise", "aborted", "stale_channel"),
    "contacts_frozen": Expect(
        "@energise", "aborted", "lv_regulator_does_not_follow", may_be_live=True
    ),
    # Nothing warms up much here, so that a frozen scanner reads the truth.
    "temperatures_frozen": FINE,
    "temperatures_over_range": Expect("@energise", "stopped", "over_temperature_a"),
    # No winding is connected in a loss test, and none is asked for.
    **{
        f"resistance_meter_{how}": FINE
        for how in (
            "silent",
            "slow",
            "late",
            "garbage",
            "truncated",
            "frozen",
            "over_range",
            "not_a_number",
            "identity_changed",
        )
    },
    "outputs_silent": Expect("@energise", "aborted", "command_lost"),
    "outputs_slow": FINE,
    "guard_opened": Expect(LOADED, "aborted", "guard"),
    "emergency_stop_pressed": Expect(LOADED, "aborted", "emergency_stop"),
    "protection_contact_opened": Expect(LOADED, "aborted", "protection_contact"),
    "lv_contactor_will_not_open": Expect(LOADED, "aborted", "lv_contactor_will_not_open"),
    "lv_contactor_will_not_close": Expect(STARTS, "stopped", "lv_contactor_will_not_close"),
    "lv_contactor_falls_out": Expect(LOADED, "aborted", "lv_contactor_opened_by_itself"),
    "lv_contactor_auxiliary_stuck_closed": Expect(LOADED, "aborted", "lv_contactor_will_not_open"),
    "lv_contactor_auxiliary_stuck_open": Expect(LOADED, "aborted", "lv_contactor_opened_by_itself"),
    "loop_contactor_will_not_open": Expect(LOADED, "aborted", "loop_contactor_will_not_open"),
    "loop_contactor_will_not_close": Expect(STARTS, "stopped", "loop_contactor_will_not_close"),
    "loop_contactor_falls_out": Expect(LOADED, "aborted", "loop_contactor_opened_by_itself"),
    "loop_contactor_auxiliary_stuck_closed": Expect(
        LOADED, "aborted", "loop_contactor_will_not_open"
    ),
    "loop_contactor_auxiliary_stuck_open": Expect(
        LOADED, "aborted", "loop_contactor_opened_by_itself"
    ),
    "lv_regulator_runs_away": Expect(LOADED, "aborted", "lv_regulator_runs_away"),
    "lv_regulator_stuck": Expect(LOADED, "aborted", "lv_regulator_does_not_follow"),
    "loop_regulator_runs_away": Expect(LOADED, "aborted", "loop_regulator_runs_away"),
    "loop_regulator_stuck": Expect(LOADED, "aborted", "loop_regulator_does_not_follow"),
    "lv_supply_lost": Expect(LOADED, "aborted", "supply_lost"),
    "loop_supply_lost": Expect(LOADED, "aborted", "loop_voltage_runs_away"),
    "frequency_off": Expect("@energise", "stopped", "frequency"),
    "unit_a_too_hot": Expect("@energise", "stopped", "over_temperature_a"),
    "unit_b_too_hot": Expect("@energise", "stopped", "over_temperature_b"),
    # A loss test is too short for a unit to warm, and takes no resistances.
    **{
        f"unit_{unit}_{what}": FINE
        for unit in "ab"
        for what in ("fan_stops", "cooling_hindered", "sensor_out_of_pocket")
    },
    # Of these two a loss test knows nothing.
    "ambient_out_of_range": FINE,
    "operator_asks_to_hold": FINE,
    "resistance_selector_will_not_close": Expect(STARTS, "complete", "within"),
    "resistance_selector_will_not_open": Expect(STARTS, "complete", "within"),
    "watchdog_will_not_drop": Expect(STARTS, "stopped", "watchdog_does_not_act"),
    "upstream_breaker_will_not_open": FINE,
    "voltmeter_lead_off": Expect(STARTS, "stopped", "voltmeter_did_not_follow"),
    "leads_swapped": Expect(STARTS, "complete", "within"),
    "link_left_on": Expect(STARTS, "aborted", "lv_short_or_shorted_turn"),
    "lv_lead_off_a": Expect(STARTS, "stopped", "loop_open"),
    "lv_lead_off_b": Expect(STARTS, "stopped", "loop_open"),
    "hv_lead_off": Expect(STARTS, "stopped", "loop_open"),
    "tap_one_step_off": Expect(STARTS, "stopped", "ratio_mismatch"),
    "shorted_turn": Expect(STARTS, "stopped", "lv_short_or_shorted_turn"),
    "lv_wattmeter_reversed": Expect(STARTS, "stopped", "lv_wattmeter_sense"),
    "lv_ct_reversed": Expect(STARTS, "stopped", "lv_wattmeter_sense"),
    "hv_wattmeter_reversed": Expect(STARTS, "stopped", "wattmeter_sense"),
    "hv_ct_reversed": Expect(STARTS, "stopped", "wattmeter_sense"),
    "lv_voltage_doubled": Expect(STARTS, "stopped", "ramp_does_not_arrive"),
    "lv_voltage_halved": Expect(STARTS, "stopped", "lv_short_or_shorted_turn"),
    "lv_voltage_tenfold": Expect(STARTS, "aborted", "overvoltage"),
    "lv_current_doubled": Expect(STARTS, "complete", "outside"),
    "lv_current_halved": Expect(STARTS, "complete", "implausibly_good"),
    "lv_current_tenfold": Expect(STARTS, "stopped", "lv_short_or_shorted_turn"),
    "lv_power_doubled": Expect(STARTS, "complete", "outside"),
    "lv_power_halved": Expect(STARTS, "complete", "implausibly_good"),
    "lv_power_tenfold": Expect(STARTS, "stopped", "shorted_turn"),
    "series_voltage_doubled": Expect(STARTS, "stopped", "voltmeter_did_not_follow"),
    "series_voltage_halved": Expect(STARTS, "stopped", "voltmeter_did_not_follow"),
    "series_voltage_tenfold": Expect(STARTS, "stopped", "voltmeter_did_not_follow"),
    "hv_voltage_doubled": Expect(STARTS, "stopped", "voltmeter_did_not_follow"),
    "hv_voltage_halved": Expect(STARTS, "stopped", "voltmeter_did_not_follow"),
    "hv_voltage_tenfold": Expect(STARTS, "stopped", "loop_open"),
    "hv_current_doubled": Expect(STARTS, "stopped", "impedance_not_as_nameplate"),
    "hv_current_halved": Expect(STARTS, "stopped", "impedance_not_as_nameplate"),
    "hv_current_tenfold": Expect(STARTS, "aborted", "loop_current"),
    "hv_power_doubled": Expect(STARTS, "complete", "outside"),
    "hv_power_halved": Expect(STARTS, "complete", "impossible_reading"),
    "hv_power_tenfold": Expect(STARTS, "stopped", "nothing_to_judge_by"),
    "crash": Expect(LOADED, "crashed", ""),
    "archive_full": Expect("@energise", "not written", "record_not_written"),
    "archive_slow": Expect("@energise", "stopped", "record_not_written"),
    "wall_clock_stepped": FINE,
    "operator_slow": Expect("@make_safe", "complete", "within"),
    "operator_absent": Expect("@make_safe", "stopped", "prompt_unanswered"),
    "operator_answers_twice": Expect(STARTS, "complete", "within"),
    "operator_answers_stale": Expect("@make_safe", "stopped", "prompt_unanswered"),
    "operator_answers_no": Expect("@make_safe", "stopped", "answered_no"),
}

FAULTS = catalogue(quick())


def test_nothing_is_expected_of_what_is_not_there() -> None:
    """The table is that of the catalogue."""
    assert set(EXPECTED) == set(FAULTS)


@pytest.mark.parametrize("name", FAULTS)
def test_what_must_be_done_is_done(name: str, tmp_path: Path) -> None:
    """The run ends as the catalogue's words have it, and in truth the stand is dead."""
    expect = EXPECTED[name]
    with rehearsing(tmp_path, [name + expect.when]) as run:
        why: str | None = ""
        try:
            outcome = run.finish()
            end = outcome.end
            why = outcome.verdict
            if why is None and outcome.finding is not None:
                why = outcome.finding["name"]
        except Crashed:
            end = "crashed"
        except ArchiveError:
            end, finding = "not written", run.rehearsal.cycle.run.finding
            why = finding.name if finding else ""
        assert (end, why) == (expect.end, expect.why)
        drop_s = quick().stand.watchdog.drop_s
        assert not run.live(drop_s + 1 if end == "crashed" else 1.0)
        assert run.rehearsal.cycle.run.may_be_live is expect.may_be_live


WIRED = [name for name, fault in FAULTS.items() if fault.behind_guard]


@pytest.mark.parametrize("name", WIRED)
def test_hands_at_a_live_terminal_meet_the_guard_first(name: str, tmp_path: Path) -> None:
    """Whoever reaches in at half the impedance voltage, or above it, finds the stand cut."""
    with rehearsing(tmp_path, [f"{name}@energise+2"]) as run:
        plant = run.rehearsal.stand
        before = plant.wiring
        for _scan in run.rehearsal.scans():
            pass
        assert run.of("trip")[0].facts["name"] == "guard"
        assert not run.live()
        assert plant.wiring == before
        assert [what for _t, _name, what in run.happened()] == ["the guard is opened for it"]


class TestProcess:
    def test_a_stepped_wall_clock_is_an_anchor_and_nothing_else(self, tmp_path: Path) -> None:
        """Every duration, reading and result is that of a run in which it did not happen."""
        with rehearsing(tmp_path / "without") as run:
            without = run.finish()
        with rehearsing(tmp_path / "with", ["wall_clock_stepped@energise:30"]) as run:
            stepped = run.finish()
            anchors = [(e.t_s, e.facts["drift_s"]) for e in run.of("clock.anchor")]
            header = run.rehearsal.archive.run(stepped.run).header
        assert stepped.readings_sha256 == without.readings_sha256
        assert stepped.result == without.result
        assert [drift for _t, drift in anchors] == [3600.0, -3600.0]
        assert [t for t, _utc in header["anchors"]] == [0, *(round(t * 1e9) for t, _ in anchors)]
        first, away, back = [utc[11:19] for _t, utc in header["anchors"]]
        assert first != away
        assert away[3:5] != back[3:5] or away[:2] != back[:2]

    def test_a_full_disk_lets_nothing_close(self, tmp_path: Path) -> None:
        """The intent is not on it."""
        with rehearsing(tmp_path, ["archive_full@prove"]) as run:
            with pytest.raises(ArchiveError, match="the disk is full"):
                run.finish()
            assert not run.of("command")
            finding = run.rehearsal.cycle.run.finding
            assert finding is not None
            assert "intent is not in the archive" in finding.seen

    def test_a_disk_that_was_full_takes_all_that_waited(self, tmp_path: Path) -> None:
        """In its order, the chain whole, and the same readings as if it had not been."""
        with rehearsing(tmp_path / "without") as run:
            without = run.finish()
        with rehearsing(tmp_path / "with", ["archive_full@energise+5:30"]) as run:
            outcome = run.finish()
            found = run.rehearsal.archive.verify(outcome.run)
        assert outcome.verdict == "within"
        assert found.faults == ()
        assert found.readings_sha256 == without.readings_sha256 == outcome.readings_sha256

    def test_what_a_slow_disk_had_when_the_program_ended_is_there(self, tmp_path: Path) -> None:
        """Less than was told, and whole as far as it goes."""
        with rehearsing(tmp_path, ["archive_slow@energise", "crash@no_load_readings"]) as run:
            with pytest.raises(Crashed):
                run.finish()
            run.rehearsal.close()
            number = run.rehearsal.recorder.run
            run.rehearsal.archive.close_abandoned()
            events = list(run.rehearsal.archive.events(number))
            assert run.rehearsal.archive.verify(number).faults == ()
        assert 10 < len(events) < len(run.told)
        told = [(round(e.t_s * 1e9), e.kind) for e in run.told]
        assert [(e.t, e.kind) for e in events[:-2]] == told[: len(events) - 2]
