"""The heat of the simulated pair alone, at currents that a test sets."""

from dataclasses import replace
from pathlib import Path

from drivers.simulated.circuit import Solution
from drivers.simulated.thermal.pair import ThermalPair
from drivers.simulated.thermal.truth import TrueRoom, TrueThermal
from drivers.simulated.thermal.unit import Cooling
from drivers.simulated.truth import Truth
from tests.drivers.simulated.scenario import SECOND, nameplate_file, truth_file

HOUR = 3600 * SECOND
STILL = TrueRoom()  # a room that stays as it is, whatever happens in it


def thermal_of(truth: Truth) -> TrueThermal:
    assert truth.thermal is not None
    return truth.thermal


def pair(
    folder: Path, room: TrueRoom | None = None, changed: TrueThermal | None = None
) -> ThermalPair:
    """Return the heat of a scenario's pair, in its own room or in another."""
    truth = truth_file(folder)
    thermal = changed or thermal_of(truth)
    if room is not None:
        thermal = replace(thermal, room=room)
    coolings = {"a": Cooling(thermal.a.fan_factor), "b": Cooling(thermal.b.fan_factor)}
    return ThermalPair(truth, thermal, nameplate_file(folder), coolings, 1)


def carrying(
    folder: Path, load: float = 1.0, cores_w: tuple[float, float] = (312.0, 324.0)
) -> Solution:
    """Return a circuit in which both units carry a share of rated current, in all windings."""
    plate = nameplate_file(folder)
    lv, hv = load * plate.lv_current_a + 0j, load * plate.hv_current_a + 0j
    y = [core_w / plate.lv_voltage_v**2 + 0j for core_w in cores_w]
    v = plate.lv_voltage_v + 0j
    return Solution(v, 0j, 0j, 0j, hv, v, v, lv, lv, y[0], y[1])


def off() -> Solution:
    return Solution(*[0j] * 11)
