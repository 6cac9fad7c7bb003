"""How much warmer windings have become while their load loss was read.

In balance they have the liquid's temperature, but the current that is to be read heats them from
the moment it flows: a small unit by several kelvin in two minutes, 1 % of its load loss. The loss
itself tells: it grows with them, and its slope is what no fixed error of a meter touches.
"""

from collections.abc import Sequence

from calculation.correction import WindingLoss, load_loss_at_reference
from calculation.errors import ImpossibleReading, refuse_unless_positive

# Beyond it something else moved: a step of a regulator, a supply that drifts.
MOST_K = 15.0
STEP_K = 1.0


def warmed_by(
    slope_per_s: float,
    heated_s: float,
    load_loss_w: float,
    windings: Sequence[WindingLoss[float]],
    before_c: float,
) -> float:
    """Return by how much windings have warmed in `heated_s` of rated current, K.

    `slope_per_s` is the relative slope of load loss at constant current in the middle of the
    readings, `heated_s` the time from the current's beginning (its ramp counted by I²) to there;
    `load_loss_w` and the windings' I²R as at `before_c`. Straight: a heating that slows down is
    told a little too small, by a seventh where a quarter of the winding's time constant has passed.

    Source: dP/dθ of IEC 60076-1's correction to reference temperature (D).

    Raises:
        ImpossibleReading: a time or loss that is not above zero, a warming that no winding does.
    """
    refuse_unless_positive({"heated_s": heated_s, "load_loss_w": load_loss_w})
    warmer = load_loss_at_reference(load_loss_w, windings, before_c, before_c + STEP_K)
    per_k = (warmer / load_loss_w - 1) / STEP_K
    if per_k <= 0:
        # All additional loss and hardly any I²R: nothing to be told from it.
        return 0.0
    found = slope_per_s * heated_s / per_k
    if abs(found) > MOST_K:
        why = "load loss moved by more than warming windings explain"
        raise ImpossibleReading({"slope_per_s": slope_per_s, "warmed_k": found}, why)
    return found
