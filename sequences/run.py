"""A run: one procedure from its first request to its end, with the states of ISA-88."""

from collections.abc import Callable, Generator
from enum import StrEnum
from math import isnan
from typing import Any, Generic, TypeVar

from drivers.outputs import CONTACTORS, LOOP, LV, REGULATORS, SELECTOR
from sequences.evidence import is_open
from sequences.expected import Expected
from sequences.scan import (
    Ask,
    Close,
    Finding,
    Move,
    Open,
    Request,
    S,
    Scan,
    Stop,
    Wait,
    WithholdHeartbeat,
)
from sequences.stopping import category_0, category_1, category_1_deadline_s
from sequences.trips import Trip

T = TypeVar("T")


class State(StrEnum):
    """States of a run, by their ISA-88 names."""

    RUNNING = "running"
    HOLDING = "holding"
    HELD = "held"
    RESTARTING = "restarting"
    STOPPING = "stopping"
    STOPPED = "stopped"
    ABORTING = "aborting"
    ABORTED = "aborted"
    COMPLETE = "complete"


class Happening(StrEnum):
    """What moves a run from one state to another."""

    RETURNED = "procedure returned"
    HOLD_ASKED = "procedure holds"
    AT_REST = "every output at rest"
    ANSWERED = "hold answered"
    WENT_ON = "procedure goes on"
    CATEGORY_1 = "stop category 1"
    CATEGORY_0 = "stop category 0"
    MADE_DEAD = "stop finished"


# A missing row is an impossible transition.
TRANSITIONS: dict[tuple[State, Happening], State] = {
    (State.RUNNING, Happening.RETURNED): State.COMPLETE,
    (State.RUNNING, Happening.HOLD_ASKED): State.HOLDING,
    (State.HOLDING, Happening.AT_REST): State.HELD,
    (State.HOLDING, Happening.ANSWERED): State.RESTARTING,
    (State.HELD, Happening.ANSWERED): State.RESTARTING,
    (State.RESTARTING, Happening.WENT_ON): State.RUNNING,
    (State.RUNNING, Happening.CATEGORY_1): State.STOPPING,
    (State.HOLDING, Happening.CATEGORY_1): State.STOPPING,
    (State.HELD, Happening.CATEGORY_1): State.STOPPING,
    (State.RESTARTING, Happening.CATEGORY_1): State.STOPPING,
    (State.RUNNING, Happening.CATEGORY_0): State.ABORTING,
    (State.HOLDING, Happening.CATEGORY_0): State.ABORTING,
    (State.HELD, Happening.CATEGORY_0): State.ABORTING,
    (State.RESTARTING, Happening.CATEGORY_0): State.ABORTING,
    (State.STOPPING, Happening.CATEGORY_0): State.ABORTING,
    (State.STOPPING, Happening.MADE_DEAD): State.STOPPED,
    (State.ABORTING, Happening.MADE_DEAD): State.ABORTED,
}

# The procedure lives: what ends it is a trip, a failed proof or its own return.
GOING = frozenset({State.RUNNING, State.HOLDING, State.HELD, State.RESTARTING})
ENDED = frozenset({State.COMPLETE, State.STOPPED, State.ABORTED})


class Run(Generic[T]):
    """Steps a procedure, and after a trip or a failed proof the stop that follows.

    `record` is called with a kind and facts for everything that belongs in the run's history.
    The generator of the procedure is closed at a stop and never resumed.
    """

    def __init__(
        self,
        procedure: Generator[Request, Scan, T],
        expected: Expected,
        record: Callable[[str, dict[str, Any]], object],
    ) -> None:
        self._expected = expected
        self._record = record
        self._procedure: Generator[Request, Scan, T] | None = procedure
        self._primed = False
        self._stop: Generator[Request, Scan, bool | None] | None = None
        self._stopped_at = 0
        self._deadline = 0
        self._withheld = False
        self.state = State.RUNNING
        self.stage = ""
        self.attempts = 0
        self.finding: Finding | None = None
        self.may_be_live = False
        self.returned: T | None = None

    @property
    def ended(self) -> bool:
        """Return whether the run has come to its end."""
        return self.state in ENDED

    def step(self, scan: Scan) -> Request:
        """Return what the procedure, or the stop that follows it, asks for in this scan."""
        if self.state is State.STOPPING and scan.now >= self._deadline:
            after_s = (scan.now - self._stopped_at) / S
            self.stop(OVERDUE, f"contactors not open after {after_s:.0f} s", scan)
        if self._stop is not None or self.ended:
            return self._step_stop(scan)
        try:
            request = self._step_procedure(scan)
        except Stop as stop:
            self.find(stop.finding)
            self._to(Happening.CATEGORY_1, scan, withhold=False)
            return Wait()
        except StopIteration as end:
            return self._returned(end.value, scan)
        except Exception as error:  # any fault of a procedure is a category 1 trip, and is named
            self._fault(error, scan)
            return Wait()
        self._hold(request, scan)
        self._announce(request)
        return request

    def stop(self, trip: Trip, seen: str, scan: Scan) -> None:
        """Close the procedure and begin the stop that a trip's category asks for."""
        self._record(
            "trip",
            {"name": trip.name, "category": trip.category, "seen": seen, "check": trip.check},
        )
        if self.finding is None or self.state in GOING:
            self.finding = Finding(trip.name, seen, trip.check)
        if self.state is State.ABORTING:
            if trip.withholds and not self._withheld:
                self._stop = category_0(scan, self._expected, withhold=True)
                next(self._stop)
            return
        if self.ended:
            return
        if trip.category == 0:
            self._to(Happening.CATEGORY_0, scan, withhold=trip.withholds)
            return
        if self.state in GOING:
            self._to(Happening.CATEGORY_1, scan, withhold=False)
        if trip.deadline_s is not None:
            self._deadline = min(self._deadline, scan.now + int(trip.deadline_s * S))

    def find(self, finding: Finding) -> None:
        """Note a finding."""
        self.finding = finding
        self._record("finding", finding._asdict())

    def _hold(self, request: Request, scan: Scan) -> None:
        """Follow a hold (stop category 2): set-points kept, every trip live, the procedure waits.

        The states are only names for what the procedure does; nothing is energised or opened.
        """
        holds = isinstance(request, Ask) and request.holds
        if self.state is State.RUNNING and holds:
            self._enter(Happening.HOLD_ASKED)
        elif self.state in {State.HOLDING, State.HELD} and not holds:
            self._enter(Happening.ANSWERED)
        elif self.state is State.HOLDING and scan.at_rest_since() is not None:
            self._enter(Happening.AT_REST)
        elif self.state is State.RESTARTING:
            self._enter(Happening.WENT_ON)

    def _step_procedure(self, scan: Scan) -> Request:
        if self._procedure is None:
            raise RuntimeError("a procedure that has ended is not resumed")
        if not self._primed:
            self._primed = True
            self._announce(next(self._procedure))
        request = self._procedure.send(scan)
        if not _is_possible(request, self._expected):
            raise ValueError(f"there is no {request}")
        return request

    def _step_stop(self, scan: Scan) -> Request:
        """Step the stop; a heartbeat that it once withheld comes back with no later scan."""
        request: Request = Wait()
        if self._stop is not None:
            try:
                request = self._stop.send(scan)
            except StopIteration as end:
                self._made_dead(end.value)
        if isinstance(request, WithholdHeartbeat) and not self._withheld:
            self._withheld = True
            self._record("heartbeat.withheld", {"words": "the upstream breaker is to drop"})
        return WithholdHeartbeat() if self._withheld else request

    def _made_dead(self, may_be_live: bool | None) -> None:
        self._stop = None
        self.may_be_live = bool(may_be_live)
        self._enter(Happening.MADE_DEAD)

    def _returned(self, value: T, scan: Scan) -> Request:
        if not (is_open(scan, LV) and is_open(scan, LOOP)):
            self._fault(RuntimeError("the procedure ended with a contactor not open"), scan)
            return Wait()
        if self.state in {State.HOLDING, State.HELD}:
            self._fault(RuntimeError("the procedure ended while it held"), scan)
            return Wait()
        self.returned = value
        self._procedure = None
        if self.state is State.RESTARTING:
            self._enter(Happening.WENT_ON)
        self._enter(Happening.RETURNED)
        return Wait()

    def _fault(self, error: Exception, scan: Scan) -> None:
        what = f"{type(error).__name__}: {error}"
        self.stop(PROCEDURE_FAULT, what, scan)

    def _to(self, happening: Happening, scan: Scan, withhold: bool) -> None:
        if self._procedure is not None:
            self._procedure.close()
            self._procedure = None
        if happening is Happening.CATEGORY_0:
            self._stop = category_0(scan, self._expected, withhold)
        else:
            self._stopped_at = scan.now
            self._deadline = scan.now + int(category_1_deadline_s(self._expected) * S)
            self._stop = category_1(scan, self._expected)
        self._enter(happening)
        try:
            next(self._stop)
        except StopIteration as end:
            self._made_dead(end.value)

    def _enter(self, happening: Happening) -> None:
        self.state = TRANSITIONS[self.state, happening]
        self._record("state", {"state": self.state.value})

    def _announce(self, request: Request) -> None:
        if not isinstance(request, Wait):
            return
        if request.stage is not None:
            self.stage = request.stage
            if request.stage == "prepare":
                self.attempts += 1
                self._record("attempt", {"number": self.attempts})
            self._record("stage", {"stage": request.stage})
        if request.finding is not None:
            self.find(request.finding)
        if request.shows is not None:
            self._record("shows", dict(request.shows))


def _is_possible(request: Request, expected: Expected) -> bool:
    """Return whether the stand has what a request asks for."""
    match request:
        case Close(output, onto):
            positions = len(expected.selector_positions) if output == SELECTOR else 1
            return output in CONTACTORS and 1 <= onto <= max(positions, 1)
        case Open(output):
            return output in CONTACTORS
        case Move(output, to):
            return output in REGULATORS and not isnan(to)
        case _:
            return True


def _never(*_: object) -> bool:
    return False


OVERDUE = Trip(
    "stop_overdue",
    None,
    0,
    _never,
    _never,
    "a stop that does not end leaves the stand live",
    str,
    "regulators and contactors",
)
PROCEDURE_FAULT = Trip(
    "procedure_fault",
    None,
    1,
    _never,
    _never,
    "nobody steers the test any more",
    str,
    "this is a fault of the program: keep the archive and report it",
)
