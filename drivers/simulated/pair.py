"""From nameplate and truth to the circuit of the pair at its winding temperatures."""

from typing import NamedTuple

from calculation.nameplate import Nameplate
from drivers.simulated.circuit import PairCircuit, UnitCircuit
from drivers.simulated.iron import CoreBranch
from drivers.simulated.truth import TrueSupply, TrueUnit, Truth

# Temperature constants of IEC 60076-1 (from memory), K.
TEMPERATURE_CONSTANT = {"copper": 235.0, "aluminium": 225.0}
# The true d.c. resistances hold at the one, the true impedance and additional loss at the other.
RESISTANCE_AT_C = 20.0
IMPEDANCE_AT_C = 75.0


class Windings(NamedTuple):
    """Something of the LV and of the HV winding of a unit."""

    lv: float
    hv: float


def pair_circuit(
    nameplate: Nameplate, truth: Truth, lv_branch_ohm: float, winding_c: float | None = None
) -> PairCircuit:
    """Return the true circuit of the pair and its supplies.

    Windings are at `winding_c`, room temperature when not given. Ratios are n(1 + d/2) for A and
    n(1 - d/2) for B, d the true mismatch; the impedances of both units refer to the rated ratio.
    """
    celsius = truth.room_temperature_c if winding_c is None else winding_c
    windings = Windings(celsius, celsius)
    return heated_pair_circuit(nameplate, truth, lv_branch_ohm, windings, windings)


def heated_pair_circuit(
    nameplate: Nameplate, truth: Truth, lv_branch_ohm: float, a_c: Windings, b_c: Windings
) -> PairCircuit:
    """Return the true circuit with each unit's windings at temperatures of their own, degC."""
    d = truth.ratio_mismatch_percent / 100
    return PairCircuit(
        a=heated_unit_circuit(nameplate, truth.a, nameplate.ratio * (1 + d / 2), a_c),
        b=heated_unit_circuit(nameplate, truth.b, nameplate.ratio * (1 - d / 2), b_c),
        z_branch=complex(lv_branch_ohm),
        z_lv_source=_impedance(truth.lv_supply),
        z_loop_source=_impedance(truth.loop_supply),
        rated_lv=nameplate.lv_voltage_v / nameplate.lv_current_a,
        tap_step=nameplate.tap_step_percent / 100,
    )


def unit_circuit(
    nameplate: Nameplate, unit: TrueUnit, ratio: float, winding_c: float
) -> UnitCircuit:
    """Return one unit's T-circuit with both windings at `winding_c` degrees Celsius."""
    return heated_unit_circuit(nameplate, unit, ratio, Windings(winding_c, winding_c))


def heated_unit_circuit(
    nameplate: Nameplate, unit: TrueUnit, ratio: float, winding_c: Windings
) -> UnitCircuit:
    """Return one unit's T-circuit with its windings at temperatures of their own, degC.

    Direct-current resistances go with temperature, the additional part against it. The reactance
    is what the true impedance (series sum, at 75 degC) leaves beside the resistance. Reactance
    and additional resistance stand half on each side of the core branch.
    """
    r_lv, r_hv = alternating_resistances(nameplate, unit, winding_c)
    x = _reactance(nameplate, unit)
    n = nameplate.ratio
    z_lv = complex(r_lv, x / 2 / n**2)
    return UnitCircuit(ratio, z_lv, complex(r_hv, x / 2), _core(nameplate, unit, z_lv))


class WindingResistance(NamedTuple):
    """A winding's resistance at theta degC: up (k + theta), d.c., and down / (k + theta), the rest.

    Ohm on its own side; k the temperature constant of its material.
    """

    constant_k: float
    up: float
    down: float

    def direct(self, celsius: float) -> float:
        """Return the d.c. resistance, ohm."""
        return self.up * (self.constant_k + celsius)

    def alternating(self, celsius: float) -> float:
        """Return the resistance with its share of additional loss, ohm."""
        return self.direct(celsius) + self.down / (self.constant_k + celsius)


def winding_resistances(
    nameplate: Nameplate, unit: TrueUnit
) -> tuple[WindingResistance, WindingResistance]:
    """Return the resistances of LV and HV winding."""
    k_lv = TEMPERATURE_CONSTANT[nameplate.material_lv]
    k_hv = TEMPERATURE_CONSTANT[nameplate.material_hv]
    additional = unit.additional_loss_w / nameplate.hv_current_a**2 / 2
    return (
        WindingResistance(
            k_lv,
            unit.lv_resistance_ohm / (k_lv + RESISTANCE_AT_C),
            additional / nameplate.ratio**2 * (k_lv + IMPEDANCE_AT_C),
        ),
        WindingResistance(
            k_hv,
            unit.hv_resistance_ohm / (k_hv + RESISTANCE_AT_C),
            additional * (k_hv + IMPEDANCE_AT_C),
        ),
    )


def direct_resistances(nameplate: Nameplate, unit: TrueUnit, celsius: Windings) -> Windings:
    """Return d.c. resistances of LV and HV winding, ohm, each on its own side."""
    lv, hv = winding_resistances(nameplate, unit)
    return Windings(lv.direct(celsius.lv), hv.direct(celsius.hv))


def alternating_resistances(nameplate: Nameplate, unit: TrueUnit, celsius: Windings) -> Windings:
    """Return resistances of LV and HV winding with their share of additional loss, ohm."""
    lv, hv = winding_resistances(nameplate, unit)
    return Windings(lv.alternating(celsius.lv), hv.alternating(celsius.hv))


def _reactance(nameplate: Nameplate, unit: TrueUnit) -> float:
    """Return the leakage reactance, ohm, HV side. Raises ValueError where resistance exceeds it."""
    lv, hv = alternating_resistances(nameplate, unit, Windings(IMPEDANCE_AT_C, IMPEDANCE_AT_C))
    r = lv * nameplate.ratio**2 + hv
    z = unit.impedance_percent / 100 * nameplate.hv_voltage_v / nameplate.hv_current_a
    if z <= r:
        raise ValueError(f"true impedance {z:.4g} ohm does not exceed its resistance {r:.4g} ohm")
    return float((z**2 - r**2) ** 0.5)


def _core(nameplate: Nameplate, unit: TrueUnit, z_lv: complex) -> CoreBranch:
    """Return the core branch with which an open-circuit test at rated voltage reads the truth."""
    v = nameplate.lv_voltage_v
    i0 = unit.no_load_current_percent / 100 * nameplate.lv_current_a
    active = unit.no_load_loss_w / v
    if i0 <= active:
        raise ValueError(f"true no-load current {i0:.4g} A carries no {unit.no_load_loss_w:.4g} W")
    current = complex(active, -((i0**2 - active**2) ** 0.5))
    emf = v - z_lv * current
    y = current / emf
    return CoreBranch(y.real, -y.imag, abs(emf), unit.loss_exponent, unit.low_flux_factor)


def _impedance(supply: TrueSupply) -> complex:
    return complex(supply.resistance_ohm, supply.reactance_ohm)
