"""The gate: the only way to a closing or a raise."""

from collections.abc import Mapping
from typing import NamedTuple

from sequences.evidence import Evidence
from sequences.expected import Expected
from sequences.permissives import PERMISSIVES, Permissive, Situation
from sequences.scan import Close, Move, Request, Scan

REVOKED = "a trip has revoked all evidence: a new run has to begin"


class Passage(NamedTuple):
    """What the gate let through (None: nothing) and why not the rest."""

    request: Request | None
    shortfall: tuple[str, ...]


def is_raise(request: Move, scan: Scan) -> bool:
    """Return whether a move asks for more than its regulator was last told."""
    return request.to > scan.outputs[request.output].commanded


def gate(
    request: Request,
    scan: Scan,
    evidence: Evidence,
    expected: Expected,
    table: Mapping[str, tuple[Permissive, ...]] = PERMISSIVES,
) -> Passage:
    """Pass a request, or refuse a closing or raise whose permissives are unmet.

    Openings, moves downwards, prompts and waits pass always. Raises KeyError for an output that
    the table does not know.
    """
    if not isinstance(request, Close | Move):
        return Passage(request, ())
    if isinstance(request, Move) and not is_raise(request, scan):
        return Passage(request, ())
    if evidence.revoked:
        return Passage(None, (REVOKED,))
    at = Situation(scan, evidence, expected, request)
    shortfall = tuple(p.words for p in table[request.output] if not p.met(at))
    return Passage(None if shortfall else request, shortfall)
