"""The pair's circuit, solved in phasors: the full T-circuits of both units and the loop.

Each unit is its LV series impedance, the core branch at the T point, an ideal ratio and its HV
series impedance; leads run from the LV bus to each unit; both sources stand behind impedances of
their own. Phasors are r.m.s., plain complex numbers, at rated frequency.

The loop current J enters unit B at B2, leaves it at B1, crosses to A1 and returns from A2; the gap
is counted from B2 to A2. With sense -1 for A and +1 for B in opposition (-1 when aiding), a unit of
ratio n obeys

    E = V - z_lv i,    i = Y(E) E + sense n J,    gap = J (z_hv,A + z_hv,B) - sum of sense n E

so that for given core admittances two linear equations in V and J remain; the admittances then
follow the e.m.f.s until nothing moves.
"""

from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

from drivers.simulated.iron import CoreBranch, leap

# Relative, of both core admittances. Fed from the bus they settle in three to five plain steps;
# driven by the loop's current alone they creep or swing, which leaps end, and half steps the rest.
SETTLED = 1e-11
PLAIN_STEPS = 12
LEAPING_STEPS = 90
MOST_STEPS = 800


@dataclass(frozen=True, slots=True)
class UnitCircuit:
    """The T-circuit of one unit: `ratio` HV/LV, series impedances in ohm on their own sides."""

    ratio: float
    z_lv: complex
    z_hv: complex
    core: CoreBranch

    def short_circuit_impedance(self, hv_current: float) -> complex:
        """Return the impedance seen from HV with LV shorted, ohm, at `hv_current` ampere."""
        y = self.core.admittance(0.0)
        for _ in range(MOST_STEPS):
            inner = 1 / (y + 1 / self.z_lv)
            before, y = y, self.core.admittance(abs(inner) * self.ratio * hv_current)
            if abs(y - before) <= SETTLED * abs(y):
                break
        return self.z_hv + self.ratio**2 / (y + 1 / self.z_lv)


@dataclass(frozen=True, slots=True)
class PairCircuit:
    """Both units and what feeds them; impedances in ohm.

    `z_branch` is the leads from the LV bus to one unit and back, `z_link` an earthing or short
    link across the bus where one was left on, `rated_lv` the rated impedance of one unit, LV side.
    """

    a: UnitCircuit
    b: UnitCircuit
    z_branch: complex
    z_lv_source: complex
    z_loop_source: complex
    rated_lv: float
    tap_step: float = 0.025
    z_link: complex = 0.0015 + 0.0005j


@dataclass(frozen=True, slots=True)
class Wiring:
    """How the pair is connected, and what is wrong with it.

    `tap_steps` is how many steps unit B stands above unit A. `shorted_turn_percent` is the
    impedance that a shorted turn puts across unit B's core branch, in percent of rated.
    """

    aiding: bool = False
    hv_lead_open: bool = False
    lv_lead_open: Literal["", "a", "b"] = ""
    link_left_on: bool = False
    tap_steps: int = 0
    shorted_turn_percent: float | None = None

    def interchanged(self) -> "Wiring":
        """Return the wiring after one unit's secondary has been interchanged."""
        return replace(self, aiding=not self.aiding)


OPPOSITION = Wiring()

# The names that the command line knows.
WIRINGS = {
    "opposition": OPPOSITION,
    "aiding": Wiring(aiding=True),
    "open-lead": Wiring(hv_lead_open=True),
    "open-lv-lead": Wiring(lv_lead_open="b"),
}


class Supplies(NamedTuple):
    """Both sources as open-circuit e.m.f.s, V, None where none is there, and their contactors."""

    lv_emf: complex | None
    loop_emf: complex | None
    lv_closed: bool
    loop_closed: bool


class Solution(NamedTuple):
    """What truly is: phasors in V and A.

    `bus` and `lv_supply` are what the LV analyser sees, `gap` what the series voltmeter sees,
    `hv_voltage` and `loop` what the HV analyser sees; `i_a` and `i_b` flow in the LV windings,
    `e_a` and `e_b` are the e.m.f.s at the T points (LV side), `y_a` and `y_b` the core branches'
    admittances there, a shorted turn included.
    """

    bus: complex
    lv_supply: complex
    gap: complex
    hv_voltage: complex
    loop: complex
    e_a: complex
    e_b: complex
    i_a: complex
    i_b: complex
    y_a: complex
    y_b: complex

    @property
    def lv_power(self) -> float:
        """Active power from the LV supply, W."""
        return (self.bus * self.lv_supply.conjugate()).real

    @property
    def hv_power(self) -> float:
        """Active power from the auxiliary supply into the loop, W."""
        return (self.hv_voltage * self.loop.conjugate()).real


@dataclass(frozen=True, slots=True)
class _Branch:
    """One unit as it is wired: sense and ratio of the loop current in it, what hangs on its T."""

    n: float  # with the sense
    z: complex  # from the bus to the T point
    lv_open: bool
    core: CoreBranch
    y_turn: complex = 0j

    def admittance(self, emf: float) -> complex:
        """Return what hangs on the T point, siemens, at an e.m.f. in V."""
        return self.core.admittance(emf) + self.y_turn

    def transfer(self, y: complex) -> tuple[complex, complex]:
        """Return p and q of E = p V + q J."""
        if self.lv_open:
            return 0j, -self.n / y
        p = 1 / (1 + self.z * y)
        return p, -self.z * self.n * p


@dataclass(slots=True)
class WiredPair:
    """A pair in one state of wiring, ready to be solved for any supplies."""

    pair: PairCircuit
    wiring: Wiring
    _a: _Branch = field(init=False)
    _b: _Branch = field(init=False)
    _z_hv: complex = field(init=False)
    _y_link: complex = field(init=False)

    def __post_init__(self) -> None:
        pair, wiring = self.pair, self.wiring
        n_b = pair.b.ratio * (1 + wiring.tap_steps * pair.tap_step)
        turn = wiring.shorted_turn_percent
        # A shorted turn's own resistance and leakage are taken as equal.
        y_turn = 0j if turn is None else 1 / (turn / 100 * pair.rated_lv * (1 + 1j) / 2**0.5)
        z_a, z_b = pair.z_branch + pair.a.z_lv, pair.z_branch + pair.b.z_lv
        self._a = _Branch(-pair.a.ratio, z_a, wiring.lv_lead_open == "a", pair.a.core)
        sense_b = -n_b if wiring.aiding else n_b
        self._b = _Branch(sense_b, z_b, wiring.lv_lead_open == "b", pair.b.core, y_turn)
        self._z_hv = pair.a.z_hv + pair.b.z_hv
        self._y_link = 1 / pair.z_link if wiring.link_left_on else 0j

    def solve(self, supplies: Supplies) -> Solution:
        """Return the phasors. Raises ArithmeticError when the iron doesn't settle."""
        a, b = self._a, self._b
        guess = abs(supplies.lv_emf) if supplies.lv_closed and supplies.lv_emf else 0.0
        y_a, y_b = a.admittance(guess), b.admittance(guess)
        trail: list[tuple[float, float]] = []
        for step in range(MOST_STEPS):
            solution = self._linear(supplies, y_a, y_b)
            e_a, e_b = abs(solution.e_a), abs(solution.e_b)
            new_a, new_b = a.admittance(e_a), b.admittance(e_b)
            if abs(new_a - y_a) <= SETTLED * abs(y_a) and abs(new_b - y_b) <= SETTLED * abs(y_b):
                return solution
            trail.append((e_a, e_b))
            if step > LEAPING_STEPS:
                new_a, new_b = (new_a + y_a) / 2, (new_b + y_b) / 2
            elif step > PLAIN_STEPS and len(trail) > 2:
                e_a, e_b = (leap(*emfs) for emfs in zip(*trail[-3:], strict=True))
                new_a, new_b = a.admittance(e_a), b.admittance(e_b)
                trail = [(e_a, e_b)]
            y_a, y_b = new_a, new_b
        raise ArithmeticError(f"core branches did not settle: {self.wiring}, {supplies}")

    def _linear(self, supplies: Supplies, y_a: complex, y_b: complex) -> Solution:
        a, b = self._a, self._b
        p_a, q_a = a.transfer(y_a)
        p_b, q_b = b.transfer(y_b)
        lv_emf = supplies.lv_emf if supplies.lv_closed else None
        joined = supplies.loop_closed and not self.wiring.hv_lead_open
        loop_emf = supplies.loop_emf if joined else None
        forward = a.n * p_a + b.n * p_b
        y_bus = y_a * p_a + y_b * p_b + self._y_link
        z_inner = self._z_hv - a.n * q_a - b.n * q_b
        v, j = self._bus_and_loop(lv_emf, loop_emf, y_bus, forward, z_inner)
        e_a, e_b = p_a * v + q_a * j, p_b * v + q_b * j
        i_a = 0j if a.lv_open else y_a * e_a + a.n * j
        i_b = 0j if b.lv_open else y_b * e_b + b.n * j
        supply = 0j if lv_emf is None else i_a + i_b + self._y_link * v
        if loop_emf is not None:
            gap = loop_emf - self.pair.z_loop_source * j
        else:
            gap = self._open_gap(supplies, e_a, e_b)
        hv = gap if supplies.loop_closed else supplies.loop_emf or 0j
        return Solution(v, supply, gap, hv, j, e_a, e_b, i_a, i_b, y_a, y_b)

    def _bus_and_loop(
        self,
        lv_emf: complex | None,
        loop_emf: complex | None,
        y_bus: complex,
        forward: complex,
        z_inner: complex,
    ) -> tuple[complex, complex]:
        """Solve (1 + z_s y) V + z_s f J = E_s and (z_l + z_inner) J - f V = E_l."""
        z_lv, z_loop = self.pair.z_lv_source, self.pair.z_loop_source + z_inner
        if loop_emf is None:
            return (0j if lv_emf is None else lv_emf / (1 + z_lv * y_bus)), 0j
        if lv_emf is None:
            # The bus floats: what one unit's LV gives, the other's takes.
            back = forward / y_bus if y_bus else 0j
            j = loop_emf / (z_loop + forward * back)
            return -back * j, j
        own, across = 1 + z_lv * y_bus, z_lv * forward
        determinant = own * z_loop + across * forward
        v = (lv_emf * z_loop - across * loop_emf) / determinant
        return v, (own * loop_emf + forward * lv_emf) / determinant

    def _open_gap(self, supplies: Supplies, e_a: complex, e_b: complex) -> complex:
        if self.wiring.hv_lead_open:
            # Nothing but the auxiliary supply reaches the gap; without it the gap floats at nought.
            return (supplies.loop_emf or 0j) if supplies.loop_closed else 0j
        return -(self._a.n * e_a + self._b.n * e_b)
