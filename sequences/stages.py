"""The parts that stages are made of: wait, ask, close, open, move, ramp, average.

Each first yields a Wait and so holds one scan; the price of reading like the table of stages.
"""

from collections.abc import Callable, Sequence
from math import hypot, inf, sqrt
from statistics import fmean, linear_regression
from typing import NamedTuple, TypeVar

from calculation.accumulate import Accumulator
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from drivers.reading import Quality
from sequences.checks import check_steady, check_window
from sequences.evidence import is_closed, is_open
from sequences.expected import Expected
from sequences.prompt import Prompt
from sequences.scan import (
    HV_CURRENT,
    LV_VOLTAGE_MEAN,
    Ask,
    Close,
    Finding,
    Move,
    Open,
    Procedure,
    S,
    Scan,
    Stop,
    Wait,
)

PATIENCE_S = 60.0
RAMP_TOLERANCE = 0.002
MOST_STEPS = 40
Means = dict[str, float]
T = TypeVar("T")


def enter(stage: str) -> Procedure[Scan]:
    """Announce a stage."""
    return (yield Wait(stage=stage))


def folded(procedure: Procedure[T], fold: Callable[[Scan], None]) -> Procedure[T]:
    """Have a fold see every scan that a procedure is sent."""
    request = next(procedure)
    while True:
        scan = yield request
        fold(scan)
        try:
            request = procedure.send(scan)
        except StopIteration as end:
            result: T = end.value
            return result


def report(finding: Finding) -> Procedure[Scan]:
    """Put a finding into the record without ending the run."""
    return (yield Wait(finding=finding))


def wait_until(
    scan: Scan,
    true: Callable[[Scan], bool],
    name: str,
    seen: str,
    check: str,
    patience_s: float = PATIENCE_S,
) -> Procedure[Scan]:
    """Wait for a condition; Stop with the finding given when it does not come in time."""
    since = scan.now
    scan = yield Wait()
    while not true(scan):
        if scan.now - since > patience_s * S:
            raise Stop(name, seen, check)
        scan = yield Wait()
    return scan


def hold(scan: Scan, seconds: float) -> Procedure[Scan]:
    """Let time pass with everything as it is."""
    end = scan.now + int(seconds * S)
    scan = yield Wait()
    while scan.now < end:
        scan = yield Wait()
    return scan


def ask(scan: Scan, prompt: Prompt, *, holds: bool = False) -> Procedure[Scan]:
    """Put a prompt until it is answered, the run held where it `holds`; Stop when it is no."""
    scan = yield Wait()
    while True:
        scan = yield Ask(prompt, holds)
        for answer in scan.answers:
            asked = scan.asked
            if answer.prompt != prompt.id or asked is None or answer.saw != asked[1]:
                continue
            if not answer.value:
                raise Stop(
                    "answered_no",
                    f"{prompt.id}: {prompt.asked} - answered no by {answer.by}",
                    "what was asked",
                )
            return scan


def close(scan: Scan, contactor: str, onto: int = 1) -> Procedure[Scan]:
    """Close a contactor and see it closed; Stop when its permissives stay unmet for a minute."""
    since = scan.now
    scan = yield Wait()
    while scan.outputs[contactor].commanded != onto:
        scan = yield Close(contactor, onto)
        _patience(scan, since, contactor)
    while not is_closed(scan, contactor) or scan.outputs[contactor].at_rest_since is None:
        if scan.now - scan.outputs[contactor].since > PATIENCE_S * S:
            raise Stop(
                f"{contactor}_does_not_close",
                f"{contactor} was told to close and does not read so after {PATIENCE_S:.0f} s",
                "its drive, interlock and contact",
            )
        scan = yield Wait()
    return scan


def open_contactor(scan: Scan, contactor: str) -> Procedure[Scan]:
    """Open a contactor and see it open; Stop when nothing shows it open for a minute."""
    scan = yield Wait()
    scan = yield Open(contactor)
    return (
        yield from wait_until(
            scan,
            lambda s: is_open(s, contactor) and s.outputs[contactor].at_rest_since is not None,
            "contactor_not_open",
            f"{contactor} told to open and for a minute not seen open",
            "the unit that reads the contacts, its supply and its link; treat as live",
        )
    )


def both_seen_open(scan: Scan, when: str) -> Procedure[Scan]:
    """See both main contactors open; Stop when a reading of them does not show it for a minute."""
    return (
        yield from wait_until(
            scan,
            lambda s: is_open(s, LV) and is_open(s, LOOP),
            "contactor_not_open",
            f"a main contactor does not read open {when}",
            "the unit that reads the contacts, its supply and its link; treat as live",
        )
    )


def move(scan: Scan, expected: Expected, regulator: str, to: float) -> Procedure[Scan]:
    """Move a regulator to the nearest position that it can hold, and see it at rest there."""
    since = scan.now
    wiring = expected.regulator(regulator)
    step = max(wiring.resolution, wiring.scale)
    held = round(min(max(to, 0.0), 1.0) / step) * step
    target = round(held / wiring.scale) * wiring.scale
    scan = yield Wait()
    while scan.outputs[regulator].commanded != target:
        scan = yield Move(regulator, target)
        _patience(scan, since, regulator)
    while scan.outputs[regulator].at_rest_since is None:
        scan = yield Wait()
    return scan


def _patience(scan: Scan, since: int, output: str) -> None:
    if scan.refused and scan.now - since > PATIENCE_S * S:
        raise Stop(
            "permissive_not_met", f"{output}: {'; '.join(scan.refused)}", "what the words name"
        )


def settled(scan: Scan, expected: Expected, *channels: str) -> Procedure[Scan]:
    """Wait for readings of these channels that began after everything came to rest.

    An answer that was lost is no reading: the next one is waited for. Over range is one.
    """

    def comparable(scan: Scan) -> bool:
        rest = scan.at_rest_since()
        if rest is None:
            return False
        since = rest + expected.averaging_ns
        read = (scan.value(c) is not None or scan.over_range(c) for c in channels)
        return all(read) and all(scan.image[c].began >= since for c in channels)

    return (
        yield from wait_until(
            scan,
            comparable,
            "no_settled_reading",
            "no reading of " + ", ".join(channels) + " after everything came to rest",
            "those instruments and their links",
        )
    )


def value_to_judge(scan: Scan, channel: str) -> float:
    """Return a channel's newest value. Raises Stop where it has none: nothing is not nought."""
    reading = scan.image[channel]
    if reading.value is None:
        raise Stop(
            "nothing_to_judge_by",
            f"{channel} has no value: {reading.reason}",
            "its range, its leads and its instrument",
        )
    return reading.value


def ramp_voltage(scan: Scan, expected: Expected, to: float) -> Procedure[Scan]:
    """Bring LV voltage (rectified mean) to a fraction of rated, from readings."""
    ramp = Ramp(
        LV_REGULATOR,
        LV_VOLTAGE_MEAN,
        to * expected.nameplate.lv_voltage_v,
        expected.lv_regulator.full_voltage_v,
    )
    return (yield from _ramp(scan, expected, ramp))


def ramp_current(
    scan: Scan,
    expected: Expected,
    to: float,
    loop_impedance_ohm: float,
    judge: Callable[[Scan], None] = lambda _scan: None,
) -> Procedure[Scan]:
    """Bring loop current to a fraction of rated, from readings, through the measured impedance.

    The source's impedance may stand at any angle to the loop's: the two are together never less
    than at right angles. `judge` sees every settled reading on the way and may raise Stop.
    """
    regulator = expected.loop_regulator
    ramp = Ramp(
        LOOP_REGULATOR,
        HV_CURRENT,
        to * expected.nameplate.hv_current_a,
        regulator.full_voltage_v / hypot(loop_impedance_ohm, regulator.source_ohm),
    )
    return (yield from _ramp(scan, expected, ramp, judge))


class Ramp(NamedTuple):
    """A regulator, the channel that follows it, what is wanted of it and its steepest slope."""

    regulator: str
    channel: str
    wanted: float
    slope: float


def _ramp(
    scan: Scan,
    expected: Expected,
    ramp: Ramp,
    judge: Callable[[Scan], None] = lambda _scan: None,
) -> Procedure[Scan]:
    """Step by the remaining error through the steepest slope.

    The measured curve is convex below its asymptote (current may fall first), so a step falls
    short, never over; long steps keep another 2 % back.
    """
    regulator, channel, wanted, slope = ramp
    resolution = expected.regulator(regulator).resolution
    for _step in range(MOST_STEPS):
        scan = yield from settled(scan, expected, channel)
        judge(scan)
        value = scan.value(channel)
        if value is None:
            raise Stop("ramp_blind", f"{channel} has no value while ramping", "its instrument")
        error = wanted - value
        if abs(error) <= max(RAMP_TOLERANCE * wanted, 0.6 * resolution * slope):
            return scan
        step = error / slope * (1.0 if error < 0.05 * wanted else 0.98)
        position = scan.outputs[regulator].commanded + step
        scan = yield from move(scan, expected, regulator, position)
    raise Stop(
        "ramp_does_not_arrive",
        f"{channel} reads {value:.4g}, {wanted:.4g} wanted",
        "supply behind the regulator: can it deliver this",
    )


class Slope(NamedTuple):
    """A least-squares slope and its standard deviation by the readings' own scatter, per s."""

    per_s: float
    standard: float


class Window(NamedTuple):
    """What was read in a window: mean and slope of each channel."""

    means: Means
    slopes: dict[str, Slope]


def average(
    scan: Scan, expected: Expected, seconds: float, channels: Sequence[str], of: str
) -> Procedure[tuple[Scan, Means]]:
    """Average readings that began within a window: see `read_window`."""
    scan, window = yield from read_window(scan, expected, seconds, channels, of)
    return scan, window.means


def read_window(
    scan: Scan, expected: Expected, seconds: float, channels: Sequence[str], of: str
) -> Procedure[tuple[Scan, Window]]:
    """Read all that begins within a window, every channel over the same interval.

    Stop where readings are missing, or where one lies further from the others than they move.
    """
    start = scan.now
    end = start + int(seconds * S)
    slack = int(max(2 * expected.periods_s[c] + expected.latencies_s[c] for c in channels) * S)
    means = {c: Accumulator(c) for c in channels}
    values: dict[str, list[float]] = {c: [] for c in channels}
    instants: dict[str, list[float]] = {c: [] for c in channels}
    scan = yield Wait()
    while True:
        for r in scan.arrived:
            mean = means.get(r.channel)
            if mean is None or not start <= r.began < end or r.quality is not Quality.GOOD:
                continue
            if r.value is not None:
                mean.add(r.value, r.t)
                values[r.channel].append(r.value)
                instants[r.channel].append(r.t / S)
        if scan.now > end + slack or all(scan.image[c].began >= end for c in channels):
            break
        scan = yield Wait()
    wanted = {c: seconds / expected.periods_s[c] for c in channels}
    check_window({c: m.count for c, m in means.items()}, wanted, of)
    check_steady(expected, values, of)
    slopes = {c: _slope(instants[c], values[c]) for c in channels}
    return scan, Window({c: m.mean for c, m in means.items()}, slopes)


def _slope(instants: list[float], values: list[float]) -> Slope:
    """Least-squares slope; of what was read fewer than three times nothing is known."""
    if len(values) < 3:
        return Slope(0.0, inf)
    found = linear_regression(instants, values)
    middle = fmean(instants)
    spread = sum((t - middle) ** 2 for t in instants)
    pairs = zip(instants, values, strict=True)
    left = sum((v - found.slope * t - found.intercept) ** 2 for t, v in pairs)
    return Slope(found.slope, sqrt(left / (len(values) - 2) / spread))
