"""The equivalent circuit of one transformer, and its referral from side to side.

The approximate circuit: a core branch (core loss resistance parallel to magnetizing reactance) and
a series impedance. Symbols as IEC 60076-1.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Generic

from calculation.errors import ImpossibleReading, everywhere, nominal, refuse_unless_positive
from calculation.number import N


@dataclass(frozen=True, slots=True)
class CoreBranch(Generic[N]):
    """What one unit draws unloaded, at `voltage_v`, on the side of that voltage. A, W and ohm."""

    voltage_v: N
    current_a: N
    loss_w: N
    power_factor: N
    core_loss_current_a: N
    magnetizing_current_a: N
    core_loss_resistance_ohm: N
    magnetizing_reactance_ohm: N


@dataclass(frozen=True, slots=True)
class SeriesImpedance(Generic[N]):
    """Equivalent resistance, reactance and impedance of one unit in ohm, on one side."""

    resistance_ohm: N
    reactance_ohm: N
    impedance_ohm: N


def core_branch(
    voltage_v: N, current_a: N, loss_w: N, readings: Mapping[str, Any] | None = None
) -> CoreBranch[N]:
    """Core branch of one unit from its no-load voltage, current and loss, one phase.

    `readings` names what the values came from, for the message of a refusal.

    Raises:
        ImpossibleReading: not positive, or a loss that reaches voltage x current.
    """
    values = {"voltage_v": voltage_v, "current_a": current_a, "power_w": loss_w}
    refuse_unless_positive(values)
    if not everywhere(nominal(loss_w) < nominal(voltage_v * current_a)):
        raise ImpossibleReading(readings or values, "power reaches U·I, cos φ would be 1 or more")
    in_phase = loss_w / voltage_v
    in_quadrature = (current_a**2 - in_phase**2) ** 0.5
    return CoreBranch(
        voltage_v=voltage_v,
        current_a=current_a,
        loss_w=loss_w,
        power_factor=loss_w / (voltage_v * current_a),
        core_loss_current_a=in_phase,
        magnetizing_current_a=in_quadrature,
        core_loss_resistance_ohm=voltage_v / in_phase,
        magnetizing_reactance_ohm=voltage_v / in_quadrature,
    )


def reactance(resistance_ohm: N, impedance_ohm: N, readings: Mapping[str, Any] | None = None) -> N:
    """X of Z and R, ohm.

    Raises:
        ImpossibleReading: an impedance below its resistance; `readings` are then named.
    """
    if not everywhere(nominal(impedance_ohm) >= nominal(resistance_ohm)):
        values = {"impedance_ohm": impedance_ohm, "resistance_ohm": resistance_ohm}
        raise ImpossibleReading(readings or values, "impedance below resistance (power above U·I)")
    root: N = (impedance_ohm**2 - resistance_ohm**2) ** 0.5
    return root


def series_impedance(
    voltage_v: N, current_a: N, power_w: N, readings: Mapping[str, Any] | None = None
) -> SeriesImpedance[N]:
    """Series impedance of one unit from its short-circuit voltage, current and power, one phase.

    Raises:
        ImpossibleReading: not positive, or power above voltage x current.
    """
    values = {"voltage_v": voltage_v, "current_a": current_a, "power_w": power_w}
    refuse_unless_positive(values)
    resistance, impedance = power_w / current_a**2, voltage_v / current_a
    x = reactance(resistance, impedance, readings or values)
    return SeriesImpedance(resistance, x, impedance)


def of_resistance_and_reactance(resistance_ohm: N, reactance_ohm: N) -> SeriesImpedance[N]:
    """The series impedance of a known R and X, ohm."""
    impedance: N = (resistance_ohm**2 + reactance_ohm**2) ** 0.5
    return SeriesImpedance(resistance_ohm, reactance_ohm, impedance)


def referred(ohm: N, ratio: float) -> N:
    """An impedance seen from the other side: times `ratio` squared.

    `ratio` is turns of the side it goes to over turns of the side it comes from.
    """
    return ohm * ratio**2


def percent(ohm: N, rated_voltage_v: float, rated_power_va: float) -> N:
    """An impedance in percent of rated voltage squared over rated power, one phase or three."""
    return ohm * (100 * rated_power_va / rated_voltage_v**2)


def no_load_reading(voltage_v: N, resistance_ohm: N, reactance_ohm: N) -> tuple[N, N]:
    """Current and power that one unit will draw unloaded, A and W, from its core branch."""
    current: N = voltage_v * (1 / resistance_ohm**2 + 1 / reactance_ohm**2) ** 0.5
    return current, voltage_v**2 / resistance_ohm


def short_circuit_reading(current_a: N, resistance_ohm: N, reactance_ohm: N) -> tuple[N, N]:
    """Voltage and power that one unit will take short-circuited, V and W, at a current."""
    impedance: N = (resistance_ohm**2 + reactance_ohm**2) ** 0.5
    return current_a * impedance, current_a**2 * resistance_ohm
