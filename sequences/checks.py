"""The judgements of the test: pure functions on what was read, each naming what may be wrong.

They raise Stop with a finding, or return nothing; the procedure and their own Monte Carlo tests
call the same functions.
"""

from collections.abc import Mapping, Sequence
from statistics import median
from typing import NamedTuple

from sequences.criteria import (
    LOOP_WITHIN,
    VOLTMETER_WITHIN,
    aiding_seen,
    is_lv_sound,
    most_low_flux_current_a,
    voltmeter_error_v,
)
from sequences.expected import Expected
from sequences.scan import (
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_POWER,
    LV_VOLTAGE,
    LV_VOLTAGE_MEAN,
    SERIES_VOLTAGE,
    TOP_LIQUID_A,
    TOP_LIQUID_B,
    Finding,
    Stop,
)

OPEN_BELOW = 0.15
NO_LOAD_AGAIN = 0.03  # noise, and the iron's exponent on a voltage that has moved by a per cent
DANGEROUS_V = 50.0
BALANCE_K = 5.0
WITH_NOISE = 1.25  # single readings stray further than the class
# What a supply at rest moves its voltage by in a window: IEC 61000-3-3 lets no load on a public
# supply change it lastingly by more than 3.3 % (from memory). Loop current goes with it, power with
# its square, and the current of iron near saturation by several times as much.
SUPPLY_MOVES = 0.033
IRON_CURRENT = 6.0
LIQUID_MOVES_K = 2.0  # in minutes: common practice, no source

AIDING = Finding(
    "aiding",
    "closing the loop at half the impedance voltage drove current by itself",
    "interchange the two ends of one secondary",
)


class Lv(NamedTuple):
    """What the LV analyser reads: V, A (None: over range), W (None: over range)."""

    voltage_v: float
    current_a: float | None
    power_w: float | None


class LoopSeen(NamedTuple):
    """What the HV analyser reads: V, A, W."""

    voltage_v: float
    current_a: float
    power_w: float


def check_dead(voltages_v: dict[str, float]) -> None:
    """With both contactors open every voltage reads below 50 V."""
    live = {c: v for c, v in voltages_v.items() if v >= DANGEROUS_V}
    if live:
        seen = ", ".join(f"{c} {v:.1f} V" for c, v in live.items())
        raise Stop(
            "live_with_contactors_open",
            f"{seen} with both contactors open",
            "welded contactor, back-feed, voltmeter; treat as live",
        )


def check_balance(top_c: dict[str, float], bottom_c: dict[str, float]) -> None:
    """Top and bottom liquid of each unit within 5 K: the winding has the liquid's temperature.

    The bound is from memory of IEC 60076-1 on measuring winding resistance.
    """
    for unit, top in top_c.items():
        if unit in bottom_c and abs(top - bottom_c[unit]) > BALANCE_K:
            raise Stop(
                "temperatures_not_in_balance",
                f"unit {unit.upper()}: top liquid {top:.1f} °C, bottom {bottom_c[unit]:.1f} °C",
                "let the units stand until both agree within 5 K; sensors and their pockets",
            )


def check_lv_before_loop(expected: Expected, promised_v: float, lv: Lv) -> None:
    """Prove (1): at half the impedance voltage the LV bus is neither short nor overloaded."""
    if not is_lv_sound(expected, promised_v, lv.voltage_v, lv.current_a):
        most = most_low_flux_current_a(expected, promised_v, lv.voltage_v)
        current = "over range" if lv.current_a is None else f"{lv.current_a:.3g} A"
        raise Stop(
            "lv_short_or_shorted_turn",
            f"LV reads {lv.voltage_v:.2f} V of {promised_v:.2f} V promised, {current}"
            f" where at most {most:.3g} A is expected",
            "a short-circuiting or earthing link left on the LV side, or a shorted turn in a unit",
        )


def is_aiding(expected: Expected, lv_before_v: float, loop_current_a: float | None, lv: Lv) -> bool:
    """Prove (2): whether closing the loop at regulator zero drove current by itself."""
    if loop_current_a is None or lv.current_a is None:
        return True
    return aiding_seen(expected, lv_before_v, loop_current_a, lv.voltage_v)


def check_loop_follows(
    expected: Expected, loop: LoopSeen, judge_ratio: bool, winding_c: float | None = None
) -> None:
    """Prove (3): the loop's current follows its voltage as twice the impedance says.

    The nameplate's impedance is carried to `winding_c`; None: it is taken as it stands.
    """
    impedance = expected.loop_impedance_ohm
    if winding_c is not None:
        impedance = expected.loop_impedance_at(winding_c)
    follows = loop.current_a * impedance / max(loop.voltage_v, 1e-9)
    seen = (
        f"{loop.voltage_v:.1f} V drive {loop.current_a:.3g} A,"
        f" {100 * follows:.0f} % of what 2 Z_e = {impedance:.1f} Ω lets expect"
    )
    if follows < OPEN_BELOW:
        raise Stop(
            "loop_open",
            seen,
            "a lead of the HV loop open, an LV lead of one unit open, or the loop ammeter's"
            " circuit open; nothing is proven",
        )
    if judge_ratio and not LOOP_WITHIN[0] <= follows <= LOOP_WITHIN[1]:
        raise Stop(
            "impedance_not_as_nameplate",
            seen,
            "tap positions, nameplate impedance, ratios (multipliers) of the HV analyser",
        )


def check_wattmeter(loop: LoopSeen) -> None:
    """Prove (4): the loop wattmeter reads forwards, and no more than volts times amperes."""
    if not 0 < loop.power_w <= 1.05 * loop.voltage_v * loop.current_a:
        raise Stop(
            "wattmeter_sense",
            f"loop wattmeter reads {loop.power_w:.4g} W at {loop.voltage_v:.1f} V and"
            f" {loop.current_a:.3g} A",
            "sense of the loop wattmeter's current and voltage circuits, its multiplier",
        )


def check_voltmeter(expected: Expected, series_v: float | None, across_v: float) -> None:
    """Prove (4): the series voltmeter follows the HV analyser, here on the range that it uses.

    `series_v` is None where it is over range. What both classes explain is never held against it.
    """
    if series_v is not None:
        apart = abs(series_v - across_v)
        error = WITH_NOISE * voltmeter_error_v(expected, series_v, across_v)
        within = max(VOLTMETER_WITHIN * across_v, error)
        if apart <= within:
            return
    reads = "is over range"
    if series_v is not None:
        on = expected.range_of(SERIES_VOLTAGE, series_v)
        reads = f"reads {series_v:.2f} V (range {on:.0f} V)"
    raise Stop(
        "voltmeter_did_not_follow",
        f"series voltmeter {reads} where the HV analyser reads {across_v:.2f} V across"
        " the same gap",
        "series voltmeter's leads and fuse, its multiplier; a zero of it proves nothing",
    )


def check_pause(expected: Expected, series_v: float, lv: Lv, promised_v: float) -> None:
    """Energise, at a quarter of rated: ratio, shorted turn, LV ammeter and voltage alive."""
    ratio = expected.ratio_of(series_v, lv.voltage_v)
    if ratio > 0.03:
        raise Stop(
            "not_opposed",
            f"r = {100 * ratio:.2f} % at {lv.voltage_v:.1f} V, at most 3 % is opposition",
            "connection of the secondaries, taps",
        )
    share_a = expected.current_share_a(lv.voltage_v)
    # A shorted turn may pull a weak supply down, and then it is the power that tells; a voltmeter
    # that reads low leaves the power what the promised voltage lets expect.
    most_w = max(3 * expected.power_share_w(lv.voltage_v), 2 * expected.power_share_w(promised_v))
    if lv.current_a is None or lv.power_w is None or lv.power_w > most_w:
        seen = "over range" if lv.power_w is None else f"{lv.power_w:.4g} W"
        raise Stop(
            "shorted_turn",
            f"LV power {seen} at {lv.voltage_v:.1f} V, three times the share is at most"
            f" {most_w:.4g} W",
            "a shorted turn in one of the units, a load left on the LV bus",
        )
    if not 0.8 * promised_v <= lv.voltage_v <= 1.15 * promised_v:
        raise Stop(
            "lv_voltage_not_as_promised",
            f"LV reads {lv.voltage_v:.1f} V where the regulator promises {promised_v:.1f} V",
            "multiplier of the LV voltmeter, LV supply",
        )
    if lv.current_a < 0.3 * share_a:
        raise Stop(
            "lv_ammeter_dead",
            f"LV ammeter reads {lv.current_a:.3g} A where {share_a:.3g} A is expected",
            "LV ammeter's circuit and multiplier",
        )


def check_opposed(expected: Expected, series_v: float, lv_voltage_v: float) -> None:
    """Energise, at rated: r within its limit, so that circulating current stays within 10 %."""
    ratio = expected.ratio_of(series_v, lv_voltage_v)
    if ratio > expected.ratio_limit:
        raise Stop(
            "ratio_mismatch",
            f"r = {100 * ratio:.3f} % at rated voltage, limit {100 * expected.ratio_limit:.3f} %",
            "tap positions of both units, their ratios; are they twins",
        )


def check_no_load_again(before: Mapping[str, float], after: Mapping[str, float]) -> None:
    """After the load readings, the loop open again: LV power and current as before, within 3 %.

    Power goes with the square of what little the voltage has moved, current with the voltage.
    """
    voltage = after[LV_VOLTAGE] / before[LV_VOLTAGE]
    for channel, share in ((LV_POWER, voltage**2), (LV_CURRENT, voltage)):
        was = before[channel] * share
        if abs(after[channel] - was) > NO_LOAD_AGAIN * abs(was):
            raise Stop(
                "no_load_changed",
                f"{channel} reads {after[channel]:.4g} after the load readings where {was:.4g} was"
                " read before",
                "that meter's ranges, multiplier and circuits since the no-load readings",
            )


def check_circulating(
    expected: Expected, loop_impedance_ohm: float, gap_v: float, current_a: float
) -> None:
    """Circulate: with the loop closed at zero the current agrees with d/(2 u_k)."""
    unsure = expected.error_of(SERIES_VOLTAGE, gap_v) + expected.error_of(HV_VOLTAGE, gap_v)
    most = (1.3 * gap_v + 2 * unsure) / loop_impedance_ohm
    most += 0.02 * expected.nameplate.hv_current_a
    if current_a > most:
        raise Stop(
            "circulating_current",
            f"{current_a:.3g} A circulate with the loop regulator at zero, the gap voltage"
            f" explains {most:.3g} A",
            "leads of the HV loop, series voltmeter, loop regulator's zero",
        )


def check_window(counted: dict[str, int], expected_counts: dict[str, float], of: str) -> None:
    """A window holds at least four fifths of the readings that its polls should have brought.

    One too short for any reading holds none of them.
    """
    missing = [
        f"{c}: {n} of {expected_counts[c]:.0f}"
        for c, n in counted.items()
        if n < max(1, 0.8 * expected_counts[c] - 1)
    ]
    if missing:
        raise Stop(
            "readings_missing",
            f"{of}: {', '.join(missing)}",
            "that instrument and its link; the averages would not be over the same interval",
        )


def check_steady(expected: Expected, readings: Mapping[str, Sequence[float]], of: str) -> None:
    """Every reading of a window lies as near to the window's median as classes and supply let it.

    One of them doubled, in the mean of many, would pass every check on the mean.
    """
    for channel, values in readings.items():
        middle = median(values)
        moves = _moves_by(expected, channel, middle)
        for value in values:
            error = expected.error_of(channel, middle) + expected.error_of(channel, value)
            if moves is not None and abs(value - middle) > moves + WITH_NOISE * error:
                raise Stop(
                    "readings_not_steady",
                    f"{of}: {channel} reads {value:.4g} where the median of its readings is"
                    f" {middle:.4g}",
                    "that meter's ranges, multiplier and leads; the supply behind it",
                )


def _moves_by(expected: Expected, channel: str, middle: float) -> float | None:
    """Return how far a channel may truly be from a window's median; None: nothing says."""
    plate = expected.nameplate
    if channel in {LV_VOLTAGE, LV_VOLTAGE_MEAN, HV_VOLTAGE, SERIES_VOLTAGE, HV_CURRENT}:
        return SUPPLY_MOVES * middle
    if channel == LV_CURRENT:
        return IRON_CURRENT * SUPPLY_MOVES * middle
    if channel in {LV_POWER, HV_POWER}:
        # What the twins exchange may leave little of one supply's power, and moves as well.
        loss = plate.no_load_loss_w if channel == LV_POWER else plate.load_loss_w
        return 2 * SUPPLY_MOVES * (abs(middle) + 2 * loss)
    return LIQUID_MOVES_K if channel in {TOP_LIQUID_A, TOP_LIQUID_B} else None


def check_no_load_plausible(expected: Expected, lv: Lv) -> None:
    """Energise: power into an unloaded pair is positive and within volts times amperes."""
    if lv.power_w is None or lv.current_a is None:
        return
    error = expected.error_of(LV_POWER, lv.power_w)
    if lv.power_w <= -error or lv.power_w > 1.05 * lv.voltage_v * lv.current_a + error:
        raise Stop(
            "lv_wattmeter_sense",
            f"LV wattmeter reads {lv.power_w:.4g} W at {lv.voltage_v:.1f} V and"
            f" {lv.current_a:.3g} A",
            "sense of the LV wattmeter's circuits, its multiplier",
        )
