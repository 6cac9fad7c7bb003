"""The iron of one unit: what its core branch draws at an e.m.f."""

from dataclasses import dataclass
from math import exp, log, tanh

# Where permeability has risen most of the way from its initial to its rated value, as a share of
# rated flux. Invented: real iron does this between a tenth and a half.
LOW_FLUX_KNEE = 0.25
# Below this share of rated flux the loss goes with the square, whatever its exponent above: an
# exponent below 2 would else mean an infinite conductance at no flux.
SQUARE_LOSS_BELOW = 1e-3

FARTHEST_LEAP = 2.0  # of an e.m.f.'s logarithm


@dataclass(frozen=True, slots=True)
class CoreBranch:
    """The iron of one unit, seen at its T point on the LV side.

    `conductance` and `susceptance` (siemens, inductive positive) hold at e.m.f. `rated_emf` (V).
    Loss goes with e.m.f. to the power `loss_exponent`. Permeability relative to rated rises as
    1/F + (1 - 1/F) tanh(x / 0.25), x the share of rated flux and F `low_flux_factor`: linear in
    the flux from its initial value on, as Rayleigh's law has it, and concave, so that current
    never falls while flux rises. F 10 draws 5.8 times linear iron's current at 2 % of flux, 3.2
    times at 6 %, 1.27 at a quarter, 1.0006 at rated. The curve is invented.
    """

    conductance: float
    susceptance: float
    rated_emf: float
    loss_exponent: float = 2.0
    low_flux_factor: float = 1.0

    def permeability(self, share: float) -> float:
        """Return permeability against fully risen iron, at a share of rated flux."""
        initial = 1 / self.low_flux_factor
        return initial + (1 - initial) * tanh(share / LOW_FLUX_KNEE)

    def admittance(self, emf: float) -> complex:
        """Return the admittance in siemens at an e.m.f. of `emf` volts."""
        share = emf / self.rated_emf
        g = self.conductance
        if self.loss_exponent != 2.0:
            g *= max(share, SQUARE_LOSS_BELOW) ** (self.loss_exponent - 2.0)
        b = self.susceptance
        if self.low_flux_factor != 1.0:
            b *= self.permeability(1.0) / self.permeability(share)
        return complex(g, -b)


def leap(first: float, second: float, third: float) -> float:
    """Return where three successive e.m.f.s lead (Aitken's rule, on their logarithms).

    A core that is driven by current creeps to its answer, or swings about it.
    """
    if min(first, second, third) <= 0.0:
        return third
    step, next_step = log(second / first), log(third / second)
    bend = next_step - step
    if bend == 0.0:
        return third
    return third * exp(min(max(-(next_step**2) / bend, -FARTHEST_LEAP), FARTHEST_LEAP))
