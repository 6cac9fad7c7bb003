"""Whole runs of good and bad pairs, judged on the true circuit as well as on what they report."""

import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from acquire.archive import Archive
from acquire.configuration import Scenario
from acquire.outcome import RunOutcome
from drivers.simulated.circuit import OPPOSITION
from drivers.simulated.true_state import TrueState
from drivers.simulated.truth import TrueSupply
from sequences.prompt import INTERCHANGE
from tests.stand.conftest import STAGES, S, Watch, Watched

HALF_IMPEDANCE = 0.02  # of rated LV voltage: half of u_k 4 %
REPEATED = ("prepare", "prove", "shut_down", "make_safe", *STAGES)


class Seen:
    """A whole run: how it came out, what it told, and the truth after every scan."""

    def __init__(self, watched: Watched) -> None:
        self.watched = watched
        self.truth: list[tuple[int, str, TrueState]] = []
        self.touched: list[int] = []
        plant, run = watched.plant, watched.rehearsal.cycle.run
        for scan in watched.scans():
            plant.advance(scan.now)
            self.truth.append((scan.now, run.stage, plant.true_state()))
            live = plant.lv_contactor.closed or plant.loop_contactor.closed
            if live and not plant.guard:
                self.touched.append(scan.now)
        self.outcome: RunOutcome = watched.finish()

    def highest(self, what: str, stage: str | None = None) -> float:
        """Return the highest true value of one quantity, in one stage or in all."""
        values: list[float] = [getattr(t, what) for _, s, t in self.truth if stage in {None, s}]
        return max(values)

    def stages(self) -> tuple[str, ...]:
        """Return the stages in the order in which they were entered."""
        return tuple(e.facts["stage"] for e in self.watched.told("stage"))

    def is_dead(self) -> bool:
        """Return whether everything is open and at zero in truth, the record whole."""
        plant = self.watched.plant
        plant.advance(self.truth[-1][0] + 60 * S)
        machines = plant.lv_contactor.closed, plant.loop_contactor.closed
        positions = plant.lv_regulator.position, plant.loop_regulator.position
        verified = self.watched.archive.verify(self.outcome.run)
        return not any((*machines, *positions, *verified.faults))


class TestOpposition:
    def test_it_completes_within_limits(self, watch: Watch, scenario: Scenario) -> None:
        """The shipped scenario as it is shipped: every stage once, and a verdict."""
        seen = Seen(watch(scenario))
        outcome = seen.outcome
        assert (outcome.state, outcome.end, outcome.verdict) == ("complete", "complete", "within")
        assert (outcome.attempts, outcome.finding, outcome.may_be_live) == (1, None, False)
        assert seen.stages() == STAGES
        assert not seen.watched.told("trip")
        assert seen.is_dead()

    def test_nothing_is_ever_driven_beyond_what_it_is_rated_for(
        self, watch: Watch, scenario: Scenario
    ) -> None:
        """No overshoot beyond half a per cent of bus, flux and loop; windings carry I0 besides."""
        seen = Seen(watch(scenario))
        assert 0.995 <= seen.highest("bus") <= 1.005
        assert 0.995 <= seen.highest("loop") <= 1.005
        assert seen.highest("flux_a") <= 1.03
        assert seen.highest("flux_b") <= 1.03
        assert seen.highest("worst_winding") <= 1.03
        assert seen.highest("bus", "prove") <= 1.02 * HALF_IMPEDANCE

    @pytest.mark.parametrize("dwell_s", [0.0, 0.3])
    def test_a_dwell_too_short_for_any_reading_completes(
        self, watch: Watch, quick: Scenario, dwell_s: float
    ) -> None:
        """Nothing is averaged at rated before the no-load readings: time passes, and no more."""
        schedule = replace(quick.schedule, dwell_s=dwell_s)
        assert watch(replace(quick, schedule=schedule)).finish().state == "complete"

    def test_every_closing_has_its_intent_in_the_record_first(self, watch: Watch) -> None:
        """Committed in an earlier scan than the command, and for that output."""
        seen = Seen(watch())
        events = list(seen.watched.archive.events(seen.outcome.run))
        for at, event in enumerate(events):
            if event.kind == "command" and event.facts["action"] == "close":
                intents = [e for e in events[:at] if e.kind == "intent"]
                assert intents[-1].facts["output"] == event.facts["output"]
                assert intents[-1].t < event.t


class TestAiding:
    def test_it_is_found_made_good_and_completed(self, watch: Watch) -> None:
        """Found in prove, interchanged behind an open guard, proven and measured after."""
        seen = Seen(watch(connection="aiding"))
        outcome = seen.outcome
        assert (outcome.state, outcome.verdict, outcome.attempts) == ("complete", "within", 2)
        assert seen.stages() == REPEATED
        assert [e.facts["name"] for e in seen.watched.told("finding")] == ["aiding"]
        assert not seen.watched.told("trip")
        assert seen.is_dead()

    @pytest.mark.parametrize("lv_supply", [None, TrueSupply(0.0001, 0.0005)], ids=["weak", "stiff"])
    def test_the_loop_never_carries_more_than_60_percent(
        self, watch: Watch, quick: Scenario, lv_supply: TrueSupply | None
    ) -> None:
        """At half the impedance voltage an aiding pair drives half of rated current at the most."""
        if lv_supply is not None:
            quick = replace(quick, truth=replace(quick.truth, lv_supply=lv_supply))
        seen = Seen(watch(quick, connection="aiding"))
        found = seen.watched.told("finding")[0].t
        until_found = [t for now, _, t in seen.truth if now <= found]
        least = 0.4 if lv_supply is not None else 0.05
        assert least <= max(t.loop for t in until_found) <= 0.6
        assert max(t.bus for t in until_found) <= 1.02 * HALF_IMPEDANCE
        assert seen.outcome.state == "complete"

    def test_nobody_touches_what_is_live(self, watch: Watch) -> None:
        """The guard opens only with both contactors open in truth, and voids what was proven."""
        seen = Seen(watch(connection="aiding"))
        assert seen.touched == []
        emptied = [e for e in seen.watched.told("evidence") if e.facts["name"] == "emptied"]
        prompt = next(e for e in seen.watched.told("prompt") if e.facts["id"] == INTERCHANGE[0])
        assert len(emptied) == 1
        assert emptied[0].t > prompt.t

    def test_the_record_shows_both_attempts(self, watch: Watch) -> None:
        """Each with its prompts, its proof and what it found."""
        seen = Seen(watch(connection="aiding"))
        events = list(seen.watched.archive.events(seen.outcome.run))
        attempts = [e.sequence for e in events if e.kind == "attempt"]
        first, second = (
            [e for e in events if begin <= e.sequence < end]
            for begin, end in pairwise([*attempts, len(events) + 1])
        )
        asked = [[e.facts["id"] for e in part if e.kind == "prompt"] for part in (first, second)]
        assert INTERCHANGE[0] in asked[0]
        assert set(asked[0]) - {INTERCHANGE[0]} == set(asked[1])
        proven = [
            {e.facts["name"] for e in part if e.kind == "evidence"} for part in (first, second)
        ]
        assert "loop" not in proven[0]
        assert proven[1] >= {"not_aiding", "loop", "wattmeter", "voltmeter", "opposed"}

    def test_an_interchange_that_changed_nothing_stops_the_run(self, watch: Watch) -> None:
        """Aiding again: no third attempt, nothing above half the impedance voltage."""
        watched = watch(connection="aiding")
        watched.until(lambda s: s.asked is not None and s.asked[0].id == INTERCHANGE[0])
        watched.until(lambda _scan: not watched.plant.wiring.aiding)
        watched.plant.wiring = replace(OPPOSITION, aiding=True)
        seen = Seen(watched)
        assert (seen.outcome.state, seen.outcome.attempts) == ("stopped", 2)
        assert seen.outcome.finding is not None
        assert seen.outcome.finding["name"] == "aiding_again"
        assert seen.highest("loop") <= 0.6
        assert seen.highest("bus") <= 1.02 * HALF_IMPEDANCE
        assert seen.is_dead()


class TestOpenLead:
    @pytest.mark.parametrize(
        "wiring",
        [
            replace(OPPOSITION, hv_lead_open=True),
            replace(OPPOSITION, lv_lead_open="a"),
            replace(OPPOSITION, lv_lead_open="b"),
        ],
        ids=["HV", "LV of A", "LV of B"],
    )
    def test_it_is_stopped_in_prove_at_half_the_impedance_voltage(
        self, watch: Watch, wiring: object
    ) -> None:
        """The finding names all three that may be open, and nothing higher was ever energised."""
        watched = watch()
        watched.plant.wiring = wiring  # type: ignore[assignment]  # parametrised
        seen = Seen(watched)
        finding = seen.outcome.finding
        assert (seen.outcome.state, seen.outcome.stage) == ("stopped", "prove")
        assert finding is not None
        assert finding["name"] == "loop_open"
        assert all(w in finding["check"] for w in ("HV loop", "LV lead", "ammeter"))
        assert seen.highest("bus") <= 1.02 * HALF_IMPEDANCE
        assert seen.is_dead()

    @pytest.mark.parametrize("connection", ["open-lead", "open-lv-lead"])
    def test_the_command_lines_names_mean_the_same(self, watch: Watch, connection: str) -> None:
        """`--connection` wires the pair so."""
        outcome = watch(connection=connection).finish()
        assert outcome.finding is not None
        assert outcome.finding["name"] == "loop_open"


class TestDeadVoltmeter:
    def test_it_never_circulates_at_rated_voltage(self, watch: Watch) -> None:
        """A perfect nought is not opposition: found before LV is raised at all."""
        seen = Seen(watch(voltmeter="dead"))
        assert seen.outcome.state == "stopped"
        assert seen.outcome.finding is not None
        assert seen.outcome.finding["name"] == "voltmeter_did_not_follow"
        assert seen.highest("bus") <= 1.02 * HALF_IMPEDANCE
        assert "circulate" not in seen.stages()
        assert seen.is_dead()

    def test_one_that_dies_after_its_proof_is_found_in_the_load_readings(
        self, watch: Watch
    ) -> None:
        """It is proven before and after: no result rests on a nought that nobody proved."""
        watched = watch()
        watched.until_stage("energise")
        watched.plant.series_voltmeter.dead = True
        seen = Seen(watched)
        assert (seen.outcome.state, seen.outcome.stage) == ("stopped", "load_readings")
        assert seen.outcome.finding is not None
        assert seen.outcome.finding["name"] == "voltmeter_did_not_follow"
        assert seen.outcome.result is None
        assert seen.is_dead()

    def test_dead_over_a_tap_error_it_lets_no_more_circulate_than_the_tap_drives(
        self, watch: Watch
    ) -> None:
        """Both at once after the proof: opened as soon as more circulates than the gap explains."""
        watched = watch()
        watched.until_stage("energise")
        watched.plant.series_voltmeter.dead = True
        watched.plant.wiring = replace(OPPOSITION, tap_steps=1)
        seen = Seen(watched)
        assert seen.outcome.finding is not None
        assert seen.outcome.finding["name"] == "circulating_current"
        assert seen.highest("loop") <= 0.35
        assert seen.is_dead()


class TestLvMetersAfterTheirProof:
    """Nothing that the twins exchange hides: the LV meters are proven after as before."""

    def test_a_multiplier_set_wrong_under_load_gives_no_result(self, watch: Watch) -> None:
        """With the loop open again it reads twice what it read before."""
        watched = watch()
        watched.until_stage("circulate")
        for name in ("lv.current.1", "lv.power.1"):
            watched.plant.meters[name].multiplier = 2.0
        outcome = Seen(watched).outcome
        assert outcome.finding is not None
        assert outcome.finding["name"] in {"no_load_changed", "wattmeter_changed"}
        assert outcome.result is None

    def test_one_that_goes_on_saying_what_it_said_gives_no_result(self, watch: Watch) -> None:
        """Nobody is asked to touch a stand on a voltmeter that says rated, and nothing rests on it.

        With everything open its voltage has to be gone.
        """
        watched = watch()
        watched.until_stage("circulate")
        for name, meter in watched.plant.meters.items():
            meter.frozen = name.startswith("lv.")
        seen = Seen(watched)
        assert seen.outcome.finding is not None
        assert seen.outcome.finding["name"] == "live_with_contactors_open"
        assert seen.outcome.result is None
        assert "make_safe" not in seen.stages()


HASHES = """
import sys
from pathlib import Path
from acquire.archive import Archive
from acquire.configuration import load_scenario
from acquire.rehearsal import rehearse

outcome = rehearse(
    load_scenario("distribution_pair", "loss_test"), seed=3, connection="opposition",
    voltmeter="live", out=Path(sys.argv[1]), observer=lambda t, kind, facts: None,
)
print(outcome.readings_sha256, outcome.events_sha256)
"""


class TestSeed:
    def hashes(self, watched: Watched) -> tuple[str, str]:
        """Return both hashes of a whole run."""
        outcome = watched.finish()
        return outcome.readings_sha256, outcome.events_sha256

    def test_the_same_gives_the_same_record_in_another_folder_and_process(
        self, watch: Watch, scenario: Scenario, tmp_path: Path
    ) -> None:
        """Nothing of host, path, process or wall clock goes into readings or events."""
        here = self.hashes(watch(scenario, seed=3))
        command = [sys.executable, "-c", HASHES, str(tmp_path / "elsewhere")]
        there = subprocess.run(
            command,
            capture_output=True,
            text=True,
            check=True,
            timeout=60,
            cwd=tmp_path,
            env={"PYTHONHASHSEED": "7"},
        )
        assert tuple(there.stdout.split()) == here
        assert self.hashes(watch(scenario, seed=3)) == here

    def test_another_gives_another(self, watch: Watch) -> None:
        """Noise, errors of meters, and with them every reading and event."""
        first, second = self.hashes(watch(seed=3)), self.hashes(watch(seed=4))
        assert first[0] != second[0]
        assert first[1] != second[1]

    def test_the_archive_knows_the_same_hashes(self, watch: Watch) -> None:
        """What the outcome says is what verifying the record finds."""
        watched = watch(seed=3)
        outcome = watched.finish()
        with Archive(watched.archive.folder) as archive:
            verification = archive.verify(outcome.run)
        assert verification.readings_sha256 == outcome.readings_sha256
        assert verification.events_sha256 == outcome.events_sha256
        assert verification.faults == ()
