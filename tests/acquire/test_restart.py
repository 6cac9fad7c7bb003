"""Starting again after a crash: on the plant as it is, knowing nothing, and with a dead stand."""

from pathlib import Path

import pytest

from acquire.clock import S
from acquire.fault_schedule import Crashed
from acquire.rehearsal import Rehearsal
from acquire.restart import restarted
from sequences.evidence import Evidence
from tests.acquire.rehearsing import Rehearsed, quick, rehearsing

DROP_S = quick().stand.watchdog.drop_s
STAGES = ("prepare", "prove", "energise", "circulate", "load_readings", "shut_down", "make_safe")


def crashed(run: Rehearsed) -> Rehearsal:
    """Run into the crash."""
    with pytest.raises(Crashed):
        run.finish()
    return run.rehearsal


@pytest.mark.parametrize("stage", STAGES)
def test_the_next_run_is_a_whole_one(stage: str, tmp_path: Path) -> None:
    """The old run is aborted with its gap, the new one begins at prepare and comes to the end."""
    with rehearsing(tmp_path, [f"crash@{stage}+2.5"]) as run:
        old = crashed(run)
        t = old.clock.now()
        new = restarted(old)
        assert new.cycle.evidence == Evidence()
        assert not new.cycle.outputs.claimed
        assert not new.stand.lv_contactor.closed
        assert not new.stand.loop_contactor.closed
        outcome = new.finish()
        archive = new.archive
        first, second = archive.run(old.recorder.run), archive.run(new.recorder.run)
        abandoned = [e for e in archive.events(first.run) if e.kind == "run.abandoned"]
        stages = [e.facts["stage"] for e in archive.events(second.run) if e.kind == "stage"]
        assert (first.end, second.end) == ("aborted", "complete")
        assert abandoned[0].facts["last_commit_t"] <= t
        assert archive.verify(first.run).faults == archive.verify(second.run).faults == ()
        assert second.header["anchors"][0][0] == t + 60 * S
        assert stages[:2] == ["prepare", "prove"]
        assert outcome.verdict == "within"


def test_the_watchdog_cuts_while_nobody_is_there(tmp_path: Path) -> None:
    """Contactors drop by the relay, in its time, from full load."""
    with rehearsing(tmp_path, ["crash@load_readings+5"]) as run:
        old = crashed(run)
        assert old.stand.lv_contactor.closed
        assert old.stand.loop_contactor.closed
        assert run.live(DROP_S - 1.5)
        assert not run.live(DROP_S + 0.1)


# The last heartbeat was a second before the crash, the first scan is one after the start.
@pytest.mark.parametrize(
    ("after_s", "expected"),
    [
        (0.0, "aborted"),
        (DROP_S - 2, "aborted"),
        (DROP_S - 1, "complete"),
        (DROP_S, "complete"),
        (30.0, "complete"),
    ],
)
def test_nothing_goes_on_by_itself_however_soon_it_starts(
    after_s: float, expected: str, tmp_path: Path
) -> None:
    """Contactors are seen open before outputs are claimed; what dropped comes back by prompts.

    Started before the relay has dropped, the new run finds its contactors closed and cuts.
    """
    with rehearsing(tmp_path, ["crash@load_readings+5"]) as run:
        new = restarted(crashed(run), after_s)
        plant, cycle = new.stand, new.cycle
        was_open = False
        for _scan in new.scans():
            closed = plant.lv_contactor.closed or plant.loop_contactor.closed
            if cycle.outputs.claimed:
                assert cycle.evidence.seen_open is not None or was_open
            was_open = was_open or not closed
            answered = len(cycle.evidence.answered) == 8
            assert not (was_open and closed) or answered
        new.close()
        assert cycle.run.state == expected
        assert cycle.run.may_be_live is False


def test_people_finish_what_they_were_about(tmp_path: Path) -> None:
    """An interchange under way when the program ends is made, the guard shut behind it."""
    words = ["leads_swapped", "crash@make_safe+100"]
    with rehearsing(tmp_path, words) as run:
        old = crashed(run)
        assert not old.stand.guard
        new = restarted(old, 400.0)
        assert new.stand.guard
        assert not new.stand.wiring.aiding
        assert new.finish().verdict == "within"


def test_faults_go_on_meanwhile_and_the_new_record_names_them(tmp_path: Path) -> None:
    """What began before is there; what ends in between has ended."""
    words = ["temperatures_slow@5", "contacts_slow@5:60", "crash@40"]
    with rehearsing(tmp_path, words) as run:
        new = restarted(crashed(run))
        next(new.scans())
        number = new.recorder.run
        found = [e for e in new.archive.events(number) if e.kind == "simulated.fault"]
        assert [(e.facts["name"], e.facts["happening"]) for e in found] == [
            ("temperatures_slow", "is there")
        ]
        assert "contacts" not in {name for name, s in new.stand.latencies_s.items() if s > 0.1}
        new.close()


def test_a_second_crash_is_as_good_as_the_first(tmp_path: Path) -> None:
    """Three runs, two of them aborted, the third complete."""
    with rehearsing(tmp_path, ["crash@energise", "crash@400"]) as run:
        second = restarted(crashed(run))
        with pytest.raises(Crashed):
            second.finish()
        third = restarted(second)
        assert third.finish().end == "complete"
        assert [r.end for r in third.archive.runs()] == ["aborted", "aborted", "complete"]
