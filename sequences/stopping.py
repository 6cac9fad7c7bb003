"""How a run stops: current before voltage when there is time, everything at once when not."""

from math import inf

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, REGULATORS, SELECTOR
from drivers.reading import OVER_RANGE
from sequences.conditions import DANGEROUS_V
from sequences.evidence import is_open
from sequences.expected import Expected
from sequences.scan import (
    HV_CURRENT,
    LV_VOLTAGE,
    UPSTREAM_BREAKER,
    Move,
    Open,
    Procedure,
    S,
    Scan,
    Wait,
    WithholdHeartbeat,
)

CURRENT_GONE = 0.02  # of rated: what a loop contactor may break in a normal stop
AFTER_HEARTBEAT_NS = 10 * S
OPENING_NS = 2 * S


def category_1_deadline_s(expected: Expected) -> float:
    """Return how long a category 1 stop may take before it becomes category 0, s."""
    travel = 1 / expected.lv_regulator.rate_per_s + 1 / expected.loop_regulator.rate_per_s
    return 1.3 * travel + 10.0


def category_1(scan: Scan, expected: Expected) -> Procedure[None]:
    """Ramp the current down, open the loop, ramp the voltage down, open the LV contactor.

    The selector is told to let go, and not waited for: its d.c. dies away by itself.
    By position alone where a channel is stale: it waits for the regulator's own travel time.
    """
    scan = yield Wait()
    for contactor in (LOOP, LV):
        if scan.outputs[contactor].commanded > 0.5 and is_open(scan, contactor):
            # Told to close and not closed: nothing may follow that command any more.
            scan = yield Open(contactor)
    for regulator, contactor in ((LOOP_REGULATOR, LOOP), (LV_REGULATOR, LV)):
        if scan.outputs[contactor].commanded > 0.5 or not is_open(scan, contactor):
            scan = yield Move(regulator, 0.0)
            while not _down(scan, regulator, expected):
                scan = yield Wait()
        scan = yield Open(contactor)
        while not is_open(scan, contactor):
            scan = yield Wait()
    for regulator in REGULATORS:
        if scan.outputs[regulator].commanded > 0:
            scan = yield Move(regulator, 0.0)
    if scan.outputs[SELECTOR].commanded > 0:
        yield Open(SELECTOR)


def _down(scan: Scan, regulator: str, expected: Expected) -> bool:
    state = scan.outputs[regulator]
    if state.at_rest_since is None:
        return False
    if regulator != LOOP_REGULATOR:
        return True
    current = scan.image[HV_CURRENT]
    if current.began < state.at_rest_since or current.value is None:
        return scan.now > state.due + 3 * S
    return current.value < CURRENT_GONE * expected.nameplate.hv_current_a or _circulates(scan)


def _circulates(scan: Scan) -> bool:
    """At zero for 3 s, what still flows is exchange between the twins: the opening ends it."""
    at_rest = scan.outputs[LOOP_REGULATOR].at_rest_since
    return at_rest is not None and scan.now - at_rest > 3 * S


def category_0(scan: Scan, expected: Expected, withhold: bool) -> Procedure[bool]:
    """Everything has been opened already: see it open, or let the watchdog drop the breaker.

    An LV bus that reads live after both contacts read open is not believed to be open. Returns
    whether the stand may be live: behind an upstream breaker that is seen open it is not, whatever
    is welded.
    """
    scan = yield Wait()
    since = scan.now
    while not withhold and scan.now - since < OPENING_NS:
        if _all_open(scan) and _bus_v(scan, expected) is not None:
            break
        scan = yield Wait()
    if not withhold and _all_open(scan) and (_bus_v(scan, expected) or 0.0) < DANGEROUS_V:
        return False
    since = scan.now
    while scan.now - since < AFTER_HEARTBEAT_NS:
        scan = yield WithholdHeartbeat()
        if is_open(scan, UPSTREAM_BREAKER):
            return False
    return True


def _all_open(scan: Scan) -> bool:
    """Both read open since they were told to: the scan of the trip itself shows nothing of it."""
    told = all(scan.outputs[c].commanded < 0.5 for c in (LV, LOOP))
    fresh = all(scan.image[c].began >= scan.outputs[c].since for c in (LV, LOOP))
    return told and fresh and is_open(scan, LV) and is_open(scan, LOOP)


def _bus_v(scan: Scan, expected: Expected) -> float | None:
    """Return what the LV bus reads since both contactors were seen open, V; None: not read yet."""
    rests = [scan.outputs[c].at_rest_since for c in (LV, LOOP)]
    reading = scan.image[LV_VOLTAGE]
    if any(r is None or reading.began < r + expected.averaging_ns for r in rests):
        return None
    return inf if reading.reason == OVER_RANGE else reading.value
