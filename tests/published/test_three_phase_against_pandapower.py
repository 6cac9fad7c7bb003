"""The three-phase circuit against someone else's: pandapower's transformer model (T circuit).

Its load flow solves what the formulas say in closed form; nothing is shared.
"""

from dataclasses import dataclass
from math import acos, sin
from typing import Any

import numpy as np
import pytest

from calculation import performance, t_circuit, three_phase
from calculation.hand.readings import HandLoad, HandNoLoad, HandRating, HandReadings
from calculation.hand.reduction import hand_result

pp = pytest.importorskip("pandapower", reason="the second opinion is not installed")


@dataclass(frozen=True)
class Plate:
    """A three-phase transformer, delta to star: MVA, kV, percent, kW."""

    mva: float
    hv_kv: float
    lv_kv: float
    vk_percent: float
    vkr_percent: float
    pfe_kw: float = 0.0
    i0_percent: float = 0.0


# The first is the load-flow library's own standard type "0.4 MVA 20/0.4 kV" (row b9).
PLATES = [
    Plate(0.4, 20.0, 0.4, 6.0, 1.425, 1.35, 0.3375),
    Plate(0.1, 6.6, 0.4, 4.0, 1.75, 0.32, 1.8),
    Plate(25.0, 110.0, 20.0, 12.0, 0.41, 14.0, 0.07),
]


def network(plate: Plate, hv_pu: float | None = 1.0, lv_pu: float | None = None) -> Any:
    """Return the transformer between two buses, fed on the side whose voltage is given."""
    net = pp.create_empty_network(f_hz=50)
    hv, lv = pp.create_bus(net, plate.hv_kv), pp.create_bus(net, plate.lv_kv)
    if hv_pu is not None:
        pp.create_ext_grid(net, hv, vm_pu=hv_pu)
    if lv_pu is not None:
        pp.create_ext_grid(net, lv, vm_pu=lv_pu)
    pp.create_transformer_from_parameters(
        net,
        hv,
        lv,
        sn_mva=plate.mva,
        vn_hv_kv=plate.hv_kv,
        vn_lv_kv=plate.lv_kv,
        vk_percent=plate.vk_percent,
        vkr_percent=plate.vkr_percent,
        pfe_kw=plate.pfe_kw,
        i0_percent=plate.i0_percent,
        shift_degree=150,
        vector_group="Dyn",
    )
    return net


def solved(net: Any, **start: Any) -> Any:
    """Solve, from a start other than the flat one if need be; return the transformer's results."""
    pp.runpp(net, trafo_model="t", tolerance_mva=1e-11, numba=False, **start)
    return net.res_trafo.iloc[0]


def fed(plate: Plate, load: float, pf: float, leading: bool, hv_pu: float = 1.0) -> Any:
    """Return the results of a per-unit load on LV."""
    net = network(plate, hv_pu)
    mvar = load * plate.mva * sin(acos(pf)) * (-1 if leading else 1)
    pp.create_load(net, 1, p_mw=load * plate.mva * pf, q_mvar=mvar)
    return solved(net)


@pytest.mark.parametrize("plate", PLATES)
@pytest.mark.parametrize(
    ("load", "pf", "leading"), [(0.25, 1.0, False), (1.0, 0.8, False), (0.8, 0.6, True)]
)
def test_t_circuit_feeds_a_load_as_the_load_flow_does(
    plate: Plate, load: float, pf: float, leading: bool
) -> None:
    """LV voltage, power taken in and loss agree to 1e-6 of rated."""
    theirs = fed(plate, load, pf, leading)
    series = t_circuit.series_of(plate.vk_percent, plate.vkr_percent / 100)
    core = t_circuit.core_of(plate.i0_percent, plate.pfe_kw / 1e3 / plate.mva)
    reactive = load * sin(acos(pf)) * (-1 if leading else 1)
    ours = t_circuit.feed(1.0, complex(load * pf, reactive), series, core)
    assert abs(ours.lv_voltage) == pytest.approx(theirs.vm_lv_pu, abs=1e-6)
    assert ours.input_power.real * plate.mva == pytest.approx(theirs.p_hv_mw, abs=1e-6 * plate.mva)
    assert ours.loss * plate.mva == pytest.approx(theirs.pl_mw, abs=1e-6 * plate.mva)


@pytest.mark.parametrize("plate", PLATES)
@pytest.mark.parametrize(("pf", "leading"), [(1.0, False), (0.8, False), (0.8, True)])
def test_regulation_is_what_brings_the_load_flow_to_rated_voltage(
    plate: Plate, pf: float, leading: bool
) -> None:
    """Without a core: fed with 1 + regulation, the output of full load stands at rated."""
    bare = Plate(plate.mva, plate.hv_kv, plate.lv_kv, plate.vk_percent, plate.vkr_percent)
    x_percent = (plate.vk_percent**2 - plate.vkr_percent**2) ** 0.5
    drop = performance.regulation_percent(1.0, pf, plate.vkr_percent, x_percent, leading)
    theirs = fed(bare, 1.0, pf, leading, 1 + drop / 100)
    assert theirs.vm_lv_pu == pytest.approx(1.0, abs=1e-8)
    load_loss = plate.vkr_percent / 100 * plate.mva
    ours = performance.efficiency(1.0, pf, plate.mva, 0.0, load_loss)
    assert ours == pytest.approx(-theirs.p_lv_mw / theirs.p_hv_mw, rel=1e-8)


def by_their_readings(plate: Plate) -> HandReadings:
    """Take open- and short-circuit readings of their transformer: line values, total power."""
    open_net = network(plate, None, 1.0)
    opened = solved(open_net)
    # A short, as near as a load flow comes: a millionth of the transformer's impedance.
    per_unit = plate.vk_percent / 100
    short_net = network(plate, per_unit)
    pp.create_shunt(short_net, 1, q_mvar=-1e6 * plate.mva / per_unit)
    near = np.array([per_unit, 1e-6 * per_unit])
    shorted = solved(short_net, init_vm_pu=near, init_va_degree=np.array([0.0, -150.0]))
    rating = HandRating(
        plate.mva * 1e6, plate.lv_kv * 1e3, plate.hv_kv * 1e3, 50, 3, "star", "delta"
    )
    return HandReadings(
        rating,
        HandNoLoad(plate.lv_kv * 1e3, opened.i_lv_ka * 1e3, opened.p_lv_mw * 1e6),
        HandLoad(plate.vk_percent * 10 * plate.hv_kv, shorted.i_hv_ka * 1e3, shorted.p_hv_mw * 1e6),
        units=1,
    )


@pytest.mark.parametrize("plate", PLATES)
def test_their_readings_reduce_to_their_nameplate(plate: Plate) -> None:
    """P0, I0, P_k and u_k come back from readings, within what a core at the T point shifts.

    Half of the impedance lies before the core in either test: by u_k/2 times I0 of itself.
    """
    unit = hand_result(by_their_readings(plate)).unit
    shift = 1.1 * plate.vk_percent / 100 * plate.i0_percent / 100
    assert unit.no_load_loss_w == pytest.approx(plate.pfe_kw * 1e3, rel=shift + 1e-5)
    assert unit.no_load_current_percent == pytest.approx(plate.i0_percent, rel=shift + 1e-5)
    assert unit.impedance_percent == pytest.approx(plate.vk_percent, rel=shift + 1e-5)
    load_loss = plate.vkr_percent / 100 * plate.mva * 1e6
    # The core takes up to I0 u_k/2 of the loop's voltage: against R it weighs with X/R.
    weight = plate.vk_percent / plate.vkr_percent
    assert unit.load_loss_w == pytest.approx(load_loss, rel=shift * weight + 1e-5)


def test_phase_values_of_their_windings() -> None:
    """Delta and star windings: voltages and currents of lines make the same volt-amperes."""
    theirs = fed(PLATES[0], 1.0, 1.0, leading=False)
    hv_v, hv_a = theirs.vm_hv_pu * 20e3, theirs.i_hv_ka * 1e3
    delta = three_phase.phase_reading(hv_v, hv_a, theirs.p_hv_mw * 1e6, "delta")
    star = three_phase.phase_reading(hv_v, hv_a, theirs.p_hv_mw * 1e6, "star")
    apparent = (theirs.p_hv_mw**2 + theirs.q_hv_mvar**2) ** 0.5 * 1e6 / 3
    for phase in (delta, star):
        assert phase.voltage_v * phase.current_a == pytest.approx(apparent, rel=1e-9)
    assert three_phase.line_current(delta.current_a, "delta") == pytest.approx(hv_a, rel=1e-12)
