"""What the temperature sensors told while the cold resistances were read.

Before a run nothing has one temperature: the liquid follows a room that follows the day, hours
late, and the two are apart by a kelvin as easily as their sensors are. What sensors of air and of
liquid differ by is therefore not taken out: it would make an imbalance of the morning an error of
every rise of the night. Nor is top against bottom liquid, which may lie in layers.
"""

from collections.abc import Mapping
from dataclasses import replace

from calculation.heat_readings import ColdResistance, HeatReadings, History

# How far sensors of the same air may be from their mean, in limits of error of one: beyond it
# they, or what they measure, are not alike, and setting them equal would hide it.
ALIKE = 2.0
LIQUID = ("top_liquid", "bottom_liquid")
# A winding follows its liquid in minutes, the liquid its room in hours: of what liquid and air are
# apart, a winding is apart from its liquid by a tenth at the most (D), and from a sensor within it
# no further.
FOLLOWED = 0.1


def zeroed(readings: HeatReadings, limit_k: float) -> HeatReadings:
    """Readings with the sensors of the air set against each other, and cold windings by their own.

    `limit_k` is the limit of error of one sensor, K. Air sensors are set to their mean, so that one
    lost in the night doesn't move it; where they were too far apart nothing is changed. A cold
    winding has the mean of its unit's liquid sensors, in a dry-type unit that of its own one. It
    may be apart from that by half of what top and bottom are, beyond what two such sensors differ
    by, the middle likeliest, and by a tenth of what it is from the air; by how much nobody knows
    where the only sensor is at the top.

    Source: common practice, no source.
    """
    balance = readings.balance_c
    air = {name: c for name, c in balance.items() if name.startswith("ambient.")}
    air_c = sum(air.values()) / len(air) if air else None
    cold = {
        winding: _told(before, balance, (winding, air_c, limit_k))
        for winding, before in readings.cold.items()
    }
    off = {name: c - air_c for name, c in air.items()} if air_c is not None else {}
    if max(map(abs, off.values()), default=0.0) > ALIKE * limit_k:
        return replace(readings, cold=cold)
    columns = {n: column - off.get(n, 0.0) for n, column in readings.history.channels.items()}
    history = History(readings.history.t_s, columns)
    alike = {name: c - off.get(name, 0.0) for name, c in balance.items()}
    return replace(readings, history=history, cold=cold, balance_c=alike)


def _told(
    before: ColdResistance,
    balance_c: Mapping[str, float],
    of: tuple[str, float | None, float],
) -> ColdResistance:
    winding, air_c, limit_k = of
    unit, side = winding.split("_")
    liquid = [balance_c[c] for place in LIQUID if (c := f"{unit}.{place}") in balance_c]
    within = balance_c.get(f"{unit}.winding_{side}")
    own = liquid or ([] if within is None else [within])
    if not own:
        return before
    mean_c = sum(own) / len(own)
    if air_c is None or len(liquid) == 1:
        return replace(before, temperature_c=mean_c, sensors=len(own))
    # What two such sensors differ by anyway (its expected square) is in their own errors.
    layers_k = max((max(own) - min(own)) ** 2 - 2 * limit_k**2 / 3, 0.0) ** 0.5
    layers = layers_k / 2 / 6**0.5
    late = FOLLOWED * (mean_c - air_c) / 3**0.5
    apart_k = (layers**2 + late**2) ** 0.5
    return replace(before, temperature_c=mean_c, sensors=len(own), apart_k=apart_k)
