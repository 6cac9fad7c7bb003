"""The instant from which a cooling curve counts, taken from the loop current itself."""

import numpy as np

from calculation.errors import ImpossibleReading
from calculation.heat_readings import Floats

BEFORE_S = 60.0
GONE = 0.02  # of the current before: what a ramp has left when it is over


def loss_equivalent_instant(t_s: Floats, current_a: Floats, began_s: float) -> float:
    """The instant at which a sudden interruption would have left out the same I²R heat, s.

    `began_s` is when the ramp began, `t_s` and `current_a` (n) the readings round it; between two
    the current runs straight. The heat still put in after `began_s` is the integral of (I/I_0)².
    Derived (D); an ideal interruption gives its own instant.

    Raises:
        ImpossibleReading: no current before the ramp, or none that falls to nothing after it.
    """
    before = (t_s <= began_s) & (t_s > began_s - BEFORE_S)
    after = t_s > began_s
    if not before.any() or not after.any():
        facts = {"readings before": int(before.sum()), "readings after": int(after.sum())}
        raise ImpossibleReading(facts, "the shutdown needs current readings before and after")
    full = float(current_a[before].mean())
    if full <= 0:
        raise ImpossibleReading({"current_a": full}, "no current before the shutdown")
    share = np.concatenate([[1.0], current_a[after] / full])
    at_s = np.concatenate([[began_s], t_s[after]])
    gone = np.flatnonzero(share < GONE)
    if not len(gone):
        raise ImpossibleReading({"current_a": float(current_a[-1])}, "the current did not go")
    end = int(gone[0]) + 1
    share, at_s = share[:end], at_s[:end]
    heat = np.diff(at_s) * (share[1:] ** 2 + share[1:] * share[:-1] + share[:-1] ** 2) / 3
    return began_s + float(heat.sum())
