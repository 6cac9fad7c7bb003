"""The heat run, top to bottom as the stages of the test are: losses first, then the night."""

from math import inf

from calculation.readings import LossReadings
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from sequences.checks import check_dead
from sequences.expected import Expected
from sequences.heat_record import SHUTDOWN, HeatRecord
from sequences.loss_test import (
    Proven,
    circulate,
    energise,
    losses,
    make_safe,
    open_loop,
    proven_pair,
)
from sequences.prepare import VOLTAGES, balanced
from sequences.resistances import cold_resistances, cooling_curves
from sequences.scan import SERIES_VOLTAGE, Move, Procedure, S, Scan, Wait
from sequences.soak import soak
from sequences.stages import (
    both_seen_open,
    enter,
    folded,
    move,
    open_contactor,
    ramp_current,
    settled,
    value_to_judge,
    wait_until,
)
from sequences.warming import Heating


def heat_run(expected: Expected, record: HeatRecord) -> Procedure[LossReadings]:
    """Run the whole heat run into its record; return what its loss test read.

    Raises Stop with a finding. A record that already holds cold resistances and losses is that of
    the run which this one continues: balance, d.c. and the loss test are skipped.
    """
    heating = Heating(expected)

    def scanned(scan: Scan) -> None:
        record.scanned(scan)
        heating.scanned(scan)

    return (yield from folded(_heat_run(expected, record, heating), scanned))


def _heat_run(expected: Expected, record: HeatRecord, heating: Heating) -> Procedure[LossReadings]:
    def on_dead_stand(scan: Scan) -> Procedure[Scan]:
        if record.inherited_to_s is not None:
            gap_s = scan.now / S - record.inherited_to_s
            return (yield Wait(shows=record.mark("continues", scan.now, gap_s=gap_s)))
        scan = yield from balanced(scan)
        return (yield from cold_resistances(scan, expected, record))

    again = balanced if record.inherited_to_s is None else passed
    scan, proven = yield from proven_pair(expected, on_dead_stand, again)
    readings = record.losses
    if readings is None:
        scan, readings, no_load = yield from losses(scan, expected, proven, heating)
        scan = yield from open_loop(scan, expected, no_load)
        scan = yield Wait(shows=record.read_losses(scan.now, readings))
    else:
        scan, _ = yield from energise(scan, expected)
    scan = yield from load_again(scan, expected, proven)
    scan = yield from soak(scan, expected, record, proven.loop_impedance_ohm)
    scan, shutdown = yield from shut_down_fast(scan, expected, record)
    scan = yield from cool(scan, expected, record, shutdown)
    yield from make_safe(scan, expected)
    return readings


def passed(_scan: Scan) -> Procedure[Scan]:
    """Units that are still warm from the run before are in no balance."""
    return (yield Wait())


def load_again(scan: Scan, expected: Expected, proven: Proven) -> Procedure[Scan]:
    """Close the loop at rated voltage once more and bring it to rated current."""
    scan = yield from settled(scan, expected, SERIES_VOLTAGE)
    gap_v = value_to_judge(scan, SERIES_VOLTAGE)
    scan = yield from circulate(scan, expected, proven, gap_v)
    return (yield from ramp_current(scan, expected, 1.0, proven.loop_impedance_ohm))


def shut_down_fast(
    scan: Scan, expected: Expected, record: HeatRecord
) -> Procedure[tuple[Scan, int]]:
    """Current to zero, loop contactor, then the LV contactor at once; return when it began, ns.

    The LV supply carries no more than magnetising current; what it leaves in the cores the d.c.
    of the resistance meter would anyway. Its regulator goes down behind the open contactor while
    resistances are read: none of them waits for it, and no full voltage stands beside the meter.
    """
    scan = yield from enter("shut_down")
    began = scan.now
    scan = yield Wait(shows=record.mark(SHUTDOWN, began))
    scan = yield from move(scan, expected, LOOP_REGULATOR, 0.0)
    scan = yield from open_contactor(scan, LOOP)
    scan = yield from open_contactor(scan, LV)
    scan = yield Move(LV_REGULATOR, 0.0)
    return scan, began


def cool(scan: Scan, expected: Expected, record: HeatRecord, shutdown: int) -> Procedure[Scan]:
    """Resistances against time; where people switch, the stand is made safe before they come."""
    if not expected.selector_positions:
        scan = yield from seen_dead(scan, expected)
        scan = yield from make_safe(scan, expected)
    scan = yield from enter("cool")
    scan = yield from cooling_curves(scan, expected, record, shutdown)
    return (yield from seen_dead(scan, expected))


def seen_dead(scan: Scan, expected: Expected) -> Procedure[Scan]:
    """LV regulator at zero and every voltage read as dead since, wherever the selector stands."""
    scan = yield from move(scan, expected, LV_REGULATOR, 0.0)
    since = scan.now + expected.averaging_ns

    def read_again(scan: Scan) -> bool:
        read = (scan.value(c) is not None or scan.over_range(c) for c in VOLTAGES)
        return all(read) and all(scan.image[c].began >= since for c in VOLTAGES)

    scan = yield from wait_until(
        scan,
        read_again,
        "no_settled_reading",
        "no reading of " + ", ".join(VOLTAGES) + " after both contactors opened",
        "those instruments and their links",
    )
    check_dead({c: inf if scan.over_range(c) else scan.value(c) or 0.0 for c in VOLTAGES})
    # People are told that both are open: minutes have gone since anybody had to look.
    return (yield from both_seen_open(scan, "after the cooling curves"))
