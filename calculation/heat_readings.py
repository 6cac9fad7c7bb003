"""What a heat run read, ready for reduction. SI units, degrees Celsius, stand time in seconds.

Windings are named by unit and side: "a_hv", "a_lv", "b_hv", "b_lv".
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calculation.readings import LossReadings

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class History:
    """Minute means of a run, one row a minute of stand time, NaN where nothing was read.

    `t_s` the middle of each minute; `channels` the minute means by channel name: temperatures
    ("a.top_liquid", "ambient.1", ...), "lv.voltage_mean.1", "hv.current.1", "lv.power.1",
    "hv.power.1". A stretch for which no program looked is rows of NaN.
    """

    t_s: Floats
    channels: Mapping[str, Floats]


@dataclass(frozen=True, slots=True)
class ColdResistance:
    """One winding before the run, in balance with its surroundings: ohm, degC.

    `settling_s` is the time constant with which the reading settled after the d.c. was applied, s;
    None where it settled too fast to be seen. `scatter_ohm` is the standard deviation of one
    settled reading, `readings` how many were averaged. `sensors` is how many of the unit's own told
    `temperature_c` (0: another thermometer did), `apart_k` the standard uncertainty, K, of the
    winding having been at it, by what the sensors of the run showed (None: they couldn't).
    """

    resistance_ohm: float
    temperature_c: float
    settling_s: float | None
    scatter_ohm: float
    readings: int
    sensors: int = 0
    apart_k: float | None = None


@dataclass(frozen=True, slots=True)
class CoolingReadings:
    """One winding after the shutdown: time since the loss-equivalent instant (s) and ohm.

    `applied_s` are the instants, since shutdown, at which the d.c. was applied to this winding:
    once, or at each visit of a selector that goes round.
    """

    time_s: Floats
    resistance_ohm: Floats
    applied_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class OverloadStep:
    """A step of overload: when its current was asked for and when rated current again, s; the
    current, per unit of rated.
    """

    from_s: float
    to_s: float
    current: float


@dataclass(frozen=True, slots=True)
class HeatReadings:
    """All that a heat run read.

    `balance_c` are the means of all temperature channels while the cold resistances were read.
    `steady_at_s` is when the schedule's rule was met (None: the time limit came first),
    `soak_from_s` when rated voltage and current first stood together, `shutdown_s` the
    loss-equivalent instant of the shutdown. Where an overload step was run, the last row before it
    ends the steady state. `rate_k_per_h` is
    what the faster unit still changed by at the end of the soak; `movements` counts what the
    regulators were told to move.
    """

    loss: LossReadings
    history: History
    balance_c: Mapping[str, float]
    cold: Mapping[str, ColdResistance]
    cooling: Mapping[str, CoolingReadings]
    soak_from_s: float
    steady_at_s: float | None
    shutdown_s: float
    overload: OverloadStep | None = None
    rate_k_per_h: float | None = None
    movements: int = 0
