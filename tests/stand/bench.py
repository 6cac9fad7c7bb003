"""A stand at which a test has both the desk and the hands: it asks, and breaks, scan by scan."""

from collections.abc import Callable
from typing import Any

from acquire.clock import Order
from acquire.storm.witness import Witness
from drivers.simulated.stand import SimulatedStand
from drivers.simulated.true_state import TrueState
from sequences.evidence import Evidence
from sequences.gate import gate
from sequences.permissives import INTENT_MISSING
from sequences.scan import Close, Move, Open, Request, S, Scan, Wait, WithholdHeartbeat
from tests.stand.conftest import Watched
from tests.stand.desk import Desk

PATIENCE = 90


class Bench:
    """A watched rehearsal whose procedure does what the test puts on its desk."""

    def __init__(self, watched: Watched, desk: Desk) -> None:
        self.watched = watched
        self.desk = desk
        self.expected = watched.rehearsal.expected
        self.witness = Witness(watched.rehearsal)
        self._scans = watched.scans()
        self._asked: Request = Wait()

    @property
    def plant(self) -> SimulatedStand:
        """The simulated plant, for hands."""
        return self.watched.plant

    @property
    def evidence(self) -> Evidence:
        """The evidence after the last scan."""
        return self.watched.rehearsal.cycle.evidence

    @property
    def last(self) -> Scan:
        """The last scan."""
        return self.watched.rehearsal.cycle.last

    @property
    def running(self) -> bool:
        """Whether no trip has acted and no proof has failed."""
        return self.watched.state == "running"

    def truth(self) -> TrueState:
        """Return the true circuit against rated values."""
        return self.plant.true_state()

    def mark(self) -> None:
        """Forget the peaks so far."""
        self.witness.highest = dict.fromkeys(self.witness.highest, 0.0)

    def peak(self, of: str) -> float:
        """Return the highest true "bus" or "loop" since the mark, as a share of rated."""
        return self.witness.highest[of]

    def shortfall(self) -> tuple[str, ...]:
        """Return what was missing for the last request, in the last scan.

        The intent is written once nothing else is missing, so that it never is the only other.
        """
        table = self.watched.rehearsal.cycle.permissives
        passage = gate(self._asked, self.last, self.evidence, self.expected, table)
        others = tuple(w for w in passage.shortfall if w != INTENT_MISSING)
        return others or passage.shortfall

    def honest(self, reached: Callable[[Evidence], bool]) -> None:
        """Let the honest loss test go on until the evidence shows something."""
        self.desk.request = None
        for _scan in self._scans:
            if reached(self.evidence):
                return
        raise AssertionError(f"the run ended {self.watched.state}")

    def ask(self, request: Request, scans: int = 1) -> None:
        """Ask for something, some scans in a row; a run that has ended goes no further."""
        self.desk.request = self._asked = request
        for _ in range(scans):
            next(self._scans, None)

    def wait(self, scans: int = 1) -> None:
        """Ask for nothing."""
        self.ask(Wait(), scans)

    def close(self, contactor: str) -> None:
        """Close a contactor and see it at rest, the readings behind it settled."""
        self.ask(Close(contactor), 2)
        self.wait(3)
        assert self.last.value(contactor) == 1.0, self.shortfall()

    def open(self, contactor: str) -> None:
        """Open a contactor and see it at rest, the readings behind it settled."""
        self.ask(Open(contactor))
        self.wait(3)

    def climb(self, regulator: str, to: float) -> None:
        """Move a regulator and see it at rest, the readings behind it settled."""
        self.ask(Move(regulator, to))
        assert not self.shortfall()
        self.wait()
        for _ in range(PATIENCE):
            if self.last.outputs[regulator].at_rest_since is not None:
                break
            self.wait()
        self.wait(3)

    def drop_watchdog(self) -> None:
        """Have the watchdog relay seen to drop and to pick up again."""
        self.wait(2)
        self.ask(WithholdHeartbeat(), 6)
        self.wait(3)
        assert self.evidence.watchdog_acted is not None

    def hand(self, after_s: float, *changes: tuple[Any, str, Any]) -> None:
        """Have a hand set attributes, so long after the last scan."""

        def set_all() -> None:
            for owner, name, value in changes:
                setattr(owner, name, value)

        clock = self.watched.rehearsal.clock
        clock.at(self.last.now + round(after_s * S), Order.PUBLICATION, set_all)

    def intents(self, output: str) -> int:
        """Return how many intents to close an output the archive holds."""
        recorded = self.watched.archive.events(self.watched.rehearsal.recorder.run)
        return sum(e.kind == "intent" and e.facts["output"] == output for e in recorded)

    def both_closed(self) -> bool:
        """Whether LV and loop contactor truly are closed."""
        return self.plant.lv_contactor.closed and self.plant.loop_contactor.closed
