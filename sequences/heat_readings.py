"""From a heat record to what is reduced: the same lines live, at the end, and from an archive."""

import numpy as np

from calculation.heat_readings import (
    ColdResistance,
    CoolingReadings,
    Floats,
    HeatReadings,
    History,
    OverloadStep,
)
from calculation.readings import LossReadings
from calculation.settling import cold_reading
from calculation.shutdown import BEFORE_S, loss_equivalent_instant
from sequences.expected import Expected
from sequences.heat_record import FALLEN_S, SHUTDOWN, SOAK, HeatRecord, windings_at
from sequences.scan import UNITS


def heat_readings(record: HeatRecord, expected: Expected, loss: LossReadings) -> HeatReadings:
    """Return what a finished heat run read.

    Raises:
        ImpossibleReading: a cold record that does not settle, a shutdown whose current is not
            known, no reading at all.
    """
    history = record.history()
    began_s = record.marked(SHUTDOWN)[-1][0]
    shutdown_s = loss_equivalent_instant(
        *record.current(began_s - BEFORE_S, began_s + FALLEN_S), began_s
    )
    soaked = record.marked("soaked")[-1][1]
    steady = [soaked[unit]["steady_at_s"] for unit in UNITS]
    rates = [soaked[unit]["rate_k_per_h"] for unit in UNITS]
    known = [rate for rate in rates if rate is not None]
    balance = _balance(record, history)
    return HeatReadings(
        loss=loss,
        history=history,
        balance_c=balance,
        cold=_cold(record, expected, balance),
        cooling=_cooling(record, expected, shutdown_s),
        soak_from_s=record.marked(SOAK)[-1][0],
        steady_at_s=None if None in steady else max(steady),
        shutdown_s=shutdown_s,
        overload=_overload(record),
        rate_k_per_h=max(known, key=abs) if known else None,
        movements=int(soaked["movements"]),
    )


def _overload(record: HeatRecord) -> OverloadStep | None:
    begun, ended = record.marked("overload"), record.marked("overloaded")
    if not begun or not ended:
        return None
    return OverloadStep(begun[-1][0], ended[-1][0], float(begun[-1][1]["current"]))


def _intervals(record: HeatRecord, when: str) -> list[tuple[int, float, float]]:
    """Position, instant of the d.c. and end of each time the meter was on a position."""
    begun, ended = record.marked(when), record.marked(f"{when}_read")
    return [
        (int(facts["position"]), from_s, to_s)
        for (from_s, facts), (to_s, _) in zip(begun, ended, strict=False)
    ]


def _balance(record: HeatRecord, history: History) -> dict[str, float]:
    """Mean of every temperature channel over the minutes of the cold resistances."""
    cold = _intervals(record, "cold")
    first, last = cold[0][1], cold[-1][2]
    # The minutes that reach into it: it may be shorter than one.
    during = (history.t_s > first - 60.0) & (history.t_s < last + 60.0)
    means = {}
    for channel, column in history.channels.items():
        read = column[during & ~np.isnan(column)]
        if len(read) and channel.split(".")[0] in {*UNITS, "ambient"}:
            means[channel] = float(read.mean())
    return means


def _cold(
    record: HeatRecord, expected: Expected, balance: dict[str, float]
) -> dict[str, ColdResistance]:
    found = {}
    for position, from_s, to_s in _intervals(record, "cold"):
        for winding in windings_at(expected, position):
            t_s, ohm = record.resistance(winding, from_s, to_s)
            channels = expected.warmth[winding[0]]
            extra = (f"{winding[0]}.bottom_liquid", f"{winding[0]}.core")
            known = [balance[c] for c in (*channels, *extra) if c in balance]
            found[winding] = cold_reading(t_s - from_s, ohm, sum(known) / len(known))
    return found


def _cooling(
    record: HeatRecord, expected: Expected, shutdown_s: float
) -> dict[str, CoolingReadings]:
    parts: dict[str, list[tuple[Floats, Floats, float]]] = {}
    for position, from_s, to_s in _intervals(record, "hot"):
        for winding in windings_at(expected, position):
            t_s, ohm = record.resistance(winding, from_s, to_s)
            if len(t_s):
                parts.setdefault(winding, []).append((t_s, ohm, from_s))
    return {
        winding: CoolingReadings(
            np.concatenate([t for t, _, _ in visits]) - shutdown_s,
            np.concatenate([ohm for _, ohm, _ in visits]),
            tuple(from_s - shutdown_s for _, _, from_s in visits),
        )
        for winding, visits in parts.items()
    }
