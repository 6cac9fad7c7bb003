"""When faults begin and end: words of the command line, instants of the virtual clock, restarts."""

from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.fault_schedule import Crashed, FaultRefused, TimedFault, When, timed_fault
from acquire.faults import catalogue
from drivers.outputs import LOOP, LV
from drivers.simulated.faults.fault import STAGES, STOPS
from tests.acquire.rehearsing import S, quick, rehearsing

KNOWN = catalogue(quick())


class TestWords:
    @pytest.mark.parametrize(
        ("word", "meant"),
        [
            ("guard_opened", TimedFault("guard_opened")),
            ("guard_opened@prove", TimedFault("guard_opened", When(stage="prove"))),
            ("guard_opened@prove+2.5", TimedFault("guard_opened", When(2.5, "prove"))),
            ("guard_opened@12.5", TimedFault("guard_opened", When(12.5))),
            ("guard_opened@stopping", TimedFault("guard_opened", When(stage="stopping"))),
            ("guard_opened@w137:4", TimedFault("guard_opened", When(writes=137), 4.0)),
            ("guard_opened:30", TimedFault("guard_opened", When(), 30.0)),
            ("crash@aborting", TimedFault("crash", When(stage="aborting"))),
        ],
    )
    def test_are_read(self, word: str, meant: TimedFault) -> None:
        """And written again as they were."""
        assert timed_fault(word, KNOWN) == meant
        assert str(meant) == word

    @pytest.mark.parametrize(
        ("word", "says"),
        [
            ("", "there is no ''; twinload faults lists them"),
            ("guard_open", "there is no 'guard_open', did you mean guard_opened?"),
            ("guard_opened@proof", "no stage 'proof'; prepare, prove,"),
            ("guard_opened@", "'' is not a number of seconds"),
            ("guard_opened@-1", "'-1' is not a number of seconds"),
            ("guard_opened@1e9", "'1e9' is not a number of seconds"),
            ("guard_opened@prove+", "'' is not a number of seconds"),
            ("guard_opened@prove+x", "'x' is not a number of seconds"),
            ("guard_opened@w0", "no stage 'w0'"),
            ("guard_opened@w²", "no stage 'w²'"),
            ("guard_opened:", "'' is not a number of seconds"),
            ("guard_opened:nan", "'nan' is not a number of seconds"),
            ("guard_opened:0", "it has to last longer than nothing"),
            ("guard_opened:1:2", "'1:2' is not a number of seconds"),
            ("crash:5", "crash does not end"),
            ("shorted_turn@prove:5", "shorted_turn does not end"),
        ],
    )
    def test_that_are_none_are_refused_in_one_line(self, word: str, says: str) -> None:
        """It names the word and what was due."""
        with pytest.raises(FaultRefused) as refused:
            timed_fault(word, KNOWN)
        assert str(refused.value).startswith(f"fault {word!r}: ")
        assert says in str(refused.value)
        assert "\n" not in str(refused.value)

    @given(
        st.sampled_from(sorted(n for n, f in KNOWN.items() if f.ends)),
        st.tuples(st.integers(0, 9999).map(float), st.sampled_from(("", *STAGES, *STOPS)))
        | st.integers(1, 10**6),
        st.none() | st.integers(1, 9999).map(float),
    )
    def test_are_what_they_are_written_as(
        self, name: str, when: tuple[float, str] | int, lasts_s: float | None
    ) -> None:
        """Every fault that a storm draws can be given on the command line."""
        at = When(writes=when) if isinstance(when, int) else When(*when)
        fault = TimedFault(name, at, lasts_s)
        assert timed_fault(str(fault), KNOWN) == fault

    @given(st.text(max_size=30))
    def test_anything_else_is_refused_and_nothing_worse(self, word: str) -> None:
        """Whatever is typed, it is a fault or a refusal."""
        try:
            timed_fault(word, KNOWN)
        except FaultRefused:
            return


class TestTime:
    def happened(
        self, tmp_path: Path, *faults: str, stage: str = "no_load_readings"
    ) -> list[tuple[float, str, str]]:
        """Return what happened up to a stage."""
        with rehearsing(tmp_path, faults) as run:
            run.until_stage(stage)
            entered.update({e.facts["stage"]: e.t_s for e in run.of("stage")})
            return run.happened()

    def test_seconds_are_of_stand_time(self, tmp_path: Path) -> None:
        """Between two scans as well as at one; what lasts ends so long after."""
        found = self.happened(
            tmp_path, "temperatures_slow@12.25:3.5", "outputs_slow@4", "contacts_slow"
        )
        assert found == [
            (0.0, "contacts_slow", "begins"),
            (4.0, "outputs_slow", "begins"),
            (12.25, "temperatures_slow", "begins"),
            (15.75, "temperatures_slow", "ends"),
        ]

    def test_a_stage_is_where_it_is_first_entered(self, tmp_path: Path) -> None:
        """And seconds beyond."""
        found = self.happened(tmp_path, "temperatures_slow@prove", "contacts_slow@prove+2.5:1")
        t = entered["prove"]
        assert found == [
            (t, "temperatures_slow", "begins"),
            (t + 2.5, "contacts_slow", "begins"),
            (t + 3.5, "contacts_slow", "ends"),
        ]

    def test_a_stop_under_way_is_a_stage_too(self, tmp_path: Path) -> None:
        """A fault in the middle of a stop makes it the harder one."""
        words = ["frequency_off@no_load_readings", "lv_regulator_stuck@stopping"]
        with rehearsing(tmp_path, words) as run:
            outcome = run.finish()
        assert [e.facts["name"] for e in run.of("trip")] == [
            "frequency",
            "lv_regulator_does_not_follow",
            "stop_overdue",
        ]
        assert outcome.end == "aborted"

    def test_between_two_writes_of_one_scan(self, tmp_path: Path) -> None:
        """The loop contactor was told to open, the LV contactor not yet."""
        cut = "emergency_stop_pressed@circulate+10"
        commanded: list[tuple[bool, bool]] = []
        word = f"temperatures_slow@w{before_lv_opens(tmp_path / 'count', cut)}"
        with rehearsing(tmp_path, [cut, word]) as run:
            plant, schedule = run.rehearsal.stand, run.rehearsal.site.faults
            begin = schedule.begin

            def spy(fault: TimedFault, key: str = "") -> None:
                if fault.name == "temperatures_slow":
                    contactors = (plant.loop_contactor, plant.lv_contactor)
                    commanded.append((contactors[0].commanded, contactors[1].commanded))
                begin(fault, key)

            schedule.begin = spy  # type: ignore[method-assign]  # a spy on this run alone
            run.finish()
        assert commanded == [(False, True)]

    def test_wiring_changes_behind_the_opened_guard(self, tmp_path: Path) -> None:
        """Opened, 20 s later changed, 20 s later shut; the same again for its end."""
        with rehearsing(tmp_path, ["tap_one_step_off@2:50"]) as run:
            plant = run.rehearsal.stand
            seen: list[tuple[float, bool, int]] = []
            for scan in run.rehearsal.scans():
                now = (plant.guard, plant.wiring.tap_steps)
                if not seen or seen[-1][1:] != now:
                    seen.append((scan.now / S, *now))
                if scan.now > 120 * S:
                    break
        assert seen == [
            (1.0, True, 0),
            (2.0, False, 0),
            (22.0, False, 1),
            (42.0, True, 1),
            (72.0, False, 1),
            (92.0, False, 0),
            (112.0, True, 0),
        ]

    def test_wiring_that_is_wrong_from_the_start_needs_no_hands(self, tmp_path: Path) -> None:
        """It was so before the program began."""
        with rehearsing(tmp_path, ["leads_swapped"]) as run:
            assert run.rehearsal.stand.guard
            assert run.rehearsal.stand.wiring.aiding

    def test_several_overlap_and_end_each_for_itself(self, tmp_path: Path) -> None:
        """The guard is shut when the last who opened it has gone."""
        with rehearsing(tmp_path, ["guard_opened@5:20", "guard_opened@15:30"]) as run:
            shut_at = None
            for scan in run.rehearsal.scans():
                if run.rehearsal.stand.guard and scan.now > 6 * S:
                    shut_at = scan.now / S
                    break
        assert shut_at == 45.0


entered: dict[str, float] = {}


def before_lv_opens(folder: Path, fault: str) -> int:
    """Return how many writes to the outputs there are before the LV contactor is told to open."""
    writes: list[tuple[str, float]] = []
    with rehearsing(folder, [fault]) as run:
        plant = run.rehearsal.stand
        write = plant.write

        def spy(output: str, value: float) -> None:
            writes.append((output, value))
            write(output, value)

        plant.write = spy  # type: ignore[method-assign]  # a spy on this run alone
        run.finish()
    opens = writes.index((LV, 0), writes.index((LV, 1)))
    assert writes[opens - 1] == (LOOP, 0)
    return opens


def hashes(tmp_path: Path, faults: Sequence[str]) -> tuple[str, str]:
    """Return the hashes of a run under faults."""
    with rehearsing(tmp_path, faults) as run:
        outcome = run.finish()
        return outcome.readings_sha256, outcome.events_sha256


class TestRecord:
    FAULTS = ("lv_analyser_garbage@energise+3:4", "contacts_late@prove", "leads_swapped@w60:9")

    def test_the_same_seed_and_faults_give_the_same_record(self, tmp_path: Path) -> None:
        """Nothing of a fault is left to chance."""
        first, second = (hashes(tmp_path / d, self.FAULTS) for d in "ab")
        assert first == second

    def test_another_fault_gives_another_chain(self, tmp_path: Path) -> None:
        """The first event names them, so that even one that never begins is told."""
        first = hashes(tmp_path / "a", [])
        second = hashes(tmp_path / "b", ["guard_opened@w999999"])
        assert first[0] == second[0]
        assert first[1] != second[1]

    def test_a_reader_finds_each_in_the_archive(self, tmp_path: Path) -> None:
        """Beginning and end, each with its name."""
        with rehearsing(tmp_path, ["contacts_slow@5:2"]) as run:
            run.until_stage("prove")
            events = list(run.rehearsal.archive.events(run.rehearsal.recorder.run))
        assert events[0].facts["faults"] == ["contacts_slow@5:2"]
        found = [(e.t, dict(e.facts)) for e in events if e.kind == "simulated.fault"]
        assert found == [
            (5 * S, {"name": "contacts_slow", "happening": "begins"}),
            (7 * S, {"name": "contacts_slow", "happening": "ends"}),
        ]

    def test_a_crash_writes_nothing_more(self, tmp_path: Path) -> None:
        """Neither to the archive nor to the outputs, in the middle of a scan that cuts."""
        words = ["emergency_stop_pressed@circulate+10", "crash@stopping", "crash@aborting"]
        with rehearsing(tmp_path, words) as run:
            with pytest.raises(Crashed):
                run.finish()
            number = run.rehearsal.recorder.run
            before = [e.hash for e in run.rehearsal.archive.events(number)]
            run.rehearsal.close()
            assert [e.hash for e in run.rehearsal.archive.events(number)] == before
            assert run.rehearsal.archive.run(number).end is None

    def test_a_crash_between_two_writes_leaves_the_rest_unwritten(self, tmp_path: Path) -> None:
        """Category 0 told the loop contactor to open, and then there was nobody any more."""
        cut = before_lv_opens(tmp_path / "count", "guard_opened@circulate+10")
        with rehearsing(tmp_path, ["guard_opened@circulate+10", f"crash@w{cut}"]) as run:
            with pytest.raises(Crashed):
                run.finish()
            assert not run.rehearsal.stand.loop_contactor.commanded
            assert run.rehearsal.stand.lv_contactor.commanded
            assert not run.live(quick().stand.watchdog.drop_s + 1)
