"""Random twins on paper: what their nameplate says and what they truly are.

Sizes from 3 kVA to 20 MVA. Every figure is invented; losses fall with size as those of real
series do, u_k and I0 are drawn without regard to size where physics allows it.
"""

from collections.abc import Callable
from dataclasses import replace
from math import log, tanh
from random import Random
from typing import NamedTuple

from calculation.nameplate import Guarantee, Nameplate, Pair, Resistances
from drivers.simulated.iron import LOW_FLUX_KNEE
from drivers.simulated.truth import TrueUnit

SMALLEST_VA, LARGEST_VA = 3e3, 20e6
IMPEDANCE_PERCENT = (3.0, 12.0)
NO_LOAD_CURRENT_PERCENT = (0.3, 8.0)
MOST_MISMATCH = 1.4  # of the limit of r
LARGEST_MISMATCH = 0.005
MOST_LOW_FLUX = 10.0
# From 20 to 75 degC, copper with 235 K (IEC 60076-1, from memory).
WARM = (235 + 75) / (235 + 20)


class Twins(NamedTuple):
    """Two units as sold and as they are."""

    pair: Pair
    a: TrueUnit
    b: TrueUnit


class Spread(NamedTuple):
    """How far truth strays from the nameplate, as fractions: both units alike, and each alone."""

    alike: float
    alone: float


IMPEDANCE = Spread(0.03, 0.01)
RESISTANCE = Spread(0.04, 0.015)
LOSS = Spread(0.06, 0.03)
CURRENT = Spread(0.15, 0.05)


def between(d: Random, low: float, high: float) -> float:
    """Draw a magnitude: its logarithm is uniform."""
    return float(low * (high / low) ** d.random())


def draw_nameplate(d: Random, u_k: float | None = None, i0: float | None = None) -> Nameplate:
    """Draw a nameplate; `u_k` and `i0` in percent where they are wanted.

    Losses give way: an impedance is at least 1.3 times its resistance, and the power factor of
    unloaded iron lies between 0.03 and 0.6.
    """
    u_k = d.uniform(*IMPEDANCE_PERCENT) if u_k is None else u_k
    i0 = between(d, *NO_LOAD_CURRENT_PERCENT) if i0 is None else i0
    power = between(d, SMALLEST_VA, LARGEST_VA)
    times = power / SMALLEST_VA
    load_loss = min(3.5 * times**-0.25 * between(d, 0.7, 1.4), u_k / 1.3)
    no_load_loss = 1.2 * times**-0.33 * between(d, 0.7, 1.4)
    no_load_loss = min(max(no_load_loss, 0.03 * i0), 0.6 * i0)
    lv = between(d, 110, 400) * 30 ** (log(times) / log(LARGEST_VA / SMALLEST_VA))
    return Nameplate(
        power_va=power,
        lv_voltage_v=lv,
        hv_voltage_v=lv * between(d, 1.2, 40 if lv < 1000 else 12),
        frequency_hz=d.choice((50.0, 60.0)),
        impedance_percent=u_k,
        no_load_current_percent=i0,
        no_load_loss_w=no_load_loss / 100 * power,
        load_loss_w=load_loss / 100 * power,
        tap_step_percent=d.choice((1.25, 1.5, 2.0, 2.5, 5.0)),
    )


def limit_of_r(plate: Nameplate) -> float:
    """Return the limit of r as the test's description has it, a fraction."""
    tap = plate.tap_step_percent / 100
    return min(0.005, 0.1 * plate.impedance_percent / 100, tap / 4)


def most_mismatch(plate: Nameplate) -> float:
    """Return the largest d of a good pair, a fraction."""
    return min(MOST_MISMATCH * limit_of_r(plate), LARGEST_MISMATCH)


def draw_twins(d: Random, plate: Nameplate, low_flux: bool = True) -> Twins:
    """Draw what two units with this nameplate truly are; without `low_flux` permeability stands."""
    shares = (d.uniform(0.75, 0.97), d.uniform(0.4, 0.6))
    factor = _low_flux_factor(d, plate) if low_flux else 1.0
    exponent = d.uniform(1.7, 2.4)
    alike = {s: d.uniform(-s.alike, s.alike) for s in (IMPEDANCE, RESISTANCE, LOSS, CURRENT)}

    def true(nominal: float, spread: Spread) -> float:
        return nominal * (1 + alike[spread] + d.uniform(-spread.alone, spread.alone))

    a, b = (
        replace(
            _unit(plate, shares, true),
            loss_exponent=exponent + d.uniform(-0.05, 0.05),
            low_flux_factor=max(factor * d.uniform(0.9, 1.0), 1.0),
        )
        for _ in range(2)
    )
    return Twins(_sold_as(plate, a, b), a, b)


def _sold_as(plate: Nameplate, a: TrueUnit, b: TrueUnit) -> Pair:
    return Pair(
        name="invented",
        serial_a="INVENTED-A",
        serial_b="INVENTED-B",
        nameplate=plate,
        resistances=Resistances(
            (a.lv_resistance_ohm + b.lv_resistance_ohm) / 2,
            (a.hv_resistance_ohm + b.hv_resistance_ohm) / 2,
            temperature_c=20.0,
        ),
        guarantee=Guarantee(
            plate.no_load_loss_w,
            plate.load_loss_w,
            plate.impedance_percent,
            plate.no_load_current_percent,
        ),
    )


def _unit(
    plate: Nameplate, shares: tuple[float, float], true: Callable[[float, Spread], float]
) -> TrueUnit:
    direct, lv_part = shares
    cold = true(plate.load_loss_w, RESISTANCE) * direct / WARM
    return TrueUnit(
        no_load_loss_w=true(plate.no_load_loss_w, LOSS),
        no_load_current_percent=true(plate.no_load_current_percent, CURRENT),
        lv_resistance_ohm=cold * lv_part / plate.lv_current_a**2,
        hv_resistance_ohm=cold * (1 - lv_part) / plate.hv_current_a**2,
        additional_loss_w=true(plate.load_loss_w, RESISTANCE) * (1 - direct),
        impedance_percent=true(plate.impedance_percent, IMPEDANCE),
    )


def low_flux_times(unit: TrueUnit, plate: Nameplate) -> float:
    """Return how many times its share a unit's iron draws at half the impedance voltage."""
    initial = 1 / unit.low_flux_factor
    return 1 / (initial + (1 - initial) * _risen(plate))


def _low_flux_factor(d: Random, plate: Nameplate) -> float:
    """Return the factor with which iron draws one to ten times its share at half of u_k.

    The simulated iron can't draw more than 1/tanh(flux / knee) times; where that is less than
    ten, the most that it can (nearly: a factor of 100) is drawn.
    """
    wanted = between(d, 1.0, MOST_LOW_FLUX)
    # 1/wanted = 1/F + (1 - 1/F) risen
    initial = (1 / wanted - _risen(plate)) / (1 - _risen(plate))
    return 1 / max(initial, 0.01)


def _risen(plate: Nameplate) -> float:
    return tanh(plate.impedance_percent / 200 / LOW_FLUX_KNEE)
