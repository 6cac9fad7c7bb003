"""Three-phase readings: from line values and wattmeters to one phase.

Symmetrical voltages are taken for granted, as in a factory test; per-phase readings are kept where
they exist.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, Literal

from calculation.errors import ImpossibleReading, refuse_unless_finite
from calculation.number import N

Connection = Literal["star", "delta"]

ROOT_3 = 3**0.5


@dataclass(frozen=True, slots=True)
class PhaseReading(Generic[N]):
    """Voltage across and current through one phase winding, V and A, and its power, W."""

    voltage_v: N
    current_a: N
    power_w: N


def phase_voltage(line_v: N, connection: Connection) -> N:
    """Voltage across one winding, V, of the voltage between lines."""
    return line_v / ROOT_3 if connection == "star" else line_v


def phase_current(line_a: N, connection: Connection) -> N:
    """Current through one winding, A, of the current in the lines."""
    return line_a if connection == "star" else line_a / ROOT_3


def line_current(phase_a: N, connection: Connection) -> N:
    """Current in the lines, A, of that through one winding."""
    return phase_a if connection == "star" else phase_a * ROOT_3


def phase_reading(line_v: N, line_a: N, total_w: N, connection: Connection) -> PhaseReading[N]:
    """One phase of line values and total power."""
    volts, amperes = phase_voltage(line_v, connection), phase_current(line_a, connection)
    return PhaseReading(volts, amperes, total_w / 3)


def mean_of_phases(phases: Sequence[PhaseReading[N]]) -> PhaseReading[N]:
    """The mean of readings taken phase by phase; its power times three is the total.

    Raises:
        ImpossibleReading: other than three phases.
    """
    if len(phases) != 3:
        raise ImpossibleReading({"phases": len(phases)}, "three phases make a mean")
    a, b, c = phases
    return PhaseReading(
        (a.voltage_v + b.voltage_v + c.voltage_v) / 3,
        (a.current_a + b.current_a + c.current_a) / 3,
        (a.power_w + b.power_w + c.power_w) / 3,
    )


def total_power(wattmeters_w: Mapping[str, Any], phases: int = 3) -> Any:
    """Sum of two or three wattmeters (one for a single phase), signs kept, W.

    Two wattmeters measure three wires whatever the load (Blondel); three measure three or four.

    Raises:
        ImpossibleReading: a wattmeter that is missing, or a number of them that measures no total.
    """
    refuse_unless_finite(wattmeters_w)
    enough = (1,) if phases == 1 else (2, 3)
    if len(wattmeters_w) not in enough:
        needed = "one wattmeter" if phases == 1 else "two or three wattmeters"
        raise ImpossibleReading(dict(wattmeters_w), f"the total takes {needed}")
    return sum(wattmeters_w.values())


def two_wattmeter_power_factor(first_w: N, second_w: N) -> N:
    """Power factor of a symmetrical load from two wattmeters; the larger reading first or not."""
    total, reactive = first_w + second_w, ROOT_3 * (first_w - second_w)
    factor: N = total / (total**2 + reactive**2) ** 0.5
    return factor


def phase_ratio(
    hv_line_v: float, lv_line_v: float, hv: Connection = "star", lv: Connection = "star"
) -> float:
    """Ratio of turns HV/LV of windings so connected."""
    return phase_voltage(hv_line_v, hv) / phase_voltage(lv_line_v, lv)
