"""Temperature sensors set against each other while everything has one temperature."""

from collections.abc import Mapping
from dataclasses import replace

from calculation.heat_readings import HeatReadings, History

# How far sensors in balance may lie apart, in limits of error of one: beyond it they, or what they
# measure, are not alike, and setting them equal would hide it.
ALIKE = 2.0
ZEROED_K = 0.1


def zeroed(readings: HeatReadings, limit_k: float) -> tuple[HeatReadings, float | None]:
    """Readings with every sensor's difference from the mean of all in balance taken out.

    `limit_k` is the limit of error of one sensor, K. Returns beside them how far sensors may still
    differ, K; None where they were too far apart to be zeroed, and nothing is changed then.

    Source: common practice, no source.
    """
    balance = readings.balance_c
    if len(balance) < 2:
        return readings, None
    common = sum(balance.values()) / len(balance)
    if max(abs(mean - common) for mean in balance.values()) > ALIKE * limit_k:
        return readings, None
    columns = {
        name: column - (balance[name] - common) if name in balance else column
        for name, column in readings.history.channels.items()
    }
    cold = {name: replace(c, temperature_c=common) for name, c in readings.cold.items()}
    history = History(readings.history.t_s, columns)
    alike: Mapping[str, float] = dict.fromkeys(balance, common)
    return replace(readings, history=history, cold=cold, balance_c=alike), ZEROED_K
