"""What the temperature sensors told while the cold resistances were read.

Before a run nothing has one temperature: the liquid follows a room that follows the day, hours
late, and the two are apart by a kelvin as easily as their sensors are. What sensors of air and of
liquid differ by is therefore not taken out: it would make an imbalance of the morning an error of
every rise of the night. Nor is top against bottom liquid, which may lie in layers.
"""

from collections.abc import Mapping
from dataclasses import replace

from calculation.heat_readings import HeatReadings, History

# How far sensors of the same air may be from their mean, in limits of error of one: beyond it
# they, or what they measure, are not alike, and setting them equal would hide it.
ALIKE = 2.0
# What windings stand in: the liquid, or where there is none their own sensors.
LIQUID = ("top_liquid", "bottom_liquid")
WINDINGS = ("winding_lv", "winding_hv")
# A winding follows its liquid in minutes, the liquid its room in hours: of what liquid and air are
# apart, a winding is apart from its liquid by a tenth at the most (D). A sensor in a dry-type
# winding is apart from the mean of it no further.
FOLLOWED = 0.1


def zeroed(readings: HeatReadings, limit_k: float) -> HeatReadings:
    """Readings with the sensors of the air set against each other, and cold windings by their own.

    `limit_k` is the limit of error of one sensor, K. Air sensors are set to their mean, so that one
    lost in the night doesn't move it; where they were too far apart nothing is changed. A winding's
    cold temperature is the mean of its unit's own sensors, liquid or (dry type) windings; it may be
    off by half of what these are apart and a tenth of what they are from the air, and by an unknown
    amount where there is but one.

    Source: common practice, no source.
    """
    balance = readings.balance_c
    air = {name: c for name, c in balance.items() if name.startswith("ambient.")}
    air_c = sum(air.values()) / len(air) if air else None
    cold = {}
    for winding, before in readings.cold.items():
        own = _own(balance, winding[0])
        if not own:
            cold[winding] = before
            continue
        mean_c = sum(own) / len(own)
        seen = len(own) > 1 and air_c is not None
        apart_k = (max(own) - min(own)) / 2 + FOLLOWED * abs(mean_c - (air_c or 0.0))
        cold[winding] = replace(
            before,
            temperature_c=mean_c,
            sensors=len(own),
            balance_k=apart_k if seen else None,
        )
    off = {name: c - air_c for name, c in air.items()} if air_c is not None else {}
    if max(map(abs, off.values()), default=0.0) > ALIKE * limit_k:
        return replace(readings, cold=cold)
    columns = {n: column - off.get(n, 0.0) for n, column in readings.history.channels.items()}
    history = History(readings.history.t_s, columns)
    alike = {name: c - off.get(name, 0.0) for name, c in balance.items()}
    return replace(readings, history=history, cold=cold, balance_c=alike)


def _own(balance_c: Mapping[str, float], unit: str) -> list[float]:
    """What a unit's sensors read of that which its windings stand in, degC."""
    for places in (LIQUID, WINDINGS):
        found = [balance_c[c] for place in places if (c := f"{unit}.{place}") in balance_c]
        if found:
            return found
    return []
