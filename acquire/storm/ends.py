"""What must be so when a program has ended: its record, its state, its results."""

from acquire.archive import Archive
from acquire.outcome import RunOutcome
from acquire.rehearsal import Rehearsal
from acquire.storm.drawing import Drawn
from acquire.storm.truth_bounds import Bounds, true_mean
from acquire.storm.witness import Witness
from calculation.readings import LossReadings

PER_K = 0.0043  # that d.c. resistance rises by, at room temperature


def judge_record(at: Witness, archive: Archive, run: int, committed: int) -> None:
    """Every committed row is there and the chain verifies: a record holds up years later."""
    verification = archive.verify(run)
    if not verification.whole:
        at.note("a_record_is_whole: " + verification.faults[0], len(verification.faults))
    rows = verification.polls + verification.events
    if rows < committed:
        at.note("every_committed_row_is_there", committed - rows)


def judge_abandoned(at: Witness, archive: Archive, run: int, committed: int) -> None:
    """A run without an end counts as aborted from the next start on, with its gap."""
    judge_record(at, archive, run, committed)
    row = archive.run(run)
    kinds = [e.kind for e in archive.events(run)]
    if (row.state, row.end) != ("aborted", "aborted") or "run.abandoned" not in kinds:
        at.note("a_run_without_an_end_is_aborted_at_the_next_start", 1.0)


def judge_end(at: Witness, rehearsal: Rehearsal, outcome: RunOutcome, drawn: Drawn) -> None:
    """Judge a run that has come to its end."""
    _judge_state(at, outcome)
    _judge_life(at, outcome)
    if drawn.has_to_complete and outcome.state != "complete":
        at.note("nothing_stops_what_nothing_is_wrong_with", 1.0)
    readings = rehearsal.cycle.run.returned
    if isinstance(readings, LossReadings) and outcome.result is not None:
        _judge_result(at, rehearsal, outcome, readings)


def _judge_state(at: Witness, outcome: RunOutcome) -> None:
    """Complete is what nothing has stopped, stopped and aborted what a stop has ended."""
    stopped = at.stopped
    right = {None: "complete", 1: "stopped", 0: "aborted"}[stopped.category if stopped else None]
    if outcome.state != right:
        at.note("the_state_of_a_run_is_how_it_ended", 1.0)


def _judge_life(at: Witness, outcome: RunOutcome) -> None:
    """A stand that is live when its run has ended is one that the run says may be live."""
    plant = at.plant
    closed = plant.lv_contactor.closed or plant.loop_contactor.closed
    if closed and plant.upstream_breaker.closed and not outcome.may_be_live:
        at.note("whatever_may_be_live_is_said_to_be", 1.0)


def _judge_result(
    at: Witness, rehearsal: Rehearsal, outcome: RunOutcome, readings: LossReadings
) -> None:
    """What a wrong meter makes of the truth never is a result within limits.

    With meters that keep their class no result is further from the truth than they allow.
    """
    if outcome.verdict != "within" and at.meters_were_wrong:
        return
    assert outcome.result is not None
    bounds = Bounds(rehearsal.scenario, rehearsal.expected, readings)
    truth, mean = true_mean(rehearsal.scenario), outcome.result["pair_mean"]
    # A plant that warms in minutes has done so by the time its load loss is read.
    warmed = PER_K * at.heat.warmed_k if at.heat is not None else 0.0
    for name, bound in (
        ("no_load_loss_w", bounds.no_load_loss()),
        ("load_loss_w", bounds.load_loss() + warmed),
        ("impedance_percent", bounds.impedance() + warmed),
    ):
        off = abs(mean[name] / getattr(truth, name) - 1)
        if off > bound:
            at.note(f"no_result_is_further_from_the_truth_than_meters_allow: {name}", off)
