"""The solved circuit: laws that hold in every state, and what each wrong connection does."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.simulated.circuit import (
    OPPOSITION,
    WIRINGS,
    PairCircuit,
    Solution,
    Supplies,
    WiredPair,
    Wiring,
)
from drivers.simulated.pair import pair_circuit
from tests.drivers.simulated.scenario import nameplate_file, stand_file, truth_file

NAMEPLATE, TRUTH = nameplate_file(), truth_file()
PAIR = pair_circuit(NAMEPLATE, TRUTH, stand_file().lv_branch_ohm)
U, I_HV, N = NAMEPLATE.lv_voltage_v, NAMEPLATE.hv_current_a, NAMEPLATE.ratio
HALF_UK = 0.02
QUARTER = 2 * NAMEPLATE.impedance_ohm * I_HV / 4

WIRED = st.builds(
    Wiring,
    aiding=st.booleans(),
    hv_lead_open=st.booleans(),
    lv_lead_open=st.sampled_from(["", "a", "b"]),
    link_left_on=st.booleans(),
    tap_steps=st.integers(-1, 1),
    shorted_turn_percent=st.none() | st.floats(1, 20),
)
SUPPLIED = st.builds(
    Supplies,
    lv_emf=st.none() | st.floats(0, 440).map(complex),
    loop_emf=st.none() | st.floats(0, 700).map(complex),
    lv_closed=st.booleans(),
    loop_closed=st.booleans(),
)


def _solve(lv: float | None, loop: float | None, wiring: Wiring = OPPOSITION) -> Solution:
    supplies = Supplies(
        None if lv is None else complex(lv),
        None if loop is None else complex(loop),
        lv_closed=lv is not None,
        loop_closed=loop is not None,
    )
    return WiredPair(PAIR, wiring).solve(supplies)


def _losses(s: Solution, wiring: Wiring) -> float:
    """What the resistances of the pair, its leads and a link turn into heat, W."""
    square_a, square_b, square_j = abs(s.i_a) ** 2, abs(s.i_b) ** 2, abs(s.loop) ** 2
    windings = square_a * (PAIR.a.z_lv + PAIR.z_branch).real
    windings += square_b * (PAIR.b.z_lv + PAIR.z_branch).real
    windings += square_j * (PAIR.a.z_hv + PAIR.b.z_hv).real
    iron = abs(s.e_a) ** 2 * s.y_a.real + abs(s.e_b) ** 2 * s.y_b.real
    link = abs(s.bus) ** 2 * (1 / PAIR.z_link).real if wiring.link_left_on else 0.0
    return windings + iron + link


@settings(max_examples=300)
@given(WIRED, SUPPLIED)
def test_what_the_supplies_give_becomes_heat(wiring: Wiring, supplies: Supplies) -> None:
    """In every state both wattmeters together read the losses: nothing arises, nothing is lost."""
    s = WiredPair(PAIR, wiring).solve(supplies)
    scale = abs(s.bus * s.lv_supply) + abs(s.hv_voltage * s.loop)
    assert s.lv_power + s.hv_power == pytest.approx(
        _losses(s, wiring), rel=1e-9, abs=1e-9 * scale + 1e-30
    )


@settings(max_examples=200)
@given(WIRED, SUPPLIED)
def test_nothing_flows_where_nothing_is_closed(wiring: Wiring, supplies: Supplies) -> None:
    """An open contactor, supply or lead carries no current, and a dead pair has no voltage."""
    s = WiredPair(PAIR, wiring).solve(supplies)
    fed_lv = supplies.lv_closed and supplies.lv_emf is not None
    fed_loop = supplies.loop_closed and supplies.loop_emf is not None and not wiring.hv_lead_open
    if not fed_lv:
        assert s.lv_supply == 0
    if not fed_loop:
        assert s.loop == 0
    if not (fed_lv or fed_loop):
        assert s.bus == s.e_a == s.e_b == s.i_a == s.i_b == 0
    if wiring.lv_lead_open:
        assert (s.i_a if wiring.lv_lead_open == "a" else s.i_b) == 0


@settings(max_examples=100)
@given(st.floats(1, 3.9), st.floats(1, 40), WIRED, SUPPLIED)
def test_iron_of_any_kind_settles(k: float, f: float, wiring: Wiring, supplies: Supplies) -> None:
    """Whatever exponent and initial permeability, the solved e.m.f.s suit the solved iron."""
    a = replace(PAIR.a, core=replace(PAIR.a.core, loss_exponent=k, low_flux_factor=f))
    s = WiredPair(replace(PAIR, a=a), replace(wiring, shorted_turn_percent=None)).solve(supplies)
    assert s.y_a == pytest.approx(a.core.admittance(abs(s.e_a)), rel=1e-9)


def test_half_of_rated_current_in_prove_aiding() -> None:
    """Aiding, closed at half the impedance voltage, a stiff supply drives half of rated current."""
    stiff = WiredPair(replace(PAIR, z_lv_source=1e-6j, z_loop_source=1e-6j), WIRINGS["aiding"])
    s = stiff.solve(Supplies(complex(HALF_UK * U), 0j, lv_closed=True, loop_closed=True))
    assert 0.45 < abs(s.loop) / I_HV < 0.55


def test_aiding_collapses_a_weak_supply() -> None:
    """Aiding, a supply of an eighth of rated impedance loses most of its voltage at closing."""
    before = _solve(HALF_UK * U, None, WIRINGS["aiding"])
    after = _solve(HALF_UK * U, 0.0, WIRINGS["aiding"])
    assert abs(after.bus) < 0.5 * abs(before.bus)


def test_hardly_any_current_in_prove_opposed() -> None:
    """In opposition the loop carries next to nothing at half the impedance voltage."""
    assert abs(_solve(HALF_UK * U, 0.0).loop) / I_HV < 0.012


def test_gap_of_an_aiding_pair_is_twice_the_voltage() -> None:
    """Aiding, the gap carries the sum of both HV voltages; opposed, their mismatch."""
    aiding, opposed = _solve(U, None, WIRINGS["aiding"]), _solve(U, None)
    assert abs(aiding.gap) == pytest.approx(2 * N * abs(aiding.bus), rel=1e-3)
    d = TRUTH.ratio_mismatch_percent / 100
    assert abs(opposed.gap) == pytest.approx(d * N * abs(opposed.bus), rel=0.1)


@pytest.mark.parametrize("wiring", [Wiring(hv_lead_open=True), Wiring(lv_lead_open="a")])
def test_anything_open_shows_at_a_quarter(wiring: Wiring) -> None:
    """With a lead open, the voltage for a quarter of rated current drives next to none."""
    s = _solve(HALF_UK * U, QUARTER, wiring)
    assert abs(s.loop) * 2 * NAMEPLATE.impedance_ohm < 0.02 * abs(s.hv_voltage)


def test_open_hv_lead_leaves_the_gap_to_the_supply() -> None:
    """With the HV loop open the voltmeter sees the auxiliary supply, and nothing without it."""
    wiring = Wiring(hv_lead_open=True)
    assert abs(_solve(U, QUARTER, wiring).gap) == pytest.approx(QUARTER)
    assert _solve(U, None, wiring).gap == 0


def test_a_link_left_on_collapses_the_bus() -> None:
    """With the link on, the bus stays far below what the regulator promises."""
    assert abs(_solve(HALF_UK * U, None, Wiring(link_left_on=True)).bus) < 0.05 * HALF_UK * U


def test_a_shorted_turn_takes_power_and_leaves_the_gap() -> None:
    """At a quarter voltage a shorted turn takes many times the iron's share of power."""
    s = _solve(0.25 * U, None, Wiring(shorted_turn_percent=10.0))
    share = 2 * NAMEPLATE.no_load_loss_w * (abs(s.bus) / U) ** 2
    assert s.lv_power > 3 * share


def test_a_tap_step_shows_in_the_gap() -> None:
    """One tap step between the twins is half a step in r."""
    s = _solve(U, None, Wiring(tap_steps=1))
    step = NAMEPLATE.tap_step_percent / 100
    assert abs(s.gap) / (2 * N * abs(s.bus)) == pytest.approx(step / 2, rel=0.05)


def test_bus_is_live_from_the_loop() -> None:
    """With the LV contactor open and the loop fed, an aiding pair brings the bus half of that."""
    bus = abs(_solve(None, QUARTER, WIRINGS["aiding"]).bus)
    assert bus == pytest.approx(QUARTER / (2 * N), rel=0.01)


def test_loop_contactor_open_shows_the_supply_alone() -> None:
    """The HV analyser stands on the supply's side of the loop contactor."""
    supplies = Supplies(complex(U), 300 + 0j, lv_closed=True, loop_closed=False)
    assert WiredPair(PAIR, OPPOSITION).solve(supplies).hv_voltage == 300


def test_closed_both_voltmeters_read_the_same() -> None:
    """While the loop contactor is closed, HV analyser and series voltmeter see one voltage."""
    s = _solve(U, 540.0)
    assert s.hv_voltage == s.gap


def test_pair_circuit_is_plain_data() -> None:
    """Two circuits from the same files are equal: nothing is drawn at random."""
    again: PairCircuit = pair_circuit(NAMEPLATE, TRUTH, stand_file().lv_branch_ohm)
    assert again == PAIR
