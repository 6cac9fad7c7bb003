"""How often the stated 95 % intervals hold the truth: simulated pairs, circuit and meters alone.

Every pair has a nameplate, units, mismatch, leads, phase of the loop current and meters of its
own, all drawn; each meter's fixed errors, and those of temperatures and d.c. resistances, are
drawn once a pair within their limits. Run as a script it prints the figures of 2000 pairs.
"""

from cmath import rect
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import log10, pi
from random import Random

from calculation.loss_budget import Allowance, LossTest, loss_model, loss_sources
from calculation.loss_test import LoadMeans, LossReadings, NoLoadMeans, ProveMeans
from calculation.meters import Instruments, MeterLimits
from calculation.nameplate import Nameplate, Resistances
from calculation.uncertainty import propagate
from drivers.simulated.circuit import PairCircuit, Solution, Supplies, WiredPair, Wiring
from drivers.simulated.pair import pair_circuit, unit_circuit
from drivers.simulated.truth import TrueSupply, TrueUnit, Truth

QUANTITIES = {
    "no_load_loss_w": "P0",
    "load_loss_reference_w": "P_k",
    "impedance_reference_percent": "u_k",
}
CHANNELS: dict[str, Callable[[Solution], float]] = {
    "lv.voltage": lambda s: abs(s.bus),
    "lv.voltage_mean": lambda s: abs(s.bus),
    "lv.current": lambda s: abs(s.lv_supply),
    "lv.power": lambda s: s.lv_power,
    "hv.voltage": lambda s: abs(s.hv_voltage),
    "hv.current": lambda s: abs(s.loop),
    "hv.power": lambda s: s.hv_power,
    "series.voltage": lambda s: abs(s.gap),
}
ALLOWANCE = Allowance()


@dataclass(frozen=True)
class Coverage:
    """How many of `pairs` intervals held the truth, by quantity, and what their factors were."""

    pairs: int
    held: dict[str, int]
    mean_factor: dict[str, float]

    def percent(self, quantity: str) -> float:
        """Share of intervals that held the truth, percent."""
        return 100 * self.held[quantity] / self.pairs


@dataclass(frozen=True)
class DrawnPair:
    """One simulated pair: what its plate says, what it truly is, how it is measured."""

    nameplate: Nameplate
    truth: Truth
    lv_branch_ohm: float
    winding_c: float
    angle: float


def coverage(pairs: int = 2000, seed: int = 1) -> Coverage:
    """Measure `pairs` simulated pairs and count the intervals that hold the truth."""
    held = dict.fromkeys(QUANTITIES, 0)
    factors = dict.fromkeys(QUANTITIES, 0.0)
    for number in range(pairs):
        rng = Random(f"{seed}/{number}")
        drawn = drawn_pair(rng)
        test, instruments = measured(drawn, rng)
        sources = loss_sources(test, instruments, ALLOWANCE)
        budgets = propagate(sources, loss_model(test, instruments), wanted=list(QUANTITIES)).budgets
        for name, true in true_values(drawn).items():
            budget = budgets[name]
            held[name] += abs(budget.value - true) <= budget.expanded
            factors[name] += budget.factor / pairs
    return Coverage(pairs, held, factors)


def drawn_pair(rng: Random) -> DrawnPair:
    """A random pair: 5 kVA to 5 MVA, u_k 3 to 12 %, I0 0.3 to 8 %, mismatch to the limit of r."""
    power = 10 ** rng.uniform(log10(5e3), log10(5e6))
    lv, hv = rng.choice([(230.0, 3300.0), (400.0, 6600.0), (690.0, 11e3), (3300.0, 33e3)])
    u_k = rng.uniform(3, 12)
    i_0 = 10 ** rng.uniform(log10(0.3), log10(8))
    load_loss = power * u_k / 100 * rng.uniform(0.1, 0.6)
    no_load_loss = power * i_0 / 100 * rng.uniform(0.1, 0.6)
    nameplate = Nameplate(power, lv, hv, 50.0, u_k, i_0, no_load_loss, load_loss)
    additional = rng.uniform(0.02, 0.15)
    iron = rng.uniform(1.8, 2.6), rng.uniform(1, 10)
    units = [_unit(rng, nameplate, additional, iron) for _ in range(2)]
    r_limit = min(0.5, u_k / 10)
    rated_lv = lv / nameplate.lv_current_a
    truth = Truth(
        room_temperature_c=20.0,
        ratio_mismatch_percent=rng.uniform(-2, 2) * r_limit * 0.5,
        a=units[0],
        b=units[1],
        lv_supply=TrueSupply(0.002 * rated_lv, 0.01 * rated_lv),
        loop_supply=TrueSupply(0.001, 0.01),
        contactor_close_s=0.1,
        contactor_open_s=0.1,
        instrument={},
    )
    leads = rng.uniform(0, 0.1) * load_loss / nameplate.lv_current_a**2
    return DrawnPair(nameplate, truth, leads, rng.uniform(18, 35), rng.uniform(-pi, pi))


def true_values(drawn: DrawnPair) -> dict[str, float]:
    """Mean of the two units, each short-circuited alone with the iron as at rated flux."""
    plate, sums = drawn.nameplate, dict.fromkeys(QUANTITIES, 0.0)
    for unit in (drawn.truth.a, drawn.truth.b):
        circuit = unit_circuit(plate, unit, plate.ratio, plate.reference_temperature_c)
        iron = replace(circuit.core, loss_exponent=2.0, low_flux_factor=1.0)
        circuit = replace(circuit, core=iron)
        z = circuit.short_circuit_impedance(plate.hv_current_a)
        sums["no_load_loss_w"] += unit.no_load_loss_w / 2
        sums["load_loss_reference_w"] += z.real * plate.hv_current_a**2 / 2
        percent = 100 * plate.power_va / plate.hv_voltage_v**2
        sums["impedance_reference_percent"] += abs(z) * percent / 2
    return sums


def measured(drawn: DrawnPair, rng: Random) -> tuple[LossTest, Instruments]:
    """The loss test of a drawn pair as meters with errors read it."""
    plate = drawn.nameplate
    circuit = pair_circuit(plate, drawn.truth, drawn.lv_branch_ohm, drawn.winding_c)
    rated, half = plate.lv_voltage_v, plate.impedance_percent / 200 * plate.lv_voltage_v
    states = {
        "no_load": _state(circuit, rated, None),
        "load": _state(circuit, rated, drawn),
        "prove": _state(circuit, half, drawn),
    }
    meters = _meters(rng, states)
    read = _readings(rng, states, meters)
    mean_a, mean_b = drawn.truth.a, drawn.truth.b
    kelvin = rng.uniform(-1, 1) * ALLOWANCE.winding_temperature_k
    exponent = (mean_a.loss_exponent + mean_b.loss_exponent) / 2
    readings = LossReadings(
        no_load=NoLoadMeans(
            *(read["no_load"][c] for c in ("lv.voltage", "lv.voltage_mean")),
            *(read["no_load"][c] for c in ("lv.current", "lv.power")),
        ),
        load=LoadMeans(*_loop(read["load"])),
        prove=ProveMeans(*_loop(read["prove"])),
        series_voltage_v=max(0.0, read["no_load"]["series.voltage"]),
        loss_exponent=exponent + rng.uniform(-1, 1) * ALLOWANCE.exponent,
        winding_temperature_c=drawn.winding_c + kelvin,
        prove_temperature_c=drawn.winding_c + kelvin,
    )

    def resistance(a: float, b: float) -> float:
        return (a + b) / 2 * (1 + rng.uniform(-1, 1) * ALLOWANCE.resistance_percent / 100)

    resistances = Resistances(
        resistance(mean_a.lv_resistance_ohm, mean_b.lv_resistance_ohm),
        resistance(mean_a.hv_resistance_ohm, mean_b.hv_resistance_ohm),
        20.0 + rng.uniform(-1, 1) * ALLOWANCE.resistance_temperature_k,
    )
    leads = drawn.lv_branch_ohm * (1 + rng.uniform(-1, 1) * ALLOWANCE.lv_branch_percent / 100)
    return LossTest(readings, plate, resistances, leads), Instruments(meters)


def _unit(rng: Random, plate: Nameplate, additional: float, iron: tuple[float, float]) -> TrueUnit:
    """One of the twins: apart from the other by 5 % at most, of the same iron."""

    def near(value: float) -> float:
        return value * rng.uniform(0.975, 1.025)

    ohmic = plate.load_loss_w * (1 - additional) * 255 / 310
    return TrueUnit(
        no_load_loss_w=near(plate.no_load_loss_w),
        no_load_current_percent=near(plate.no_load_current_percent),
        lv_resistance_ohm=near(ohmic / 2 / plate.lv_current_a**2),
        hv_resistance_ohm=near(ohmic / 2 / plate.hv_current_a**2),
        additional_loss_w=near(additional * plate.load_loss_w),
        impedance_percent=near(plate.impedance_percent),
        loss_exponent=iron[0] + rng.uniform(-0.05, 0.05),
        low_flux_factor=near(iron[1]) + 0.03,
    )


def _state(circuit: PairCircuit, lv_v: float, loop: DrawnPair | None) -> Solution:
    """The pair with its bus at `lv_v` and, where a loop is given, rated current in it."""
    pair = WiredPair(circuit, Wiring())
    lv = complex(lv_v)
    if loop is None:
        return pair.solve(Supplies(lv, None, lv_closed=True, loop_closed=False))
    # The loop current follows its e.m.f. in a straight line but for the iron: two trials show it.
    rated = rect(loop.nameplate.hv_current_a, loop.angle)
    trial = 2 * loop.nameplate.impedance_ohm * rated
    without, with_trial = (
        pair.solve(Supplies(lv, emf, lv_closed=True, loop_closed=True)) for emf in (0j, trial)
    )
    wanted = (rated - without.loop) * trial / (with_trial.loop - without.loop)
    return pair.solve(Supplies(lv, wanted, lv_closed=True, loop_closed=True))


def _meters(rng: Random, states: Mapping[str, Solution]) -> dict[str, MeterLimits]:
    """Meters of a random class, each on a range that holds every stage."""
    meters = {}
    share = {side: 10 ** rng.uniform(-1.7, -0.7) for side in ("lv", "hv", "series")}
    for channel, take in CHANNELS.items():
        largest = max(abs(take(states[stage])) for stage in ("no_load", "load", "prove"))
        side = channel.split(".", maxsplit=1)[0]
        reading, of_range = share[side], share[side] * rng.uniform(0.2, 1)
        meters[channel] = MeterLimits(reading, of_range, largest * rng.uniform(1.05, 2.5))
    return meters


def _readings(
    rng: Random, states: Mapping[str, Solution], meters: Mapping[str, MeterLimits]
) -> dict[str, dict[str, float]]:
    """What the meters read, their fixed errors drawn once for all stages."""
    gain = {c: rng.uniform(-1, 1) * m.reading_percent / 100 for c, m in meters.items()}
    offset = {
        c: rng.uniform(-1, 1) * m.range_percent / 100 * m.range_value for c, m in meters.items()
    }
    return {
        stage: {c: take(state) * (1 + gain[c]) + offset[c] for c, take in CHANNELS.items()}
        for stage, state in states.items()
    }


def _loop(read: Mapping[str, float]) -> tuple[float, float, float, float, float]:
    return (
        read["hv.voltage"],
        read["hv.current"],
        read["hv.power"],
        read["lv.voltage"],
        read["lv.power"],
    )


if __name__ == "__main__":
    found = coverage()
    for name, symbol in QUANTITIES.items():
        print(
            f"{symbol:4s} {found.percent(name):6.2f} % of {found.pairs} intervals hold the truth,"
            f" mean factor {found.mean_factor[name]:.2f}"
        )
