"""What `twinload run` does: a run in the foreground, from its files to its exit code."""

from pathlib import Path
from typing import NamedTuple

from acquire.actions import exit_code, plain
from acquire.alone import alone
from acquire.archive import Archive
from acquire.clock import WallClock, stand_time_of_now
from acquire.configuration import Setup, load_setup
from acquire.desk import Desk
from acquire.heat_fold import refuse_to_continue
from acquire.local import refuse_slow_scan, refuse_speed
from acquire.records import Run
from acquire.refusal import Refusal
from acquire.signals import heeded
from acquire.stand import expected_of
from acquire.terminal import print_json
from acquire.unattended import refuse_to_leave
from acquire.wall_run import WallRun
from acquire.wires import Wires
from drivers.link import InstrumentFault


class NotThere(Refusal):
    """A stand whose outputs don't answer: nothing was begun."""


class Wanted(NamedTuple):
    """How a run is to go."""

    out: Path
    speed: float = 1.0
    unattended: bool = False
    as_json: bool = False
    continues: int | None = None


def run_stand(stand: str, pair: str, schedule: str, wanted: Wanted) -> int:
    """Run a stand in the foreground, in the main thread; return the exit code.

    Raises Refusal for whatever is wrong before it has begun, UnrecordedEnd after.
    """
    setup = load_setup(stand, pair, schedule)
    if wanted.unattended:
        refuse_to_leave(setup.stand)
    refuse_speed(setup.stand, wanted.speed)
    refuse_slow_scan(setup.stand)
    wires = Wires(setup.stand)
    expected = expected_of(setup)
    with alone(setup.stand), Archive(wanted.out) as archive:
        left = archive.close_abandoned()
        clock = WallClock(_begin(archive, setup, wanted), speed=wanted.speed)
        desk = Desk(expected, clock, unattended=wanted.unattended, as_json=wanted.as_json)
        for old in left:
            desk.observer(clock.now(), "note", {"words": _abandoned(old)})
        with heeded(desk.operator):
            try:
                run = WallRun(
                    setup,
                    archive=archive,
                    links=wires,
                    clock=clock,
                    asker=desk,
                    observer=desk.observer,
                    watch=desk.follower,
                    continues=wanted.continues,
                )
            except InstrumentFault as fault:
                raise NotThere(f"{fault}; nothing was begun") from fault
            try:
                with desk.manned():
                    outcome = run.finish()
            finally:
                run.close()
    if wanted.as_json:
        print_json(plain(outcome))
    else:
        desk.result(outcome)
    return exit_code(outcome)


def _abandoned(run: Run) -> str:
    return (
        f"run {run.run} was left without an end by its process: it counts as aborted; its record"
        f" ends at {run.last_t / 1e9:.0f} s of stand time"
    )


def _begin(archive: Archive, setup: Setup, wanted: Wanted) -> int:
    """Return the stand time (ns) at which a run begins: one that continues goes on in time."""
    if wanted.continues is None:
        return 0
    refuse_to_continue(archive, wanted.continues, setup)
    old = archive.run(wanted.continues)
    t, utc = old.header["anchors"][-1]
    started = next(e.facts for e in archive.events(old.run) if e.kind == "run.started")
    ran = float(started.get("speed", 1.0))
    return stand_time_of_now((int(t), str(utc)), old.last_t, ran, wanted.speed)
