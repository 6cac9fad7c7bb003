"""What is left of the settling in the readings of a cooling curve that count as settled.

Ten settling constants leave e^-10 of what the reading was off at first. Where it was off by several
times the resistance that is a twentieth of a kelvin, and the way back to the shutdown, longer than
the winding's time constant then, makes a kelvin of it. The readings before, which don't count, show
how much there was: between five and eight constants the settling is far above what the curve may be
off there.
"""

import numpy as np

from calculation.heat_readings import Floats

SEEN_FROM, SEEN_TO = 5.0, 8.0
LEAST_READINGS = 3


def unsettled_k(since_s: Floats, over_k: Floats, settling_s: float | None) -> Floats:
    """What each reading is still too high by because it settles, K (n).

    `since_s` (n) is the time since the d.c. was applied, `over_k` (n) how far the readings lie over
    the curve of those that count, `settling_s` the constant by the cold record. Least squares of
    A e^(-t/tau); zero where fewer than three readings show it.

    Source: derived (D).
    """
    if settling_s is None:
        return np.zeros_like(since_s)
    decays = np.exp(-since_s / settling_s)
    seen = (since_s >= SEEN_FROM * settling_s) & (since_s < SEEN_TO * settling_s)
    if seen.sum() < LEAST_READINGS:
        return np.zeros_like(since_s)
    amount = float(decays[seen] @ over_k[seen]) / float(decays[seen] @ decays[seen])
    return np.asarray(amount * decays, dtype=np.float64)
