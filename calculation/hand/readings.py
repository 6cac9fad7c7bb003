"""Readings taken by hand, as their file gives them: plain dataclasses, one a table.

Line values and total power for three phases; for a pair the loop's voltage across both units.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, ClassVar, Literal

from annotated_types import Ge, Gt, Le, Lt

from calculation.correction import Standard
from calculation.nameplate import STRICT, Guarantee, Material, NotNegative, Positive
from calculation.performance import Hours
from calculation.three_phase import Connection, phase_current, phase_voltage

Side = Literal["lv", "hv"]
Share = Annotated[float, Ge(0), Lt(100)]
Celsius = Annotated[float, Gt(-60), Lt(250)]
Instrument = Literal[
    "lv_voltmeter",
    "lv_ammeter",
    "lv_wattmeter",
    "hv_voltmeter",
    "hv_ammeter",
    "hv_wattmeter",
    "series_voltmeter",
]


@dataclass(frozen=True, slots=True)
class HandRating:
    """Rated values; connections matter for three phases only."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    power_va: Annotated[float, Ge(0.1), Le(5e9)]
    lv_voltage_v: Annotated[float, Ge(0.1), Le(2e6)]
    hv_voltage_v: Annotated[float, Ge(0.1), Le(2e6)]
    frequency_hz: Annotated[float, Ge(1), Le(1000)]
    phases: Literal[1, 3] = 1
    lv_connection: Connection = "star"
    hv_connection: Connection = "star"


@dataclass(frozen=True, slots=True)
class HandNoLoad:
    """No-load stage. `power_w` or the wattmeters one by one; `voltage_mean_v` mean x 1.1107.

    `series_voltage_v` across the open gap of a pair, per phase; `loss_exponent` as seen when the
    voltage was raised.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    voltage_v: float
    current_a: float
    power_w: float | None = None
    wattmeters_w: tuple[float | None, ...] = ()
    voltage_mean_v: float | None = None
    series_voltage_v: float | None = None
    loss_exponent: Annotated[float, Ge(1), Lt(4)] = 2.0
    side: Side = "lv"


@dataclass(frozen=True, slots=True)
class HandLoad:
    """Load (short-circuit) stage; `lv_voltage_v` and `lv_power_w` of the same time for balance."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    voltage_v: float
    current_a: float
    power_w: float | None = None
    wattmeters_w: tuple[float | None, ...] = ()
    lv_voltage_v: float | None = None
    lv_power_w: float | None = None
    side: Side = "hv"


@dataclass(frozen=True, slots=True)
class HandTemperature:
    """Winding temperature of the load stage; d.c. resistances of one phase winding, mean.

    `resistance_c` is the temperature of `lv_ohm` and `hv_ohm`, the winding's where not given.
    Instead of `winding_c` the resistances of the load stage (`lv_hot_ohm`, `hv_hot_ohm`, either or
    both): they tell the temperature, their mean where both were read.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    winding_c: Celsius | None = None
    lv_ohm: Positive | None = None
    hv_ohm: Positive | None = None
    resistance_c: Celsius | None = None
    lv_hot_ohm: Positive | None = None
    hv_hot_ohm: Positive | None = None
    reference_c: Annotated[float, Gt(0), Lt(250)] = 75.0
    material_lv: Material = "copper"
    material_hv: Material = "copper"
    standard: Standard = "IEC"


@dataclass(frozen=True, slots=True)
class HandInstrument:
    """One meter and the transformer before it.

    `class_percent` of `range` and `reading_percent` of reading are limits of error, in the unit
    and on the side of the meter; so are `resolution` and `repeatability`, the standard deviation
    of what was written down. The transformer before it multiplies by `ratio`, errs by what its
    certificate says (`ratio_error_percent`, `displacement_minutes`) and within the rest of its
    class: `transformer_class` ("0.2") on a meter of `transformer_secondary` (rated; 5 A and 100 V
    where not given), or `ratio_percent` and `displacement_limit_minutes` themselves. A wattmeter
    comes behind the transformers of its voltmeter and ammeter; its own `ratio` is its constant.
    Circuits on the load's side take power: `voltage_circuit_ohm`, `current_circuit_ohm`.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    class_percent: Share = 0.0
    range: NotNegative = 0.0
    reading_percent: Share = 0.0
    resolution: NotNegative = 0.0
    repeatability: NotNegative = 0.0
    ratio: Positive = 1.0
    ratio_error_percent: Annotated[float, Gt(-20), Lt(20)] = 0.0
    displacement_minutes: Annotated[float, Gt(-600), Lt(600)] = 0.0
    ratio_percent: Share = 0.0
    displacement_limit_minutes: Annotated[float, Ge(0), Lt(600)] = 0.0
    transformer_class: str | None = None
    transformer_secondary: Positive | None = None
    voltage_circuit_ohm: Positive | None = None
    current_circuit_ohm: Positive | None = None


@dataclass(frozen=True, slots=True)
class HandEvaluate:
    """Where efficiency and regulation are evaluated: every combination; `day` is a load cycle."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    load: tuple[Annotated[float, Gt(0), Le(10)], ...] = (0.25, 0.5, 0.75, 1.0)
    power_factor: tuple[Annotated[float, Gt(0), Le(1)], ...] = (1.0, 0.8)
    leading: tuple[bool, ...] = (False,)
    day: tuple[Hours, ...] = ()


@dataclass(frozen=True, slots=True)
class HandReadings:
    """The whole file. `units` 2 for a pair, 1 for one transformer."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    rating: HandRating
    no_load: HandNoLoad
    load: HandLoad
    units: Literal[1, 2] = 2
    lv_branch_ohm: NotNegative = 0.0
    temperature: HandTemperature | None = None
    instruments: Mapping[Instrument, HandInstrument] = field(default_factory=dict)
    evaluate: HandEvaluate = field(default_factory=HandEvaluate)
    guarantee: Guarantee | None = None


@dataclass(frozen=True, slots=True)
class PhaseRating:
    """Rated values of one phase winding of one unit: the `Rating` that reductions take."""

    power_va: float
    lv_voltage_v: float
    hv_voltage_v: float
    material_lv: Material = "copper"
    material_hv: Material = "copper"

    @property
    def lv_current_a(self) -> float:
        """Rated current of the LV winding, A."""
        return self.power_va / self.lv_voltage_v

    @property
    def hv_current_a(self) -> float:
        """Rated current of the HV winding, A."""
        return self.power_va / self.hv_voltage_v

    @property
    def ratio(self) -> float:
        """Ratio of turns HV/LV."""
        return self.hv_voltage_v / self.lv_voltage_v


def phase_rating(hand: HandReadings) -> PhaseRating:
    """Rated values of one phase winding."""
    rating, metal = hand.rating, hand.temperature or HandTemperature()
    lv, hv = rating.lv_voltage_v, rating.hv_voltage_v
    if rating.phases == 3:
        lv = phase_voltage(lv, rating.lv_connection)
        hv = phase_voltage(hv, rating.hv_connection)
    return PhaseRating(
        rating.power_va / rating.phases, lv, hv, metal.material_lv, metal.material_hv
    )


def to_phase(hand: HandReadings, side: Side, line_v: float, line_a: float) -> tuple[float, float]:
    """Voltage and current of one winding of a side from line values, V and A."""
    if hand.rating.phases == 1:
        return line_v, line_a
    connection = hand.rating.lv_connection if side == "lv" else hand.rating.hv_connection
    return phase_voltage(line_v, connection), phase_current(line_a, connection)
