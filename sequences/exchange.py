"""What twins of unlike ratio may exchange through the loop, and what they may not.

With both contactors closed the gap voltage, carried by the loop current, moves power from one
supply to the other. That explains a change of either wattmeter, however odd, up to that product;
more is a meter that has changed since it was proven.
"""

from calculation.readings import ProveMeans
from sequences.expected import Expected
from sequences.scan import (
    HV_CURRENT,
    HV_POWER,
    LV_POWER,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    Stop,
)
from sequences.stages import Means

TWINS_DIFFER = 0.05  # of no-load loss: unlike cores under unlike e.m.f.
UNLIKE = 0.02  # of load loss: what noise and the gap leave between two stages
WARMING = 0.12  # of load loss: 30 K of copper


def exchanged_w(expected: Expected, gap_v: float, current_a: float) -> float:
    """Return the most power that the loop can carry from one supply to the other, W."""
    return (gap_v + 2 * expected.error_of(SERIES_VOLTAGE, gap_v)) * current_a


def check_exchange(expected: Expected, no_load: Means, loaded: Means, proven: ProveMeans) -> None:
    """Load readings: both wattmeters against what they read before, but for what is exchanged."""
    current = loaded[HV_CURRENT]
    exchanged = exchanged_w(expected, no_load[SERIES_VOLTAGE], current)
    iron = no_load[LV_POWER] * (loaded[LV_VOLTAGE] / no_load[LV_VOLTAGE]) ** 2
    unsure = 2 * expected.error_of(LV_POWER, iron) + TWINS_DIFFER * iron
    _judge("LV wattmeter", loaded[LV_POWER], iron, exchanged + unsure)
    copper = proven.hv_power_w * (current / proven.hv_current_a) ** 2
    unsure = 2 * expected.error_of(HV_POWER, copper) + WARMING * copper
    _judge("loop wattmeter", loaded[HV_POWER], copper, exchanged + unsure)
    _check_together(expected, no_load, loaded, proven)


def _check_together(expected: Expected, no_load: Means, loaded: Means, proven: ProveMeans) -> None:
    """Both wattmeters together, less the iron, are the load loss, with nothing exchanged in it.

    It is at rated voltage what it was in the prove stage, but for windings that have warmed.
    """
    share = proven.lv_voltage_v / no_load[LV_VOLTAGE]
    before = proven.hv_power_w + proven.lv_power_w - no_load[LV_POWER] * share**2
    before *= (loaded[HV_CURRENT] / proven.hv_current_a) ** 2
    iron = no_load[LV_POWER] * (loaded[LV_VOLTAGE] / no_load[LV_VOLTAGE]) ** 2
    now = loaded[HV_POWER] + loaded[LV_POWER] - iron
    unsure = 2 * (expected.error_of(HV_POWER, before) + expected.error_of(LV_POWER, iron))
    unsure += TWINS_DIFFER * iron + UNLIKE * before
    _judge("both wattmeters, less the iron,", min(now, before), before, unsure)
    _judge("both wattmeters, less the iron,", max(now, before), before, unsure + WARMING * before)


def _judge(meter: str, reads_w: float, before_w: float, explained_w: float) -> None:
    if abs(reads_w - before_w) > explained_w:
        raise Stop(
            "wattmeter_changed",
            f"{meter} reads {reads_w:.4g} W where {before_w:.4g} W were read before and the gap"
            f" voltage explains {explained_w:.3g} W of difference",
            "that wattmeter's circuits, ranges and multiplier; leads of the HV loop",
        )
