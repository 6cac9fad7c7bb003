"""Scans that are built by hand: a healthy stand with everything open, but for what a test says."""

from collections.abc import Mapping, Sequence

from drivers.outputs import CONTACTORS, REGULATORS, OutputState
from drivers.reading import OVER_RANGE, Quality, Reading
from sequences.scan import (
    EMERGENCY_STOP,
    FREQUENCY,
    GUARD,
    PROTECTION_CONTACT,
    TOP_LIQUID_A,
    TOP_LIQUID_B,
    UPSTREAM_BREAKER,
    WATCHDOG,
    S,
    Scan,
)
from tests.sequences.paper import shipped

HEALTHY = {
    **dict.fromkeys((GUARD, EMERGENCY_STOP, PROTECTION_CONTACT, WATCHDOG, UPSTREAM_BREAKER), 1.0),
    **dict.fromkeys((TOP_LIQUID_A, TOP_LIQUID_B), 21.0),
    FREQUENCY: 50.0,
}


def ns(seconds: float) -> int:
    """Return seconds of stand time in ns."""
    return round(seconds * S)


def reads(channel: str, value: float, t: float, began: float | None = None) -> Reading:
    """Return a good reading at `t`, begun then or earlier, s."""
    return Reading(channel, ns(t), ns(t if began is None else began), value)


def fails(channel: str, t: float) -> Reading:
    """Return a reading without a value: the link was silent."""
    return Reading(channel, ns(t), ns(t), None, Quality.BAD, "no answer within 0.8 s")


def over(channel: str, t: float) -> Reading:
    """Return a reading over range."""
    return Reading(channel, ns(t), ns(t), None, Quality.BAD, OVER_RANGE)


def told(
    output: str, commanded: float, since: float = 0.0, rest: float | None = 0.0, due: float = 0.0
) -> dict[str, OutputState]:
    """Return the state of one output: its command, since when, and at rest since when, s."""
    at_rest = None if rest is None else ns(rest)
    return {output: OutputState(commanded, ns(since), ns(max(due, since)), at_rest)}


def scan(
    now: float,
    arrived: Sequence[Reading] = (),
    *,
    outputs: Mapping[str, OutputState] | None = None,
    values: Mapping[str, float | None] | None = None,
) -> Scan:
    """Return a scan at `now`, s: all channels read just now but for what is given."""
    t = ns(now)
    known = dict.fromkeys(shipped().channels, 0.0) | HEALTHY | dict(values or {})
    image = {
        c: Reading(c, t, t, v) if v is not None else Reading(c, t, t, None, Quality.BAD, "silent")
        for c, v in known.items()
    }
    image |= {r.channel: r for r in arrived}
    states = {o: OutputState(0.0, 0, 0, 0) for o in (*CONTACTORS, *REGULATORS)}
    return Scan(
        number=1,
        now=t,
        image=image,
        arrived=list(arrived),
        alive=dict.fromkeys(known, t),
        answers=(),
        outputs=states | dict(outputs or {}),
        refused=(),
        intent=None,
        last_commit=t,
        asked=None,
    )
