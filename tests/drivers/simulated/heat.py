"""The heat of the simulated pair alone, at currents that a test sets."""

from dataclasses import replace
from pathlib import Path

from drivers.simulated.thermal.pair import Load, ThermalPair
from drivers.simulated.thermal.truth import TrueRoom, TrueThermal
from drivers.simulated.thermal.unit import Cooling
from drivers.simulated.truth import Truth
from tests.drivers.simulated.scenario import SECOND, nameplate_file, truth_file

HOUR = 3600 * SECOND
CORES_W = (312.0, 324.0)
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


def carrying(folder: Path, load: float = 1.0, lead_ohm: float = 0.0) -> Load:
    """Return a load in which both units carry a share of rated current, at rated flux."""
    plate = nameplate_file(folder)
    lv_a2, hv_a2 = (load * plate.lv_current_a) ** 2, (load * plate.hv_current_a) ** 2
    return Load(lv_a2, lv_a2, hv_a2, *CORES_W, 2 * lv_a2 * lead_ohm)
