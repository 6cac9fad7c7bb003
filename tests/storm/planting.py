"""Faults put into the program one at a time: what a storm is there to find."""

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from typing import Any, NamedTuple
from unittest.mock import patch

import acquire.cycle
import sequences.age_conditions
import sequences.protection
from acquire.cycle import Cycle
from drivers.outputs import LOOP, LV_REGULATOR
from drivers.reading import Reading
from sequences.conditions import View
from sequences.permissives import PERMISSIVES
from sequences.scan import Wait
from sequences.trips import TRIPS
from sequences.warmth import Warmth


class Planted(NamedTuple):
    """What is replaced by what: targets of `patch`, each with what takes its place."""

    patches: tuple[tuple[object, str, object], ...]

    @contextmanager
    def inside(self) -> Iterator[None]:
        """Run what follows with it."""
        with ExitStack() as stack:
            for owner, name, new in self.patches:
                stack.enter_context(patch.object(owner, name, new))
            yield


def _without(output: str, name: str) -> Planted:
    rows = {
        o: tuple(p for p in table if (o, p.name) != (output, name))
        for o, table in PERMISSIVES.items()
    }
    assert len(rows[output]) == len(PERMISSIVES[output]) - 1
    return Planted(((acquire.cycle, "PERMISSIVES", rows),))


def _ramped(*names: str) -> Planted:
    """Trips by these names ramp down instead of cutting."""
    table = tuple(t._replace(category=1) if t.name in names else t for t in TRIPS)
    defaults = (table,)
    return Planted(((sequences.protection.Protection.__init__, "__defaults__", defaults),))


def _stale_inverted() -> Planted:
    """Fresh counts as stale, and stale as fresh."""

    def inverted(at: View) -> list[str]:
        scan = at.scan
        return [n for n, limit in at.expected.critical_ns if scan.now - scan.alive[n] <= limit]

    return Planted(((sequences.age_conditions, "stale_channels", inverted),))


def _beats_first() -> Planted:
    """The heartbeat toggles before anything has been protected."""
    act, beat = Cycle._read_and_act, Cycle._beat

    def beating(self: Cycle, now: int) -> None:
        beat(self, Wait(), self.image._readings)
        act(self, now)

    def silent(_self: Cycle, _request: Any, _arrived: Sequence[Reading]) -> None:
        """It has toggled already."""

    return Planted(((Cycle, "_read_and_act", beating), (Cycle, "_beat", silent)))


def _without_trips(*begins: str) -> Planted:
    """Trips whose names begin so are not in the table."""
    table = tuple(t for t in TRIPS if not t.name.startswith(begins))
    assert len(table) < len(TRIPS)
    return Planted(((sequences.protection.Protection.__init__, "__defaults__", (table,)),))


def _counts_on() -> Planted:
    """A soak that is held, or continued, counts the minutes from before."""

    def restart(self: Warmth, _t: int) -> None:
        self.look()

    return Planted(((Warmth, "restart", restart),))


PLANTED_IN_HEAT = {
    "a soak that counts on after a gap": _counts_on(),
    "no trip on temperature over its limit": _without_trips("over_temperature"),
}
PLANTED = {
    "loop close without opposition": _without(LOOP, "LV low, or opposed at rated"),
    "LV raise without proof": _without(
        LV_REGULATOR, "proof complete, or half the impedance voltage"
    ),
    "overcurrent made category 1": _ramped("loop_current", "lv_supply_current"),
    "a stale check inverted": _stale_inverted(),
    "heartbeat toggled before protection": _beats_first(),
}
