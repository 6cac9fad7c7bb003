"""A unit as Annex G of IEEE C57.91-2011 takes it: rated losses, heat transfer, heat stored.

Equations and constants were read in public research code that follows the standard's own program;
units are the standard's (pounds, US gallons, minutes).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Literal

from calculation.errors import ImpossibleReading, refuse_unless_finite, refuse_unless_positive
from calculation.loading_ieee import Cooling
from calculation.nameplate import Material

Liquid = Literal["oil", "silicone", "hydrocarbon"]

# Exponents of duct rise (x), average liquid rise (y), top minus bottom (z).
EXPONENTS: Mapping[Cooling, tuple[float, float, float]] = {
    "ONAN": (0.5, 0.8, 0.5),
    "ONAF": (0.5, 0.9, 0.5),
    "OFAF": (0.5, 0.9, 1.0),
    "ODAF": (1.0, 1.0, 1.0),
}
# W min/(lb K).
CONDUCTOR_HEAT: Mapping[Material, float] = {"copper": 2.91, "aluminium": 6.798}
STEEL_HEAT = 3.51
RESISTANCE_CONSTANT: Mapping[Material, float] = {"copper": 234.5, "aluminium": 225.0}
# Specific heat, W min/(lb K); density, lb/in^3; viscosity D exp(G/(t + 273)), cP.
LIQUIDS: Mapping[Liquid, tuple[float, float, float, float]] = {
    "oil": (13.92, 0.031621, 0.0013473, 2797.3),
    "silicone": (11.49, 0.0347, 0.12127, 1782.3),
    "hydrocarbon": (14.55, 0.03178, 7.343e-5, 4434.7),
}
KELVIN = 273.0
CUBIC_INCHES = 231.0  # of a US gallon


@dataclass(frozen=True, slots=True)
class RatedLosses:
    """Losses at the base of the load and the rated average winding temperature, W."""

    winding_w: float
    eddy_w: float
    stray_w: float
    core_w: float

    @property
    def total_w(self) -> float:
        """All of them."""
        return self.winding_w + self.eddy_w + self.stray_w + self.core_w


@dataclass(frozen=True, slots=True)
class State:
    """Temperatures at an instant, degC."""

    hot_spot: float
    winding: float
    average_liquid: float
    top: float
    bottom: float
    duct_top: float

    @property
    def duct_average(self) -> float:
        """Of the liquid in the ducts."""
        return (self.duct_top + self.bottom) / 2


@dataclass(frozen=True, slots=True)
class Transfer:
    """Heat from conductor to liquid, W: scale d^power exp(-fluidity/(both temperatures + 2 x 273)).

    The exponential is the quarter power of the viscosity at the mean of both temperatures.
    """

    scale: float
    power: float
    fluidity: float


@dataclass(frozen=True, slots=True)
class AnnexG:
    """A unit as Annex G takes it: losses in W at `loss_kva` and `loss_temperature_c`.

    Rises in K over `rated_ambient_c` at `load_kva`, the base of the load; the guaranteed average
    winding rise sets the losses, the tested one the heat transfer. `hot_spot_height` per unit of
    the winding's, `hot_spot_eddy` per unit of its I2R loss. Weights in lb, liquid in US gallons.

    Raises:
        ImpossibleReading: a loss, rise or weight that is not positive, a liquid hotter than what
            heats it, or a winding too heavy for core and coils (its time constant is too long).
    """

    cooling: Cooling
    conductor: Material
    liquid: Liquid
    loss_kva: float
    load_kva: float
    loss_temperature_c: float
    winding_loss_w: float
    eddy_loss_w: float
    stray_loss_w: float
    core_loss_w: float
    rated_ambient_c: float
    winding_rise_k: float
    tested_winding_rise_k: float
    hot_spot_rise_k: float
    top_rise_k: float
    bottom_rise_k: float
    winding_time_constant_min: float
    hot_spot_height: float
    hot_spot_eddy: float
    core_and_coils_lb: float
    tank_lb: float
    liquid_gal: float

    def __post_init__(self) -> None:
        none = {name: getattr(self, name) for name in ("eddy_loss_w", "hot_spot_eddy")}
        refuse_unless_finite(none | {"rated_ambient_c": self.rated_ambient_c})
        if min(none.values()) < 0:
            raise ImpossibleReading(none, "a loss is not below zero")
        free = {*none, "cooling", "conductor", "liquid", "rated_ambient_c"}
        names = (f.name for f in fields(self) if f.name not in free)
        refuse_unless_positive({name: getattr(self, name) for name in names})
        rated = self.rated_state()
        for name, over in (
            ("tested_winding_rise_k", rated.winding - rated.duct_average),
            ("hot_spot_rise_k", rated.hot_spot - self.beside_hot_spot(rated)),
            ("top_rise_k", rated.top - rated.bottom),
        ):
            if not over > 0:
                raise ImpossibleReading({name: getattr(self, name)}, "no hotter than what it heats")
        if self.winding_capacity() >= self.core_and_coils_lb * CONDUCTOR_HEAT[self.conductor]:
            facts = {"winding_time_constant_min": self.winding_time_constant_min}
            raise ImpossibleReading(facts, "makes the windings heavier than core and coils")

    @property
    def rated_winding_c(self) -> float:
        """Guaranteed average winding temperature: that of the rated losses."""
        return self.rated_ambient_c + self.winding_rise_k

    def rated_losses(self) -> RatedLosses:
        """Losses carried to the base of the load and the rated average winding temperature."""
        constant = RESISTANCE_CONSTANT[self.conductor]
        warmth = (constant + self.rated_winding_c) / (constant + self.loss_temperature_c)
        scale = (self.load_kva / self.loss_kva) ** 2
        return RatedLosses(
            scale * self.winding_loss_w * warmth,
            scale * self.eddy_loss_w / warmth,
            scale * self.stray_loss_w / warmth,
            self.core_loss_w,
        )

    def rated_state(self) -> State:
        """Temperatures at rated load and ambient; in OFAF a duct ends as warm as its winding is."""
        duct = self.tested_winding_rise_k if self.cooling == "OFAF" else self.top_rise_k
        rises = (
            self.hot_spot_rise_k,
            self.tested_winding_rise_k,
            (self.top_rise_k + self.bottom_rise_k) / 2,
            self.top_rise_k,
            self.bottom_rise_k,
            duct,
        )
        return State(*(self.rated_ambient_c + rise for rise in rises))

    def beside_hot_spot(self, at: State) -> float:
        """Temperature of the liquid beside the hot spot, degC."""
        return at.bottom + self.hot_spot_height * (at.duct_top - at.bottom)

    def hot_spot_eddy_share(self) -> float:
        """Eddy loss at the hot spot per unit of I2R loss: not below the winding's average."""
        losses = self.rated_losses()
        return max(self.hot_spot_eddy, losses.eddy_w / losses.winding_w)

    def winding_transfer(self) -> Transfer:
        """From the windings to the liquid in their ducts."""
        losses, rated = self.rated_losses(), self.rated_state()
        watts = losses.winding_w + losses.eddy_w
        return self._transfer(rated.winding, rated.duct_average, watts)

    def hot_spot_transfer(self) -> Transfer:
        """From the hot spot to the liquid beside it, as if all of the winding were as hot."""
        losses, rated = self.rated_losses(), self.rated_state()
        constant = RESISTANCE_CONSTANT[self.conductor]
        warmer = (constant + rated.hot_spot) / (constant + self.rated_winding_c)
        watts = losses.winding_w * warmer * (1 + self.hot_spot_eddy_share())
        return self._transfer(rated.hot_spot, self.beside_hot_spot(rated), watts)

    def winding_capacity(self) -> float:
        """Heat that a kelvin of the windings stores, W min/K, from their time constant."""
        losses, rated = self.rated_losses(), self.rated_state()
        watts = losses.winding_w + losses.eddy_w
        return watts * self.winding_time_constant_min / (rated.winding - rated.duct_average)

    def liquid_capacity(self) -> float:
        """Heat that a kelvin of liquid, tank and core stores, W min/K."""
        heat, density, _, _ = LIQUIDS[self.liquid]
        windings_lb = self.winding_capacity() / CONDUCTOR_HEAT[self.conductor]
        steel_lb = self.tank_lb + self.core_and_coils_lb - windings_lb
        return steel_lb * STEEL_HEAT + self.liquid_gal * CUBIC_INCHES * density * heat

    def _transfer(self, conductor_c: float, liquid_c: float, watts: float) -> Transfer:
        """What gives these watts at these rated temperatures; directed flow is linear."""
        if self.cooling == "ODAF":
            return Transfer(watts / (conductor_c - liquid_c), 1.0, 0.0)
        fluidity = LIQUIDS[self.liquid][3] / 2
        at_rated = math.exp(fluidity / (conductor_c + liquid_c + 2 * KELVIN))
        scale = watts * at_rated / math.pow(conductor_c - liquid_c, 1.25)
        return Transfer(scale, 1.25, fluidity)
