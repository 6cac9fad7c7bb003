"""What a heat run has read so far, folded from readings and marks; an archive folds the same."""

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from math import inf
from typing import Any, Self

import numpy as np

from calculation.heat_readings import Floats, History
from calculation.minutes import MinuteMeans
from calculation.readings import LoadMeans, LossReadings, NoLoadMeans, ProveMeans
from drivers.outputs import REGULATORS
from drivers.reading import GOOD, Reading
from sequences.expected import Expected
from sequences.scan import (
    HV_CURRENT,
    HV_POWER,
    LV_POWER,
    LV_VOLTAGE_MEAN,
    S,
    Scan,
)

WINDING_NAMES = ("a_lv", "a_hv", "b_lv", "b_hv")
# What the shutdown's instant is taken from: the loop current of the minutes around it.
SOAK, SHUTDOWN = "soak", "shutdown"
FALLEN_S = 90.0
MOST_CURRENTS = 2000
SUPPLY_CHANNELS = (LV_VOLTAGE_MEAN, LV_POWER, HV_CURRENT, HV_POWER)


def winding_of(channel: str) -> str:
    """Return the winding that a resistance channel reads: "a_hv" of "a.resistance_hv"."""
    unit, _, side = channel.partition(".resistance_")
    return f"{unit}_{side}"


def windings_at(expected: Expected, position: int) -> list[str]:
    """Return the windings read at a position of the selector; at 0 people connect all."""
    if position:
        return [winding_of(c) for c in expected.selector_positions[position - 1]]
    return [winding_of(c) for c in expected.channels if ".resistance_" in c]


class HeatRecord:
    """Minute means of the whole run, every resistance read, loop current around the shutdown.

    `marks` are the instants and facts that a procedure adds, in their order: name, stand time in
    s, facts. They are events of the record, so that the archive gives the same. What is read up to
    `inherited_to_s` is of the run that this one continues.
    """

    def __init__(self, expected: Expected) -> None:
        channels = expected.channels
        warm = (c for c in channels if channels[c].unit == "°C")
        self._minutes_of = frozenset((*warm, *SUPPLY_CHANNELS))
        self._resistance_of = {c: winding_of(c) for c in channels if ".resistance_" in c}
        self._kept = self._minutes_of | self._resistance_of.keys()
        self.minutes = MinuteMeans()
        self.resistances: dict[str, list[tuple[float, float]]] = {
            winding: [] for winding in self._resistance_of.values()
        }
        self.currents: deque[tuple[float, float]] = deque(maxlen=MOST_CURRENTS)
        self._currents_until_s = inf
        self.movements = 0
        self.inherited_to_s: float | None = None
        self._moved_at: dict[str, int] = {}
        self.marks: list[tuple[str, float, Mapping[str, Any]]] = []

    @property
    def losses(self) -> LossReadings | None:
        """What the loss test read, of this run or of the one that it continues."""
        marked = self.marked("losses")
        return losses_of(marked[-1][1]["readings"]) if marked else None

    def read_losses(self, t: int, readings: LossReadings) -> dict[str, Any]:
        """Take what the loss test read; return it as the facts of its event."""
        return self.mark("losses", t, readings=asdict(readings))

    def scanned(self, scan: Scan) -> None:
        """Take what arrived with a scan, and count the regulators' movements."""
        self.add(scan.arrived)
        for regulator in REGULATORS:
            since = scan.outputs[regulator].since
            if since != self._moved_at.setdefault(regulator, since):
                self._moved_at[regulator] = since
                self.movements += 1

    def add(self, readings: Iterable[Reading]) -> None:
        """Take what has arrived; a reading that is not good counts for nothing."""
        minutes_of, add = self._minutes_of, self.minutes.add
        # Most of what arrives are contacts.
        kept = [r for r in readings if r.channel in self._kept]
        for channel, t, _began, value, quality, _reason in kept:
            if value is None or quality is not GOOD:
                continue
            if channel in minutes_of:
                add(channel, t / S, value)
                if channel == HV_CURRENT and t / S <= self._currents_until_s:
                    self.currents.append((t / S, value))
            elif channel in self._resistance_of:
                self.resistances[self._resistance_of[channel]].append((t / S, value))

    def mark(self, name: str, t: int, **facts: Any) -> dict[str, Any]:
        """Take a mark at stand time `t` (ns); return it as the facts of its event."""
        self.marks.append((name, t / S, facts))
        if name in {SOAK, SHUTDOWN}:
            self._currents_until_s = inf if name == SOAK else t / S + FALLEN_S
        return {"mark": name, "at_s": t / S} | facts

    def history(self) -> History:
        """Return the minutes that are over."""
        return self.minutes.history()

    def inherited(self) -> Self:
        """Return it as what a run that continues begins with."""
        self.inherited_to_s = float(self.history().t_s[-1])
        return self

    def newest_c(self) -> dict[str, float]:
        """Return the newest mean of every temperature channel, degC."""
        newest = {}
        for channel, column in self.history().channels.items():
            read = column[~np.isnan(column)]
            if channel not in SUPPLY_CHANNELS and len(read):
                newest[channel] = float(read[-1])
        return newest

    def marked(self, name: str) -> list[tuple[float, Mapping[str, Any]]]:
        """Return the instants (s) and facts of all marks of a name."""
        return [(t, facts) for known, t, facts in self.marks if known == name]

    def resistance(self, winding: str, from_s: float, to_s: float) -> tuple[Floats, Floats]:
        """Return the instants (s) and values (ohm) of one winding within an interval."""
        found = [(t, v) for t, v in self.resistances[winding] if from_s <= t <= to_s]
        return _columns(found)

    def current(self, from_s: float, to_s: float) -> tuple[Floats, Floats]:
        """Return the instants (s) and values (A) of the loop current within an interval."""
        return _columns([(t, v) for t, v in self.currents if from_s <= t <= to_s])


def losses_of(plain: Mapping[str, Any]) -> LossReadings:
    """Return the readings of a loss test from their plain form."""
    prove = plain["prove"]
    stages = {
        "no_load": NoLoadMeans(**plain["no_load"]),
        "load": LoadMeans(**plain["load"]),
        "prove": None if prove is None else ProveMeans(**prove),
    }
    return LossReadings(**{**plain, **stages})


def _columns(rows: list[tuple[float, float]]) -> tuple[Floats, Floats]:
    table = np.array(rows, dtype=np.float64).reshape(-1, 2)
    return table[:, 0], table[:, 1]
