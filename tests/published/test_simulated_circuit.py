"""The simulated pair's circuit: rows j1 to j3 (D; two independent solvers agree to 2e-7)."""

from cmath import phase
from math import degrees

import pytest

from drivers.simulated.circuit import (
    PairCircuit,
    Supplies,
    UnitCircuit,
    WiredPair,
    Wiring,
)
from drivers.simulated.iron import CoreBranch

N, D = 16.5, 0.001
Z = 7.623 + 15.66798159j
CORE = CoreBranch(conductance=1 / 500, susceptance=1 / 90.32775044, rated_emf=400.0)


def _unit(ratio: float) -> UnitCircuit:
    return UnitCircuit(ratio, Z / 2 / N**2, Z / 2, CORE)


PAIR = WiredPair(
    PairCircuit(
        a=_unit(N * (1 + D / 2)),
        b=_unit(N * (1 - D / 2)),
        z_branch=0j,
        z_lv_source=0j,
        z_loop_source=0.4407962 + 1.322389j,
        rated_lv=1.6,
    ),
    Wiring(),
)


def _polar(value: complex) -> tuple[float, float]:
    return abs(value), degrees(phase(value))


def _published(magnitude: float, angle: float) -> object:
    """A phasor to a millionth, and to a hundred-thousandth of a degree."""
    return (pytest.approx(magnitude, rel=1e-6), pytest.approx(angle, abs=1e-5))


def test_no_load() -> None:
    """j1: bus at 400 V, gap open."""
    solution = PAIR.solve(Supplies(400 + 0j, None, lv_closed=True, loop_closed=False))
    assert _polar(solution.lv_supply) == _published(8.996882, -79.75407)
    assert solution.lv_power == pytest.approx(640.1232, rel=1e-6)
    assert abs(solution.gap) == pytest.approx(6.597713, rel=1e-6)


def test_loaded() -> None:
    """j2: bus at 400 V, auxiliary e.m.f. 555.4522 V in phase with it."""
    solution = PAIR.solve(Supplies(400 + 0j, 555.4522 + 0j, lv_closed=True, loop_closed=True))
    assert _polar(solution.lv_supply) == _published(8.756209, -80.18870)
    assert solution.lv_power == pytest.approx(596.8366, rel=1e-6)
    assert _polar(solution.hv_voltage) == _published(534.5062, -0.284478)
    assert _polar(solution.loop) == _published(15.15152, -64.34641)
    assert solution.hv_power == pytest.approx(3542.313, rel=1e-6)


def test_one_unit_alone() -> None:
    """j3: open- and short-circuit tests of one unit."""
    unit = _unit(N)
    y = CORE.admittance(400.0)
    current = 400 / (unit.z_lv + 1 / y)
    assert 400 * current.real == pytest.approx(320.0616, rel=1e-6)
    assert abs(current) == pytest.approx(4.498441, rel=1e-6)
    z_k = unit.short_circuit_impedance(15.15152)
    assert z_k.real == pytest.approx(7.620917, rel=1e-6)
    assert z_k.imag == pytest.approx(15.66564, rel=1e-6)
    assert z_k.real * (100e3 / 6600) ** 2 == pytest.approx(1749.522, rel=1e-6)
