"""What cold resistances must show before a night is spent on them."""

from calculation.correction import resistance_at, temperature_constant
from calculation.errors import ImpossibleReading
from calculation.heat_readings import Floats
from calculation.settling import cold_reading, selector_suits
from sequences.expected import Expected
from sequences.scan import Stop

LEAST_READINGS = 10
# A twin's winding may be some per cent off the mean that the pair file gives; two in parallel read
# half of one, a wrong tap 5 % and a wrong winding anything.
AS_KNOWN = 0.2


def check_cold(
    expected: Expected, winding: str, read: tuple[Floats, Floats], unit_c: float
) -> None:
    """Judge one winding's cold readings: instants since the d.c. (s) and ohm.

    Raises Stop: too few of them, readings that do not settle in time, a selector that is too quick
    for how slowly they do, a resistance that is not the pair file's.
    """
    t_s, ohm = read
    if len(ohm) < LEAST_READINGS:
        raise Stop(
            "no_cold_resistance",
            f"{winding}: {len(ohm)} readings of its cold resistance",
            "resistance meter, its link and leads; the selector",
        )
    try:
        cold = cold_reading(t_s, ohm, unit_c)
    except ImpossibleReading as why:
        raise Stop(
            "cold_resistance_does_not_settle",
            f"{winding}: {why}",
            "d.c. of the meter, leads; cold_s of the schedule",
        ) from why
    several = len(expected.selector_positions) > 1
    if several and not selector_suits(cold.settling_s, expected.soak.dwell_s):
        raise Stop(
            "selector_too_quick",
            f"{winding} settles with {cold.settling_s:.0f} s, a position lasts"
            f" {expected.soak.dwell_s:.0f} s",
            "dwell_s of the schedule; a meter for each winding",
        )
    known = _known_ohm(expected, winding, unit_c)
    if abs(cold.resistance_ohm / known - 1) > AS_KNOWN:
        raise Stop(
            "resistance_not_as_known",
            f"{winding} reads {cold.resistance_ohm:.4g} ohm, the pair file says {known:.4g}",
            "LV parallel link open, each winding alone; taps; the pair file",
        )


def _known_ohm(expected: Expected, winding: str, unit_c: float) -> float:
    """The pair file's mean resistance of this side, at the unit's temperature, ohm."""
    plate, known = expected.nameplate, expected.resistances
    lv = winding.endswith("_lv")
    constant = temperature_constant(plate.material_lv if lv else plate.material_hv)
    ohm = known.lv_ohm if lv else known.hv_ohm
    return resistance_at(ohm, known.temperature_c, unit_c, constant)
