"""Whether the two units of a back-to-back test differ beyond what is uncertain.

Both were warmed together in one room, but not by quite the same currents: no-load current adds to
the LV current of one unit and takes from that of the other (I_0 ± n I), and with it the gradient.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

from calculation.coverage import Part
from calculation.errors import ImpossibleReading, refuse_unless_positive
from calculation.stated import Stated, stated

# How far the exponent of the gradient may be from the one assumed.
GRADIENT_EXPONENT_LIMIT = 0.3
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity of unit a less that of unit b, K.

    `explained_k` is what the unequal LV currents make of it, `left_k` the rest with its expanded
    uncertainty; `limit_k` how far that may be from zero by chance, so that in 95 of 100 equal
    pairs no quantity at all is found different. `warmer` is None within it.
    """

    name: str
    difference_k: float
    explained_k: float
    left_k: Stated
    limit_k: float
    warmer: Literal["a", "b"] | None

    @property
    def words(self) -> str:
        """The finding as a sentence."""
        left = f"{self.left_k.value:+.1f} K, limit {self.limit_k:.1f} K"
        if self.warmer is None:
            return f"{self.name}: the units agree (a - b {left})"
        return f"{self.name}: unit {self.warmer} is warmer than its currents explain (a - b {left})"


def gradient_effect(
    gradient_k: float, current_a: float, current_b: float, rated: float, exponent: float
) -> Stated:
    """How much more gradient unit a has than b for its LV current alone, K (a less b).

    `gradient_k` is the gradient at `rated` current, the currents in A; `exponent` y is 1.6 for ON
    and OF, 2.0 for OD. The uncertainty is that of y.

    Source: gradient x (I/I_r)^y, IEC 60076-2 (M).

    Raises:
        ImpossibleReading: a current, gradient or exponent that is not above zero.
    """
    refuse_unless_positive(
        {"gradient_k": gradient_k, "current_a": current_a, "current_b": current_b}
        | {"rated": rated, "exponent": exponent}
    )

    def effect(y: float) -> float:
        return gradient_k * float((current_a / rated) ** y - (current_b / rated) ** y)

    spread = (effect(exponent + GRADIENT_EXPONENT_LIMIT) - effect(exponent)) / 3**0.5
    return stated(effect(exponent), [Part(spread, "rectangular")])


def differences(
    a: Mapping[str, Stated], b: Mapping[str, Stated], explained: Mapping[str, Stated]
) -> tuple[Difference, ...]:
    """Compare the units quantity by quantity, K.

    The uncertainties are of what the units don't share: the error of ambient, which both rises
    have, is not to be in them. `explained` holds the `gradient_effect` of those quantities that
    have one.

    Source: difference of independent values, JCGM 100, 5.1; limit for several at once by Šidák (M).

    Raises:
        ImpossibleReading: units of which not the same quantities are known, or an effect on one
            that is not.
    """
    if a.keys() != b.keys() or not explained.keys() <= a.keys():
        odd = sorted((a.keys() ^ b.keys()) | (explained.keys() - a.keys()))
        raise ImpossibleReading(dict.fromkeys(odd), "known of one unit only")
    none = Stated(0.0, 0.0, 2.0)
    return tuple(
        _difference(name, a[name], b[name], explained.get(name, none), len(a)) for name in a
    )


def _difference(name: str, a: Stated, b: Stated, effect: Stated, compared: int) -> Difference:
    difference_k = a.value - b.value
    parts = [Part(one.expanded / one.factor) for one in (a, b, effect)]
    left_k = stated(difference_k - effect.value, parts)
    each = CONFIDENCE ** (1 / compared)
    wider = _two_sided(each) / _two_sided(CONFIDENCE)
    limit_k = left_k.expanded * wider
    beyond = abs(left_k.value) > limit_k
    warmer: Literal["a", "b"] | None = None
    if beyond:
        warmer = "a" if left_k.value > 0 else "b"
    return Difference(name, difference_k, effect.value, left_k, limit_k, warmer)


def _two_sided(coverage: float) -> float:
    return NormalDist().inv_cdf((1 + coverage) / 2)
