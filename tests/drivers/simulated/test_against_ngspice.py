"""The simulated circuit against ngspice, in every state, to a millionth.

The netlists are built here from the scenario's numbers alone: ideal ratios as controlled sources,
each core branch a resistor beside an inductor. ngspice knows no iron, so the netlist is run again
with what the iron would be at the e.m.f. that it found, by the law written down here once more,
until nothing moves. Nothing of the solver's arithmetic or parameters is used.
"""

import os
import shutil
import subprocess
from dataclasses import dataclass
from math import pi, sqrt, tanh
from pathlib import Path

import pytest

from drivers.simulated.circuit import OPPOSITION, Solution, Supplies, WiredPair, Wiring
from drivers.simulated.pair import pair_circuit
from drivers.simulated.truth import TrueUnit
from tests.drivers.simulated.scenario import nameplate_file, stand_file, truth_file

NAMEPLATE, TRUTH = nameplate_file(), truth_file()
OMEGA = 2 * pi * NAMEPLATE.frequency_hz
BRANCH_OHM = stand_file().lv_branch_ohm
# The link and the shorted turn of the solver's wiring states, ohm.
LINK = 0.0015 + 0.0005j
NOTHING = 1e15  # an insulation that only keeps a node from floating, ohm


@pytest.fixture(name="ngspice", scope="module")
def _ngspice() -> str:
    """Where ngspice is. Must be there in CI; elsewhere its absence skips."""
    found = shutil.which("ngspice")
    if found is None:
        reason = "ngspice is not installed (Debian: apt-get install ngspice)"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    return found


@dataclass(frozen=True)
class Case:
    """A state of the pair: wiring, open-circuit e.m.f.s (None: contactor open)."""

    name: str
    lv: float | None
    loop: float | None
    wiring: Wiring = OPPOSITION


PROVE_LV, HALF_LV, FULL_LV = 8.0, 100.0, 402.0
CASES = [
    Case("no load", FULL_LV, None),
    Case("no load at a quarter", HALF_LV, None),
    Case("no load in prove", PROVE_LV, None),
    Case("loaded", FULL_LV, 560.0),
    Case("circulating, loop regulator at zero", FULL_LV, 0.0),
    Case("prove", PROVE_LV, 540.0),
    Case("prove at a twentieth", PROVE_LV, 27.0),
    Case("aiding, gap open", FULL_LV, None, Wiring(aiding=True)),
    Case("aiding in prove, loop closed", PROVE_LV, 0.0, Wiring(aiding=True)),
    Case("aiding, loop fed", PROVE_LV, 135.0, Wiring(aiding=True)),
    Case("open HV lead, loop contactor closed", PROVE_LV, 135.0, Wiring(hv_lead_open=True)),
    Case("open LV lead of B", PROVE_LV, None, Wiring(lv_lead_open="b")),
    Case("open LV lead of B, loop fed", PROVE_LV, 135.0, Wiring(lv_lead_open="b")),
    Case("open LV lead of A, loop fed", PROVE_LV, 135.0, Wiring(lv_lead_open="a")),
    Case("tap one step different", FULL_LV, None, Wiring(tap_steps=1)),
    Case("tap one step different, loaded", PROVE_LV, 540.0, Wiring(tap_steps=1)),
    Case("shorted turn", HALF_LV, None, Wiring(shorted_turn_percent=5.0)),
    Case("shorted turn in prove, loop fed", PROVE_LV, 135.0, Wiring(shorted_turn_percent=3.0)),
    Case("link left on", PROVE_LV, None, Wiring(link_left_on=True)),
    Case("link left on, loop fed", PROVE_LV, 135.0, Wiring(link_left_on=True)),
    Case("bus live from the loop alone", None, 135.0),
    Case("bus live from the loop alone, aiding", None, 135.0, Wiring(aiding=True)),
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_agrees_with_ngspice(case: Case, ngspice: str, tmp_path: Path) -> None:
    """Every phasor that a meter or a judge looks at is ngspice's, to a millionth of its kind."""
    solved = WiredPair(pair_circuit(NAMEPLATE, TRUTH, BRANCH_OHM), case.wiring).solve(
        Supplies(
            None if case.lv is None else complex(case.lv),
            None if case.loop is None else complex(case.loop),
            lv_closed=case.lv is not None,
            loop_closed=case.loop is not None,
        )
    )
    found = _with_iron(case, ngspice, tmp_path)
    volts = max(abs(found["bus"]), abs(found["gap"]) / NAMEPLATE.ratio)
    amperes = max(abs(found["i_a"]), abs(found["i_b"]), abs(found["lv_supply"]))
    for name, ours in _of_interest(solved).items():
        theirs = found[name]
        scale = amperes / 100 if name in {"lv_supply", "i_a", "i_b"} else volts
        scale = amperes / NAMEPLATE.ratio if name == "loop" else scale
        # Relative to the phasor itself, or where it nearly cancels, to what it is made of.
        assert abs(ours - theirs) <= 1e-6 * max(abs(theirs), 1e-3 * scale), (name, ours, theirs)


def _of_interest(s: Solution) -> dict[str, complex]:
    names = ("bus", "lv_supply", "gap", "loop", "e_a", "e_b", "i_a", "i_b")
    return {name: getattr(s, name) for name in names}


def _with_iron(case: Case, ngspice: str, folder: Path) -> dict[str, complex]:
    """Run the netlist until its core branches suit the e.m.f.s that it finds."""
    y = [_iron(TRUTH.a, 1.0), _iron(TRUTH.b, 1.0)]
    for _ in range(60):
        found = _run(_netlist(case, y), ngspice, folder)
        new = [_iron(TRUTH.a, abs(found["e_a"])), _iron(TRUTH.b, abs(found["e_b"]))]
        moved = max(abs(n - o) / abs(o) for n, o in zip(new, y, strict=True))
        y = new
        if moved < 1e-9:
            return found
    raise AssertionError(f"the netlist did not settle: {case.name}")


def _iron(unit: TrueUnit, emf: float) -> complex:
    """The core branch at an e.m.f., G + jB with B the inductive part, by the stated law.

    At rated voltage an open-circuit test reads the true loss and current; loss goes with e.m.f. to
    its exponent (squared below a thousandth); permeability rises as 1/F + (1 - 1/F) tanh(4 x).
    """
    volts, r, x = NAMEPLATE.lv_voltage_v, *_lv_side(unit)
    amperes = unit.no_load_current_percent / 100 * NAMEPLATE.power_va / volts
    watts = unit.no_load_loss_w
    vars_ = sqrt((volts * amperes) ** 2 - watts**2)
    core_watts = watts - r * amperes**2
    core_vars = vars_ - x * amperes**2
    rated = sqrt(core_watts**2 + core_vars**2) / amperes
    share = emf / rated

    def permeability(at: float) -> float:
        return 1 / unit.low_flux_factor + (1 - 1 / unit.low_flux_factor) * tanh(4 * at)

    loss = core_watts / rated**2 * max(share, 1e-3) ** (unit.loss_exponent - 2)
    return complex(loss, core_vars / rated**2 * permeability(1.0) / permeability(share))


def _series(unit: TrueUnit) -> tuple[float, float, float, float]:
    """LV and HV direct-current resistance and additional resistance and reactance (HV), ohm."""
    room, n = TRUTH.room_temperature_c, NAMEPLATE.hv_voltage_v / NAMEPLATE.lv_voltage_v
    rated = NAMEPLATE.power_va / NAMEPLATE.hv_voltage_v
    lv = unit.lv_resistance_ohm * (235 + room) / 255
    hv = unit.hv_resistance_ohm * (235 + room) / 255
    at_75 = unit.additional_loss_w / rated**2
    r_75 = (unit.lv_resistance_ohm * n**2 + unit.hv_resistance_ohm) * 310 / 255 + at_75
    z = unit.impedance_percent / 100 * NAMEPLATE.hv_voltage_v / rated
    return lv, hv, at_75 * 310 / (235 + room), sqrt(z**2 - r_75**2)


def _lv_side(unit: TrueUnit) -> tuple[float, float]:
    """Series resistance and reactance of a unit's LV side, ohm."""
    lv, _, additional, x = _series(unit)
    n = NAMEPLATE.hv_voltage_v / NAMEPLATE.lv_voltage_v
    return lv + additional / 2 / n**2, x / 2 / n**2


def _netlist(case: Case, y: list[complex]) -> str:
    """The pair as drawn: loop current counted from B2 through B1, A1 and A2 to the supply."""
    d, n = TRUTH.ratio_mismatch_percent / 100, NAMEPLATE.hv_voltage_v / NAMEPLATE.lv_voltage_v
    tap = 1 + case.wiring.tap_steps * NAMEPLATE.tap_step_percent / 100
    sense = -1 if case.wiring.aiding else 1
    open_lead = case.wiring.lv_lead_open
    lines = ["pair", f"rbus bus 0 {NOTHING}", f"rj junction 0 {NOTHING}", f"rb2 b2 0 {NOTHING}"]
    lines += _unit("a", TRUTH.a, n * (1 + d / 2), y[0], (("junction_a", "a2"), open_lead == "a"))
    ends = ("junction", "b2") if sense == 1 else ("b2", "junction")
    turn = case.wiring.shorted_turn_percent
    lines += _unit("b", TRUTH.b, n * (1 - d / 2) * tap, y[1], (ends, open_lead == "b"), turn)
    # The HV lead between the joined line ends, and the earth at one side of the gap.
    lines += (
        ["vloop junction junction_a 0"]
        if not case.wiring.hv_lead_open
        else [
            "vloop junction lead_end 0",
            f"rlead lead_end 0 {NOTHING}",
            f"rja junction_a 0 {NOTHING}",
        ]
    )
    lines += ["vearth a2 0 0"]
    lines += _lv_supply(case) + _loop_supply(case)
    if case.wiring.link_left_on:
        lines += [f"rlink bus link {LINK.real!r}", f"llink link 0 {LINK.imag / OMEGA!r}"]
    return "\n".join(lines)


def _unit(
    k: str,
    unit: TrueUnit,
    ratio: float,
    y: complex,
    wired: tuple[tuple[str, str], bool],
    turn: float | None = None,
) -> list[str]:
    """One unit: `wired` is its HV terminals (line end first) and whether its LV lead is open."""
    (line, neutral), lead_open = wired
    lv, hv, additional, x = _series(unit)
    n = NAMEPLATE.hv_voltage_v / NAMEPLATE.lv_voltage_v
    lines = [
        f"vlv{k} {'bus' if not lead_open else 'open_' + k} in_{k} 0",
        f"rin{k} in_{k} 0 {NOTHING}",
        f"rbr{k} in_{k} w1_{k} {BRANCH_OHM!r}",
        f"rlv{k} w1_{k} w2_{k} {lv!r}",
        f"radd{k} w2_{k} w3_{k} {additional / 2 / n**2!r}",
        f"llv{k} w3_{k} t_{k} {x / 2 / n**2 / OMEGA!r}",
        f"rc{k} t_{k} 0 {1 / y.real!r}",
        f"lm{k} t_{k} 0 {1 / y.imag / OMEGA!r}",
        # The ideal ratio: voltage forward, current back.
        f"e{k} h1_{k} h0_{k} t_{k} 0 {ratio!r}",
        f"vs{k} h0_{k} {neutral} 0",
        f"f{k} t_{k} 0 vs{k} {-ratio!r}",
        f"rhv{k} h1_{k} h2_{k} {hv!r}",
        f"rah{k} h2_{k} h3_{k} {additional / 2!r}",
        f"lhv{k} h3_{k} {line} {x / 2 / OMEGA!r}",
    ]
    if turn is not None:
        part = turn / 100 * NAMEPLATE.lv_voltage_v**2 / NAMEPLATE.power_va / sqrt(2)
        lines += [f"rturn t_{k} turn {part!r}", f"lturn turn 0 {part / OMEGA!r}"]
    return lines


def _lv_supply(case: Case) -> list[str]:
    if case.lv is None:
        return ["vsup sup bus 0", f"rsup sup 0 {NOTHING}"]
    z = TRUTH.lv_supply
    return [
        f"vlv lv 0 dc 0 ac {case.lv!r}",
        f"rs lv lv1 {z.resistance_ohm!r}",
        f"ls lv1 lv2 {z.reactance_ohm / OMEGA!r}",
        "vsup lv2 bus 0",
    ]


def _loop_supply(case: Case) -> list[str]:
    if case.loop is None:
        return []
    z = TRUTH.loop_supply
    return [
        f"vaux aux a2 dc 0 ac {case.loop!r}",
        f"rz aux aux1 {z.resistance_ohm!r}",
        f"lz aux1 b2 {z.reactance_ohm / OMEGA!r}",
    ]


OBSERVED = {
    "bus": "v(bus)",
    "lv_supply": "i(vsup)",
    "gap": "v(b2)",
    "loop": "i(vloop)",
    "e_a": "v(t_a)",
    "e_b": "v(t_b)",
    "i_a": "i(vlva)",
    "i_b": "i(vlvb)",
}


def _run(netlist: str, ngspice: str, folder: Path) -> dict[str, complex]:
    deck, out = folder / "pair.cir", folder / "pair.out"
    frequency = repr(NAMEPLATE.frequency_hz)
    control = [
        ".options gmin=1e-18 reltol=1e-9",
        ".control",
        "set numdgt=15",
        "set wr_singlescale",
        f"ac lin 1 {frequency} {frequency}",
        f"wrdata {out} {' '.join(OBSERVED.values())}",
        ".endc",
        ".end",
    ]
    deck.write_text("\n".join([netlist, *control]) + "\n")
    done = subprocess.run(
        [ngspice, "-b", str(deck)], capture_output=True, text=True, timeout=60, check=False
    )
    assert out.exists(), done.stdout + done.stderr
    numbers = [float(word) for word in out.read_text().split()][1:]
    pairs = zip(numbers[0::2], numbers[1::2], strict=True)
    return {name: complex(re, im) for name, (re, im) in zip(OBSERVED, pairs, strict=True)}
