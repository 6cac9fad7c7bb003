"""Winding resistances: cold before the run, and against time after the shutdown.

The selector connects the meter's d.c. to the windings of one position, each alone, with the LV
parallel link and the loop open; it lets go only when the d.c. is discharged. Where the stand has
none, people connect the meter, and the time that it takes is in the record; they say that its d.c.
is discharged and the meter off before anything else is asked of them.
"""

from itertools import cycle
from math import inf

from drivers.outputs import SELECTOR
from sequences.cold_checks import check_cold
from sequences.evidence import is_open, unit_c
from sequences.expected import Expected
from sequences.heat_record import HeatRecord, windings_at
from sequences.prompt import CONNECTED_COLD, CONNECTED_HOT, DISCONNECTED, confirm
from sequences.scan import Open, Procedure, S, Scan, Stop, Wait
from sequences.stages import ask, close, hold, report, wait_until

LETS_GO_S = 600.0  # a large winding's d.c. takes minutes to die away


def cold_resistances(scan: Scan, expected: Expected, record: HeatRecord) -> Procedure[Scan]:
    """Read every winding in balance with its surroundings.

    Stop where the selector does not act, and where readings are not what a night can rest on.
    """
    soak = expected.soak
    if not expected.selector_positions:
        scan = yield from ask(scan, confirm(CONNECTED_COLD, _dead(scan), _patience_s(expected)))
        scan = yield from _read(scan, record, "cold", 0, soak.cold_s)
        _check_cold(scan, expected, record, 0)
        return scan
    for position in range(1, len(expected.selector_positions) + 1):
        scan = yield from close(scan, SELECTOR, position)
        scan = yield from _read(scan, record, "cold", position, soak.cold_s)
        _check_cold(scan, expected, record, position)
        scan = yield from _let_go(scan)
    return scan


def cooling_curves(
    scan: Scan, expected: Expected, record: HeatRecord, shutdown: int
) -> Procedure[Scan]:
    """Read every winding's resistance until `cooling_s` after the shutdown.

    A selector with several positions goes round them, `dwell_s` at each. One that does not act is
    a finding and not a stop: what has been read counts, and nothing is energised.
    """
    soak = expected.soak
    until = shutdown + int(soak.cooling_s * S)
    positions = len(expected.selector_positions)
    if not positions:
        scan = yield from ask(scan, confirm(CONNECTED_HOT, _dead(scan), _patience_s(expected)))
        scan = yield from _read(scan, record, "hot", 0, max((until - scan.now) / S, 0.0))
        return (yield from ask(scan, confirm(DISCONNECTED, _dead(scan), _patience_s(expected))))
    rounds = cycle(range(1, positions + 1))
    dwell_s = soak.dwell_s if positions > 1 else inf
    try:
        while scan.now < until:
            position = next(rounds)
            scan = yield from close(scan, SELECTOR, position)
            rest_s = max((until - scan.now) / S, 0.0)
            scan = yield from _read(scan, record, "hot", position, min(dwell_s, rest_s))
            scan = yield from _let_go(scan)
    except Stop as stop:
        yield from report(stop.finding)
        scan = yield Open(SELECTOR)
    return scan


def _read(
    scan: Scan, record: HeatRecord, when: str, position: int, seconds: float
) -> Procedure[Scan]:
    """Let the meter read at a position for some time; the mark is the instant of the d.c."""
    at_rest = scan.outputs[SELECTOR].at_rest_since if position else None
    applied = scan.now if at_rest is None else at_rest
    scan = yield Wait(shows=record.mark(when, applied, position=position))
    scan = yield from hold(scan, seconds)
    return (yield Wait(shows=record.mark(f"{when}_read", scan.now, position=position)))


def _check_cold(scan: Scan, expected: Expected, record: HeatRecord, position: int) -> None:
    from_s, to_s = record.marked("cold")[-1][0], record.marked("cold_read")[-1][0]
    for winding in windings_at(expected, position):
        t_s, ohm = record.resistance(winding, from_s, to_s)
        check_cold(expected, winding, (t_s - from_s, ohm), unit_c(scan, expected, winding[0]))


def _let_go(scan: Scan) -> Procedure[Scan]:
    scan = yield Wait()
    scan = yield Open(SELECTOR)
    return (
        yield from wait_until(
            scan,
            _is_free,
            "selector_does_not_open",
            "the resistance selector does not open: its d.c. does not die away, or it is stuck",
            "resistance selector and its interlock; d.c. may be in the windings, do not disconnect",
            LETS_GO_S,
        )
    )


def _is_free(scan: Scan) -> bool:
    return is_open(scan, SELECTOR) and scan.outputs[SELECTOR].at_rest_since is not None


def _dead(_scan: Scan) -> str:
    return "both contactors open, all voltages below 50 V"


def _patience_s(expected: Expected) -> float:
    return expected.schedule.prompt_time_s
