"""The state that permissives read, in the abstract: every condition, and what may then be true.

A condition is a list of cases. A case is what is read, told or known, and every truth that this
leaves possible; here soundness is assumed (tests/storm/soundness.py says what and who holds it).
Cases that no run can reach are enumerated all the same.
"""

from collections.abc import Iterator, Mapping
from itertools import product
from math import prod
from typing import Any, NamedTuple

from drivers.outputs import OutputState
from drivers.reading import OVER_RANGE, Quality, Reading
from sequences.evidence import Evidence
from sequences.scan import S, Scan
from tests.sequences.paper import Paper
from tests.storm.hazards import Truth

Wrong = Mapping[str, Any]
RIGHT: Wrong = {}
PAPER = Paper()
BASE = PAPER.scan()
NOW = BASE.now
BEGAN = PAPER.asked_at()
SINCE = BEGAN - PAPER.expected.averaging_ns  # the latest rest that a fresh reading is newer than


class Case(NamedTuple):
    """What is read, told and known in one case of a condition, and what may truly be so."""

    name: str
    truths: tuple[Wrong, ...] = (RIGHT,)
    image: Mapping[str, Reading] = {}
    outputs: Mapping[str, OutputState] = {}
    evidence: Mapping[str, Any] = {}
    intent: str | None = None


Condition = tuple[Case, ...]


class State(NamedTuple):
    """One combination of cases, as the gate gets it."""

    cases: tuple[Case, ...]
    scan: Scan
    evidence: Evidence

    def truths(self) -> Iterator[Truth]:
        """Yield every true state that this one leaves possible."""
        for wrongs in product(*(c.truths for c in self.cases)):
            together: dict[str, Any] = {}
            for wrong in wrongs:
                together |= wrong
            yield Truth(**together)

    def __str__(self) -> str:
        return "; ".join(c.name for c in self.cases)


def count(conditions: tuple[Condition, ...]) -> tuple[int, int]:
    """Return how many combinations of cases there are, and how many with their truths."""
    seen = prod(len(c) for c in conditions)
    return seen, prod(sum(len(case.truths) for case in c) for c in conditions)


def states(conditions: tuple[Condition, ...]) -> Iterator[State]:
    """Yield every combination of the cases of these conditions."""
    yield from _below((), BASE.image, BASE.outputs, Evidence(), None, conditions)


def _below(
    cases: tuple[Case, ...],
    image: Mapping[str, Reading],
    outputs: Mapping[str, OutputState],
    evidence: Evidence,
    intent: str | None,
    left: tuple[Condition, ...],
) -> Iterator[State]:
    if not left:
        scan = Scan(1, NOW, image, (), BASE.alive, (), outputs, (), intent, NOW, None)
        yield State(cases, scan, evidence)
        return
    for case in left[0]:
        yield from _below(
            (*cases, case),
            {**image, **case.image} if case.image else image,
            {**outputs, **case.outputs} if case.outputs else outputs,
            evidence._replace(**case.evidence) if case.evidence else evidence,
            case.intent or intent,
            left[1:],
        )


def fresh(channel: str, value: float) -> dict[str, Reading]:
    """Return a reading that is young enough."""
    return {channel: PAPER.reading(channel, value)}


def stale(channel: str, value: float) -> dict[str, Reading]:
    """Return a reading that is just older than its channel may be."""
    age = int(PAPER.expected.channels[channel].stale_after_s * S) + 1
    return {channel: Reading(channel, NOW - age, NOW - age - S // 50, value)}


def bad(channel: str) -> dict[str, Reading]:
    """Return a reading without a value."""
    return {channel: Reading(channel, NOW, BEGAN, None, Quality.BAD, OVER_RANGE)}


def told(output: str, to: float, *, rest: int | None = SINCE) -> dict[str, OutputState]:
    """Return an output that was told this, at rest since (None: on its way)."""
    return {output: OutputState(to, 0, 0, rest)}


def reads(channel: str, good: float, wrong: str) -> Condition:
    """Return a contact that nobody commands: it reads good or not, or was good when last read."""
    either: tuple[Wrong, ...] = (RIGHT, {wrong: True})
    return (
        Case(f"{channel} good", image=fresh(channel, good)),
        Case(f"{channel} wrong", ({wrong: True},), fresh(channel, 1.0 - good)),
        Case(f"{channel} good when last read", either, stale(channel, good)),
        Case(f"{channel} unread", either, bad(channel)),
    )


def contactor(output: str, wanted: float, wrong: str, *others: float) -> Condition:
    """Return a contactor as it was told and reads; it is wrong unless it is and stays as wanted.

    `others` are the positions of a selector, where it has several.
    """
    is_wrong: tuple[Wrong, ...] = ({wrong: True},)
    either: tuple[Wrong, ...] = (RIGHT, {wrong: True})
    as_wanted = told(output, wanted)
    return (
        Case(f"{output} as wanted", (RIGHT,), fresh(output, wanted), as_wanted),
        Case(f"{output} as wanted when last read", either, stale(output, wanted), as_wanted),
        Case(f"{output} unread", either, bad(output), as_wanted),
        *(
            case
            for other in others or (1.0 - wanted,)
            for otherwise in (told(output, other),)
            for case in (
                Case(f"{output} at {other:g}, not told", is_wrong, fresh(output, other), as_wanted),
                Case(f"{output} told {other:g}", is_wrong, fresh(output, wanted), otherwise),
                Case(f"{output} at {other:g}", is_wrong, fresh(output, other), otherwise),
            )
        ),
    )


def regulator(output: str, low: float, high: float, wrong: str) -> Condition:
    """Return a regulator that is to be low: where it was told to be, reads, and whether at rest."""
    is_wrong: tuple[Wrong, ...] = ({wrong: True},)
    either: tuple[Wrong, ...] = (RIGHT, {wrong: True})
    stands, rises = told(output, low), told(output, high)
    return (
        Case(f"{output} low", (RIGHT,), fresh(output, low), stands),
        Case(f"{output} high", is_wrong, fresh(output, high), rises),
        Case(f"{output} told low, stands high", is_wrong, fresh(output, high), stands),
        Case(f"{output} told high, stands low", is_wrong, fresh(output, low), rises),
        Case(f"{output} coming down", either, fresh(output, low), told(output, low, rest=None)),
        Case(f"{output} high, down", is_wrong, fresh(output, high), told(output, low, rest=None)),
        Case(f"{output} going up", is_wrong, fresh(output, low), told(output, high, rest=None)),
        Case(f"{output} low when last read", either, stale(output, low), stands),
        Case(f"{output} unread", either, bad(output), stands),
    )


def known(field: str, value: object, wrong: str) -> Condition:
    """Return a field of evidence: where it is there, what it stands against is not so."""
    return (
        Case(f"{field} known", evidence={field: value}),
        Case(f"{field} not known", (RIGHT, {wrong: True})),
    )


def intent(output: str, other: str) -> Condition:
    """Return what the archive holds the intent of."""
    return (
        Case("intent held", intent=output),
        Case("another intent held", ({"unrecorded": True},), intent=other),
        Case("no intent held", ({"unrecorded": True},)),
    )


TRIPPED: Condition = (
    Case("no trip"),
    Case("tripped", ({"tripped": True},), evidence={"revoked": True}),
)
# While energised an open guard trips in the scan that reads it, before the gate is asked.
TRIPPED_OR_OPENED: Condition = (
    Case("no trip"),
    Case(
        "tripped",
        ({"tripped": True}, {"tripped": True, "guard_open": True}),
        evidence={"revoked": True},
    ),
)
