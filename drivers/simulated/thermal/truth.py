"""What is true of the units' heat, of their room and of the sensors; all of it is invented."""

from dataclasses import dataclass, field
from typing import Annotated, ClassVar

from annotated_types import Ge, Le

from calculation.nameplate import STRICT, NotNegative, Positive

Exponent = Annotated[float, Ge(0.5), Le(1.0)]


@dataclass(frozen=True, slots=True)
class TrueBody:
    """A body that gives its heat to what surrounds it.

    At `loss_w` it stands `rise_k` above its surroundings in the end; at another loss it stands
    higher or lower by the power `exponent` of the ratio. `time_constant_s` is heat capacity times
    rise over loss: what a first step of temperature would take if it went on as it began.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    loss_w: Positive
    rise_k: Positive
    time_constant_s: Positive
    exponent: Exponent = 0.8


@dataclass(frozen=True, slots=True)
class TrueLiquid(TrueBody):
    """The liquid with tank and cooler, of mean temperature; its rise is over the room.

    Top and bottom differ by `difference_k` when `loss_w` are shed, else by the power of the ratio.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    difference_k: NotNegative = 0.0
    difference_exponent: Exponent = 0.8


@dataclass(frozen=True, slots=True)
class TrueThermalUnit:
    """One unit: windings and core give their heat to the liquid, or to the room where it is dry.

    The hottest spot stands above top liquid (dry: the room) by `hot_spot_factor` times the larger
    of both windings' rises. A fan that runs multiplies what is shed to the room by `fan_factor`;
    1 is a unit without one.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    lv: TrueBody
    hv: TrueBody
    core: TrueBody
    liquid: TrueLiquid | None = None
    hot_spot_factor: Annotated[float, Ge(1.0)] = 1.1
    fan_factor: Annotated[float, Ge(1.0)] = 1.0


@dataclass(frozen=True, slots=True)
class TrueRoom:
    """The room from its temperature at the start on: the day, a drift, and what is shed in it.

    `day_k` is the amplitude of the day, whose highest point comes `warmest_h` after the start.
    """

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    day_k: NotNegative = 0.0
    warmest_h: Annotated[float, Ge(0), Le(24)] = 6.0
    drift_k_per_day: float = 0.0
    warming_k_per_kw: NotNegative = 0.0
    time_constant_s: Positive = 5400.0


@dataclass(frozen=True, slots=True)
class TrueSensors:
    """Lags of the temperature sensors, s; noise (1 sigma) and limit of the fixed offset, K."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    liquid_lag_s: Positive = 60.0
    winding_lag_s: Positive = 20.0
    ambient_lag_s: Positive = 600.0
    noise_k: NotNegative = 0.0
    offset_k: Annotated[float, Ge(0), Le(2.0)] = 0.0


@dataclass(frozen=True, slots=True)
class TrueThermal:
    """The thermal side of the plant."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    a: TrueThermalUnit
    b: TrueThermalUnit
    room: TrueRoom = field(default_factory=TrueRoom)
    sensors: TrueSensors = field(default_factory=TrueSensors)
