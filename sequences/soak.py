"""Soak: rated voltage and current held until the units are steady, and what may follow.

Set-points drift as windings warm; they are looked at now and then and brought back when outside a
dead band, so that regulators move seldom.
"""

from collections.abc import Callable, Iterator

from sequences.expected import Expected
from sequences.heat_record import SOAK, HeatRecord
from sequences.prompt import GO_ON, OPERATOR_HOLD, confirm
from sequences.scan import (
    HV_CURRENT,
    LV_VOLTAGE_MEAN,
    Finding,
    Procedure,
    S,
    Scan,
    Stop,
    Wait,
)
from sequences.schedule import WarmUp
from sequences.stages import ask, enter, folded, ramp_current, ramp_voltage, report
from sequences.warmth import Warmth

EXCUSED_S = 900.0  # what was answered for is not asked again at once
SHOWN_EVERY_S = 1800.0
HOUR_S = 3600.0


def soak(
    scan: Scan, expected: Expected, record: HeatRecord, loop_impedance_ohm: float
) -> Procedure[Scan]:
    """Hold rated voltage and current until both units are steady, or the time is over."""
    scan = yield from enter("soak")
    scan = yield Wait(shows=record.mark(SOAK, scan.now))
    keep = Keep(expected, record, loop_impedance_ohm, Warmth(expected, record))
    plan, moved = expected.soak, record.movements
    end = scan.now + int(plan.time_limit_h * HOUR_S * S)
    if plan.warm_up is not None:
        scan = yield from _warm_up(scan, plan.warm_up, keep, end)
        scan = yield Wait(shows=record.mark("warmed_up", scan.now))
    keep.warmth.restart(scan.now)
    scan = yield from keep.until(
        scan, 1.0, lambda s: keep.warmth.steady_at_s is not None or s.now >= end
    )
    if keep.warmth.steady_at_s is None:
        scan = yield from report(
            Finding(
                "not_steady",
                f"not steady by {plan.standard} after {plan.time_limit_h:g} h:"
                f" {keep.warmth.words()}",
                "cooling, ambient and load; a longer time limit in the schedule",
            )
        )
    facts = keep.warmth.facts() | {"movements": record.movements - moved, "rule": plan.standard}
    scan = yield Wait(shows=record.mark("soaked", scan.now, **facts))
    if plan.overload is None:
        return scan
    return (yield from _overload(scan, expected, record, keep))


def _warm_up(scan: Scan, step: WarmUp, keep: "Keep", end: int) -> Procedure[Scan]:
    """More than rated current until a forecast says that it is enough, or the hot-spot that.

    A forecast may never come: stand time `end` (ns) is the soak's own end, and so one of this.
    """

    def enough(scan: Scan) -> bool:
        hottest = keep.warmth.hottest_c(scan, step.current)
        if hottest is not None and hottest.hot_spot >= step.hot_spot_limit_c:
            return True
        return scan.now >= end or keep.warmth.is_warm(step.share)

    return (yield from keep.until(scan, step.current, enough))


def _overload(scan: Scan, expected: Expected, record: HeatRecord, keep: "Keep") -> Procedure[Scan]:
    """More than rated current for some hours, bounded by hot-spot and liquid; then rated again."""
    step = expected.soak.overload
    assert step is not None  # soak saw to it
    scan = yield from enter("overload")
    scan = yield Wait(shows=record.mark("overload", scan.now, current=step.current))
    end = scan.now + int(step.hours * HOUR_S * S)

    def enough(scan: Scan) -> bool:
        hottest = keep.warmth.hottest_c(scan, step.current)
        too_hot = hottest is not None and (
            hottest.hot_spot >= step.hot_spot_limit_c or hottest.unit >= step.top_liquid_limit_c
        )
        return too_hot or scan.now >= end

    scan = yield from keep.until(scan, step.current, enough)
    scan = yield Wait(shows=record.mark("overloaded", scan.now))
    again = scan.now + int(step.rated_again_s * S)
    return (yield from keep.until(scan, 1.0, lambda s: s.now >= again))


class Keep:
    """Rated voltage and a loop current kept, with what interrupts it."""

    def __init__(
        self,
        expected: Expected,
        record: HeatRecord,
        loop_impedance_ohm: float,
        warmth: Warmth,
    ) -> None:
        self._expected = expected
        self._record = record
        self._impedance_ohm = loop_impedance_ohm
        self.warmth = warmth
        self._excused_until = 0
        self._hold_asked = False

    def until(self, scan: Scan, current: float, enough: Callable[[Scan], bool]) -> Procedure[Scan]:
        """Keep `current` (per unit of rated) until it is enough."""
        plan = self._expected.soak
        look, show = scan.now, scan.now + int(SHOWN_EVERY_S * S)
        scan = yield Wait()
        while True:
            self._listen(scan)
            self.warmth.look()
            if self.warmth.is_frozen:
                raise Stop(
                    "temperatures_frozen",
                    "no temperature, the room's included, has changed for an hour to the last"
                    " digit",
                    "temperature scanner and its link: it repeats what it once read",
                )
            if enough(scan):
                return scan
            if (why := self._why_hold(scan)) is not None:
                scan = yield from self._hold(scan, why)
            elif scan.now >= look:
                look = scan.now + int(plan.correction_s * S)
                scan = yield from folded(self._correct(scan, current), self._listen)
            elif scan.now >= show:
                show = scan.now + int(SHOWN_EVERY_S * S)
                outlook = {"forecast": self.warmth.outlook()}
                scan = yield Wait(shows=self.warmth.facts() | outlook)
            else:
                scan = yield Wait()

    def _correct(self, scan: Scan, current: float) -> Procedure[Scan]:
        plate, band = self._expected.nameplate, self._expected.soak.dead_band_percent / 100
        voltage, amperes = scan.value(LV_VOLTAGE_MEAN), scan.value(HV_CURRENT)
        wanted_a = current * plate.hv_current_a
        if voltage is not None and abs(voltage / plate.lv_voltage_v - 1) > band:
            scan = yield from ramp_voltage(scan, self._expected, 1.0)
        if amperes is not None and abs(amperes / wanted_a - 1) > band:
            scan = yield from ramp_current(scan, self._expected, current, self._impedance_ohm)
        return (yield Wait())

    def _hold(self, scan: Scan, why: str) -> Procedure[Scan]:
        """Hold, set-points kept and every trip live, until somebody answers; count anew.

        Stop where the answer is no.
        """
        prompt = confirm(GO_ON, why, self._expected.soak.hold_s)
        scan = yield from ask(scan, prompt, holds=True)
        self._hold_asked = False
        self._excused_until = scan.now + int(EXCUSED_S * S)
        self.warmth.restart(scan.now)
        return (yield Wait())

    def _listen(self, scan: Scan) -> None:
        """Hear the operator ask for a hold, in the middle of a correction too."""
        self._hold_asked |= any(a.prompt == OPERATOR_HOLD for a in scan.answers)

    def _why_hold(self, scan: Scan) -> str | None:
        if self._hold_asked:
            return "the operator asked to hold"
        if scan.now < self._excused_until:
            return None
        return next(self._off(scan), None)

    def _off(self, scan: Scan) -> Iterator[str]:
        plan = self._expected.soak
        for channel in self._expected.ambients:
            value = scan.value(channel)
            if value is not None and not plan.ambient_from_c <= value <= plan.ambient_to_c:
                yield (
                    f"{channel} reads {value:.1f} °C, outside"
                    f" {plan.ambient_from_c:g} to {plan.ambient_to_c:g}"
                )
