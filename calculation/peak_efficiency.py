"""Peak efficiency index and the levels of Regulation (EU) 548/2014.

The form of the index and the tables are from memory; tier 2 no-load losses agree with nine tenths
of tier 1 in every row. The index is 1 - losses/(k S), of input, not the efficiency by output.
"""

from dataclasses import dataclass
from typing import Literal

from calculation.errors import ImpossibleReading, refuse_unless_positive
from calculation.number import N

Tier = Literal[1, 2]


@dataclass(frozen=True, slots=True)
class Level:
    """Greatest losses that the regulation allows, W."""

    load_loss_w: float
    no_load_loss_w: float


# Table I.1: three-phase, liquid-filled, one winding Um <= 24 kV, the other <= 1.1 kV.
# kVA: load loss tier 1, no-load loss tier 1, load loss tier 2, no-load loss tier 2.
MEDIUM_POWER_W: dict[int, tuple[int, int, int, int]] = {
    25: (900, 70, 600, 63),
    50: (1100, 90, 750, 81),
    100: (1750, 145, 1250, 130),
    160: (2350, 210, 1750, 189),
    250: (3250, 300, 2350, 270),
    315: (3900, 360, 2800, 324),
    400: (4600, 430, 3250, 387),
    500: (5500, 510, 3900, 459),
    630: (6500, 600, 4600, 540),
    800: (8400, 650, 6000, 585),
    1000: (10500, 770, 7600, 693),
    1250: (11000, 950, 9500, 855),
    1600: (14000, 1200, 12000, 1080),
    2000: (18000, 1450, 15000, 1305),
    2500: (22000, 1750, 18500, 1575),
    3150: (27500, 2200, 23000, 1980),
}

# Table I.4: MVA, least index in percent, tier 1 and tier 2; liquid-filled above 3150 kVA.
LEAST_INDEX_PERCENT: tuple[tuple[float, float, float], ...] = (
    (4, 99.465, 99.532),
    (5, 99.483, 99.548),
    (6.3, 99.510, 99.571),
    (8, 99.535, 99.593),
    (10, 99.560, 99.615),
    (12.5, 99.588, 99.640),
    (16, 99.615, 99.663),
    (20, 99.639, 99.684),
    (25, 99.657, 99.700),
    (31.5, 99.671, 99.712),
    (40, 99.684, 99.724),
)


def load_of_peak(no_load_w: N, load_loss_w: N, cooling_w: float = 0.0) -> N:
    """Per-unit load at which the index is reached; `cooling_w` runs at no load."""
    share: N = ((no_load_w + cooling_w) / load_loss_w) ** 0.5
    return share


def peak_efficiency_index_percent(
    power_va: float,
    no_load_w: N,
    load_loss_w: N,
    cooling_w: float = 0.0,
    cooling_at_peak_w: float = 0.0,
) -> N:
    """Peak efficiency index, percent.

    `cooling_w` is the cooling power at no load, `cooling_at_peak_w` what the load of the peak
    takes beside it (as amended in 2019; zero for ONAN and for ONAN/ONAF).

    Raises:
        ImpossibleReading: a loss or power that is not above zero.
    """
    refuse_unless_positive(
        {"power_va": power_va, "no_load_w": no_load_w, "load_loss_w": load_loss_w}
    )
    constant = no_load_w + cooling_w + cooling_at_peak_w
    share = (constant / load_loss_w) ** 0.5
    index: N = 100 * (1 - 2 * constant / (power_va * share))
    return index


def level(power_kva: int, tier: Tier = 2) -> Level:
    """Greatest losses of Table I.1 for a rated power of its list.

    Raises:
        ImpossibleReading: a power that the table doesn't have.
    """
    row = MEDIUM_POWER_W.get(power_kva)
    if row is None:
        raise ImpossibleReading({"power_kva": power_kva}, "Table I.1 has no such rated power")
    return Level(row[0], row[1]) if tier == 1 else Level(row[2], row[3])


def least_index_percent(power_mva: float, tier: Tier = 2) -> float:
    """Least index of Table I.4, straight between its powers.

    Raises:
        ImpossibleReading: a power outside the table.
    """
    table = LEAST_INDEX_PERCENT
    if not table[0][0] <= power_mva <= table[-1][0]:
        raise ImpossibleReading({"power_mva": power_mva}, "Table I.4 reaches from 4 to 40 MVA")
    below = max(row for row in table if row[0] <= power_mva)
    above = min(row for row in table if row[0] >= power_mva)
    if above == below:
        return below[tier]
    along = (power_mva - below[0]) / (above[0] - below[0])
    return below[tier] + along * (above[tier] - below[tier])
