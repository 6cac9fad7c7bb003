"""Starting again on the stand that a program has left as it was."""

from acquire.clock import S
from acquire.heat_fold import CannotContinue, refuse_to_continue
from acquire.rehearsal import Rehearsal

AFTER_S = 60.0


def restarted(ended: Rehearsal, after_s: float = AFTER_S) -> Rehearsal:
    """Return the next run on the plant and archive of a program that has ended without its end.

    In between the plant goes on by itself for `after_s` seconds, and people do what they were
    about to do. The old run is marked aborted; the new one begins at prepare and has no evidence.
    A heat run whose losses were read continues the old one: it inherits readings and marks,
    nothing that was proven. One that ended before is begun anew.
    Raises ArchiveError.
    """
    site = ended.site
    ended.close()
    site.faults.tell = _nobody
    site.operator.forget()
    site.clock.without_program(site.clock.now() + round(after_s * S))
    site.stand.advance(site.clock.now())
    ended.archive.close_abandoned()
    return Rehearsal(
        ended.scenario,
        seed=site.seed,
        archive=ended.archive,
        site=site,
        observer=ended.observer,
        procedure=ended.procedure,
        continues=ended.recorder.run if _can_go_on(ended) else None,
    )


def _can_go_on(ended: Rehearsal) -> bool:
    """Whether the archive has what a run needs to go on from: memory ended with the program."""
    try:
        refuse_to_continue(ended.archive, ended.recorder.run, ended.scenario)
    except CannotContinue:
        return False
    return True


def _nobody(*_: object) -> None:
    """Nobody records while no program runs."""
