"""The prepare stage: instruments alive, everything dead and in balance, people asked."""

from collections.abc import Callable

from drivers.outputs import LOOP, LV
from drivers.reading import OVER_RANGE, Quality
from sequences.checks import check_balance, check_dead
from sequences.evidence import is_closed, is_open
from sequences.expected import Expected
from sequences.prompt import PREPARATION, confirm
from sequences.scan import (
    GUARD,
    HV_VOLTAGE,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    UPSTREAM_BREAKER,
    WATCHDOG,
    WINDINGS,
    Procedure,
    S,
    Scan,
    Stop,
    Wait,
    WithholdHeartbeat,
)
from sequences.stages import ask, enter, settled, wait_until

# A winding that no meter is connected to reads over range.
RESISTANCE = ".resistance_"
VOLTAGES = (LV_VOLTAGE, HV_VOLTAGE, SERIES_VOLTAGE)


def balanced(scan: Scan) -> Procedure[Scan]:
    """Stop unless every unit is in balance within itself."""
    for one, other in (("top_liquid", "bottom_liquid"), WINDINGS):
        check_balance(_temperatures(scan, one), _temperatures(scan, other))
    return (yield Wait())


def prepare(
    expected: Expected, on_dead_stand: Callable[[Scan], Procedure[Scan]] = balanced
) -> Procedure[Scan]:
    """See instruments alive and the stand dead, ask the people, see the watchdog act.

    `on_dead_stand` is done once everything is seen open and dead and the guard is shut.
    """
    scan = yield from enter("prepare")
    scan = yield from _instruments_alive(scan)
    scan = yield from wait_until(
        scan,
        lambda s: is_open(s, LV) and is_open(s, LOOP),
        "contactor_not_open",
        "a main contactor does not read open before the test",
        "welded contacts, auxiliary contacts; treat as live",
    )
    # A program that ended under load has left its regulators raised: they come down first.
    scan = yield from settled(scan, expected, *VOLTAGES)
    while _without_value(scan):
        # A voltage that was not read is not nought.
        scan = yield from _instruments_alive(scan)
    check_dead({c: scan.value(c) or 0.0 for c in VOLTAGES})
    scan = yield from wait_until(
        scan,
        lambda s: is_closed(s, GUARD),
        "guard_not_shut",
        "the guard stands open",
        "shut the guard",
    )
    # Behind a shut guard: a resistance meter may put d.c. on windings there.
    scan = yield from on_dead_stand(scan)
    for row in PREPARATION:
        scan = yield from ask(scan, confirm(row, _seen(scan), expected.schedule.prompt_time_s))
    return (yield from _watchdog_acts(scan, expected))


def _instruments_alive(scan: Scan) -> Procedure[Scan]:
    def alive(scan: Scan) -> bool:
        return not _without_value(scan)

    return (
        yield from wait_until(
            scan,
            alive,
            "instrument_without_reading",
            "no good reading within a minute of the start: " + ", ".join(_without_value(scan)),
            "those instruments, their supply and their links",
        )
    )


def _without_value(scan: Scan) -> list[str]:
    return [
        c
        for c, r in scan.image.items()
        if r.quality is Quality.BAD and not (r.reason == OVER_RANGE and RESISTANCE in c)
    ]


def _watchdog_acts(scan: Scan, expected: Expected) -> Procedure[Scan]:
    """With everything open, withhold the heartbeat until the relay drops, then see it pick up."""
    scan = yield from wait_until(
        scan,
        lambda s: is_closed(s, WATCHDOG),
        "watchdog_not_picked_up",
        "the watchdog relay does not pick up on the heartbeat",
        "heartbeat output, watchdog relay",
    )
    since = scan.now
    while not is_open(scan, WATCHDOG):
        if scan.now - since > 3 * expected.watchdog_drop_s * S + 10 * S:
            raise Stop(
                "watchdog_does_not_act",
                f"heartbeat withheld for {(scan.now - since) / S:.0f} s, the relay has not dropped",
                "watchdog relay: it is the way out that needs no program",
            )
        scan = yield WithholdHeartbeat()
    scan = yield Wait()
    return (
        yield from wait_until(
            scan,
            lambda s: is_closed(s, WATCHDOG) and is_closed(s, UPSTREAM_BREAKER),
            "watchdog_stays_dropped",
            "the watchdog relay or the upstream breaker does not come back",
            "watchdog relay, upstream breaker",
        )
    )


def _temperatures(scan: Scan, place: str) -> dict[str, float]:
    found = {}
    for channel in scan.image:
        unit, _, where = channel.partition(".")
        value = scan.value(channel)
        if where == place and value is not None:
            found[unit] = value
    return found


def _seen(scan: Scan) -> str:
    lv = scan.value(LV_VOLTAGE)
    read = "not read" if lv is None else f"{lv:.1f} V"
    return f"both contactors open, guard shut, LV {read}"
