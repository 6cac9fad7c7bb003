"""Thermal ageing of paper: relative rate, life lost over a history, equivalent ageing factor."""

import math
from typing import TYPE_CHECKING, Literal

from calculation.errors import ImpossibleReading, everywhere, nominal
from calculation.number import N

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Paper = Literal["normal", "upgraded"]


def relative_ageing(hot_spot_c: N, paper: Paper) -> N:
    """Rate of ageing over that at the paper's reference hot spot (98 or 110 degC).

    IEC 60076-7: normal paper 2^((h - 98)/6), thermally upgraded exp(15000/383 - 15000/(h + 273)),
    which is the ageing acceleration factor F_AA of IEEE C57.91 too.

    Raises:
        ImpossibleReading: a hot spot that is no temperature.
    """
    known = nominal(hot_spot_c)
    if not everywhere((known > -273.0) & (known < math.inf)):
        raise ImpossibleReading({"hot_spot_c": known}, "must be a temperature")
    rate: N = math.e ** (15000.0 / 383.0 - 15000.0 / (hot_spot_c + 273.0))
    if paper == "normal":
        rate = 2.0 ** ((hot_spot_c - 98.0) / 6.0)
    return rate


def loss_of_life(
    time: "NDArray[np.float64]", hot_spot_c: "NDArray[np.float64]", paper: Paper
) -> float:
    """Life lost over a history of n + 1 instants, in the unit of `time`.

    Each of the n steps counts with the rate at its end, as IEC 60076-7 (from memory) and Annex G of
    IEEE C57.91-2011 sum it; the first hot spot is only where it starts.

    Raises:
        ImpossibleReading: fewer than two instants, a time that does not rise, or no temperature.
    """
    if len(time) < 2 or len(time) != len(hot_spot_c):
        counts = {"time": len(time), "hot_spot_c": len(hot_spot_c)}
        raise ImpossibleReading(
            counts, "a history needs a hot spot at each of two instants or more"
        )
    steps = time[1:] - time[:-1]
    if not everywhere(steps > 0):
        raise ImpossibleReading({"step": steps}, "time must rise")
    return float(steps @ relative_ageing(hot_spot_c[1:], paper))


def equivalent_ageing_factor(
    time: "NDArray[np.float64]", hot_spot_c: "NDArray[np.float64]", paper: Paper
) -> float:
    """Life lost over the time that it took (IEEE C57.91-2011, F_EQA; clause from memory).

    Raises:
        ImpossibleReading: as `loss_of_life`.
    """
    return loss_of_life(time, hot_spot_c, paper) / float(time[-1] - time[0])
