"""What a pair of twins promises: nameplate, cold resistances, guarantee."""

from dataclasses import dataclass, field
from typing import Annotated, ClassVar, Literal

from annotated_types import Ge, Gt, Le, Lt

from calculation.decision import Rule

Positive = Annotated[float, Gt(0)]
NotNegative = Annotated[float, Ge(0)]
Percent = Annotated[float, Gt(0), Lt(100)]
Material = Literal["copper", "aluminium"]
Construction = Literal["liquid", "dry"]
Cooling = Literal["ONAN", "ONAF", "OFAF", "ODAF", "AN", "AF"]
InsulationClass = Literal["A", "E", "B", "F", "H", "200", "220"]
RiseK = Annotated[float, Gt(0), Lt(300)]

# How a dataclass that is read from a file is validated: no key unknown, no number that is not one.
STRICT: dict[str, object] = {"extra": "forbid", "allow_inf_nan": False, "strict": False}


@dataclass(frozen=True, slots=True)
class Nameplate:
    """Rated values of one unit of the pair (IEC 60076-1 clause 3 terms).

    Power in VA, voltages in V between terminals, losses in W at rated voltage or at rated current
    and the reference temperature; impedance, no-load current and tap step in percent of rated.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    power_va: Positive
    lv_voltage_v: Positive
    hv_voltage_v: Positive
    frequency_hz: Positive
    impedance_percent: Percent
    no_load_current_percent: Percent
    no_load_loss_w: Positive
    load_loss_w: Positive
    phases: Annotated[int, Ge(1), Le(1)] = 1
    reference_temperature_c: Annotated[float, Gt(0), Lt(250)] = 75.0
    tap_step_percent: Percent = 2.5
    material_lv: Material = "copper"
    material_hv: Material = "copper"

    @property
    def ratio(self) -> float:
        """Rated voltage ratio HV/LV."""
        return self.hv_voltage_v / self.lv_voltage_v

    @property
    def lv_current_a(self) -> float:
        """Rated LV current, A."""
        return self.power_va / self.lv_voltage_v

    @property
    def hv_current_a(self) -> float:
        """Rated HV current, A."""
        return self.power_va / self.hv_voltage_v

    @property
    def impedance_ohm(self) -> float:
        """Short-circuit impedance of one unit at reference temperature, ohm, HV side."""
        return self.impedance_percent / 100 * self.hv_voltage_v / self.hv_current_a


@dataclass(frozen=True, slots=True)
class Resistances:
    """Mean d.c. resistances of the twins' windings in ohm, and the temperature they hold for."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    lv_ohm: Positive
    hv_ohm: Positive
    temperature_c: Annotated[float, Gt(-50), Lt(200)]


@dataclass(frozen=True, slots=True)
class Guarantee:
    """Guaranteed values at reference temperature with their tolerances in percent.

    Default tolerances are those of IEC 60076-1 Table 1: component losses +15, no-load current +30,
    impedance of a principal tapping +/-7.5 from 10 % impedance and +/-10 below (None: that rule),
    total losses +10. `rule` is the decision rule: by the value alone, or with its uncertainty.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    no_load_loss_w: Positive
    load_loss_w: Positive
    impedance_percent: Percent
    no_load_current_percent: Percent
    no_load_loss_tolerance_percent: NotNegative = 15.0
    load_loss_tolerance_percent: NotNegative = 15.0
    total_loss_tolerance_percent: NotNegative = 10.0
    no_load_current_tolerance_percent: NotNegative = 30.0
    impedance_tolerance_percent: NotNegative | None = None
    rule: Rule = "simple"


@dataclass(frozen=True, slots=True)
class ThermalPlate:
    """The thermal side of a nameplate, which only a heat run needs.

    `insulation` is the thermal class of a dry-type unit (IEC 60085), `altitude_m` where the unit
    is to stand. Guaranteed rises in K replace the standard's limits where they are given.
    `hot_spot_gradient_k` is the hot-spot above the top liquid (dry type: above its winding) at
    rated current by design: what bounds an overload step before a gradient has been measured.
    `time_constant_s` is that of the liquid (dry type: of the winding), 2 h where it is not known.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    construction: Construction
    cooling: Cooling
    hot_spot_gradient_k: Positive
    insulation: InsulationClass | None = None
    altitude_m: Annotated[float, Ge(0), Le(6000)] = 0.0
    time_constant_s: Positive = 7200.0
    top_liquid_rise_k: RiseK | None = None
    winding_rise_k: RiseK | None = None
    hot_spot_rise_k: RiseK | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """The twins under test: who they are, what they promise, what is known of them."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    name: str
    serial_a: str
    serial_b: str
    nameplate: Nameplate
    resistances: Resistances
    guarantee: Guarantee
    thermal: ThermalPlate | None = None
    note: str = field(default="")
