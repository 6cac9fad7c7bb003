"""What the simulated stand truly is, apart from what nameplate, guarantee and stand file say."""

from dataclasses import dataclass
from typing import Annotated, ClassVar

from annotated_types import Ge, Gt, Lt

from calculation.nameplate import STRICT, NotNegative, Percent, Positive
from drivers.simulated.thermal.truth import TrueThermal


@dataclass(frozen=True, slots=True)
class TrueUnit:
    """One transformer as it is.

    Core loss at rated voltage goes with voltage to the power `loss_exponent`; at low flux the iron
    draws up to `low_flux_factor` times the magnetising current that linear iron would.
    Resistances are d.c. at 20 degC; `additional_loss_w` at rated current and 75 degC. A resistance
    meter's reading of a winding settles with its `..._settling_s` once the d.c. is applied.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    no_load_loss_w: Positive
    no_load_current_percent: Percent
    lv_resistance_ohm: Positive
    hv_resistance_ohm: Positive
    additional_loss_w: NotNegative
    impedance_percent: Percent
    loss_exponent: Annotated[float, Ge(1.0), Lt(4)] = 2.0
    low_flux_factor: Annotated[float, Ge(1.0)] = 1.0
    lv_settling_s: NotNegative = 0.0
    hv_settling_s: NotNegative = 0.0


@dataclass(frozen=True, slots=True)
class TrueSupply:
    """The source impedance behind a regulator, ohm; `angle_degree` of its e.m.f. against LV's."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    resistance_ohm: NotNegative
    reactance_ohm: Positive
    angle_degree: float = 0.0


@dataclass(frozen=True, slots=True)
class TrueInstrument:
    """How an instrument behaves: time to answer, noise (percent of reading, 1 sigma), digits."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    latency_s: Annotated[float, Ge(0), Lt(10)] = 0.05
    noise_percent: NotNegative = 0.0
    digits: Annotated[int, Gt(2), Lt(16)] = 6


@dataclass(frozen=True, slots=True)
class Truth:
    """The whole simulated plant. `ratio_mismatch_percent` d: ratios n(1 +/- d/200) of A and B.

    Without a thermal side nothing warms up: everything stays at the room's temperature.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    room_temperature_c: float
    ratio_mismatch_percent: float
    a: TrueUnit
    b: TrueUnit
    lv_supply: TrueSupply
    loop_supply: TrueSupply
    contactor_close_s: Positive
    contactor_open_s: Positive
    instrument: dict[str, TrueInstrument]
    thermal: TrueThermal | None = None
    note: str = ""
