"""Efficiency and regulation of one transformer from its losses and impedance."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, ClassVar

from annotated_types import Ge, Gt, Le

from calculation.errors import ImpossibleReading, everywhere, nominal, refuse_unless_positive
from calculation.nameplate import STRICT
from calculation.number import N


def efficiency(load: N, power_factor: N, power_va: float, no_load_w: N, load_loss_w: N) -> N:
    """Output over input at a per-unit `load`; `load_loss_w` at rated current. A fraction.

    IEC 60076-1 definitions of losses; output is load x rated power x power factor.
    """
    output = load * power_factor * power_va
    return output / (output + no_load_w + load**2 * load_loss_w)


def load_of_maximum_efficiency(no_load_w: N, load_loss_w: N) -> N:
    """Per-unit load at which efficiency is greatest: no-load and load loss are then equal."""
    share: N = (no_load_w / load_loss_w) ** 0.5
    return share


def regulation_percent(
    load: N, power_factor: N, resistance_percent: N, reactance_percent: N, leading: bool = False
) -> N:
    """Voltage drop at a per-unit `load`, percent of rated, from the exact phasors.

    Output held at rated voltage; resistance and reactance in percent; a rise is negative.

    Raises:
        ImpossibleReading: a power factor that is not within 0 and 1.
    """
    along, across = _drops(load, power_factor, resistance_percent, reactance_percent, leading)
    magnitude: N = ((100 + along) ** 2 + across**2) ** 0.5
    return magnitude - 100


def regulation_expansion_percent(
    load: N, power_factor: N, resistance_percent: N, reactance_percent: N, leading: bool = False
) -> N:
    """Voltage drop in percent by the expansion to second order (IEC 60076-8; clause from memory).

    Raises:
        ImpossibleReading: a power factor that is not within 0 and 1.
    """
    along, across = _drops(load, power_factor, resistance_percent, reactance_percent, leading)
    return along + across**2 / 200


def power_factor_of_greatest_regulation(resistance: N, impedance: N) -> N:
    """The lagging power factor at which the voltage drop is greatest: R/Z."""
    return resistance / impedance


def _drops(load: N, power_factor: N, e_r: N, e_x: N, leading: bool) -> tuple[N, N]:
    if not everywhere((nominal(power_factor) >= 0) & (nominal(power_factor) <= 1)):
        raise ImpossibleReading({"power_factor": power_factor}, "must lie within 0 and 1")
    sine: N = (1 - power_factor**2) ** 0.5
    if leading:
        sine = -sine
    along = load * (e_r * power_factor + e_x * sine)
    across = load * (e_x * power_factor - e_r * sine)
    return along, across


@dataclass(frozen=True, slots=True)
class Hours:
    """A stretch of the day at one per-unit load and power factor."""

    __pydantic_config__: ClassVar[dict[str, object]] = STRICT

    hours: Annotated[float, Ge(0), Le(8784)]
    load: Annotated[float, Ge(0), Le(10)]
    power_factor: Annotated[float, Gt(0), Le(1)] = 1.0


@dataclass(frozen=True, slots=True)
class Day:
    """Energy of a load cycle, Wh, and output over input as a fraction."""

    output_wh: float
    core_wh: float
    winding_wh: float
    efficiency: float


def all_day(cycle: Sequence[Hours], power_va: float, no_load_w: float, load_loss_w: float) -> Day:
    """All-day efficiency over a load cycle; the core is energised throughout.

    Raises:
        ImpossibleReading: a cycle without duration or without output.
    """
    hours = sum(part.hours for part in cycle)
    output = sum(part.hours * part.load * part.power_factor for part in cycle) * power_va
    refuse_unless_positive({"hours": hours, "output_wh": output})
    winding = sum(part.hours * part.load**2 for part in cycle) * load_loss_w
    core = hours * no_load_w
    return Day(output, core, winding, output / (output + core + winding))
