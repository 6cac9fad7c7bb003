"""What a pair truly is, and how far results may be from it: classes of the meters and method.

Truth comes from the simulated circuit alone, never from the reduction under test. A bound is the
linear sum of

- class: the limits of error of every meter that a result rests on, at what it read, with noise;
- method: what the balance method and the prove stage leave even with perfect meters.

Derivations stand at each bound; none looks at the result that it bounds.
"""

import math
from typing import NamedTuple

from acquire.configuration import Scenario
from calculation.readings import LoadMeans, LossReadings, ProveMeans
from drivers.simulated.pair import unit_circuit
from drivers.simulated.truth import TrueUnit
from sequences.expected import Expected

RAMPED_WITHIN = 0.002  # of rated: how far a ramp may leave a reading from what was wanted


class Truth(NamedTuple):
    """Of one unit, or the mean of both: W, W, percent."""

    no_load_loss_w: float
    load_loss_w: float
    impedance_percent: float


def true_unit(scenario: Scenario, unit: TrueUnit) -> Truth:
    """Return one unit alone, tested at its own terminals with its windings as warm as the room.

    Open-circuit loss at rated voltage, short-circuit loss and impedance at rated current.
    """
    plate = scenario.pair.nameplate
    alone = unit_circuit(plate, unit, plate.ratio, scenario.truth.room_temperature_c)
    emf = complex(plate.lv_voltage_v)
    for _ in range(50):
        emf = plate.lv_voltage_v / (1 + alone.z_lv * alone.core.admittance(abs(emf)))
    current = alone.core.admittance(abs(emf)) * emf
    z = alone.short_circuit_impedance(plate.hv_current_a)
    return Truth(
        plate.lv_voltage_v * current.real,
        z.real * plate.hv_current_a**2,
        100 * abs(z) * plate.hv_current_a / plate.hv_voltage_v,
    )


def true_mean(scenario: Scenario) -> Truth:
    """Return the mean of both units, each alone."""
    units = [true_unit(scenario, unit) for unit in (scenario.truth.a, scenario.truth.b)]
    return Truth(*(sum(pair) / 2 for pair in zip(*units, strict=True)))


class Bounds:
    """How far each result may be from the truth, relative."""

    def __init__(self, scenario: Scenario, expected: Expected, readings: LossReadings) -> None:
        self._plate = scenario.pair.nameplate
        self._truth = scenario.truth
        self._noise = 4 * max(i.noise_percent for i in self._truth.instrument.values()) / 100
        self._expected = expected
        self._readings = readings
        true = true_mean(scenario)
        self._p0, self._p_k = true.no_load_loss_w, true.load_loss_w

    def _of(self, channel: str, value: float) -> float:
        """Relative limit of error of a reading, four sigma of noise with it."""
        return self._expected.error_of(channel, value) / abs(value) + self._noise

    def no_load_loss(self) -> float:
        """P0 = W/2 (U_r/U')^n (1 + (U' - U)/U').

        Class: W once, U' n times from the power and once from the wave shape, U once; n itself,
        from two powers and two voltages a tenth apart, times what the ramp left of U_r/U'.
        """
        no_load, n = self._readings.no_load, self._readings.loss_exponent
        power = self._of("lv.power.1", no_load.power_w)
        mean = self._of("lv.voltage_mean.1", no_load.voltage_mean_v)
        rms = self._of("lv.voltage.1", no_load.voltage_v)
        return power + (n + 1) * mean + rms + RAMPED_WITHIN * self._exponent()

    def _exponent(self) -> float:
        """n = ln(W/W_short) / ln(U'/U'_short) with the voltages a tenth apart."""
        no_load, n = self._readings.no_load, self._readings.loss_exponent
        power = self._of("lv.power.1", no_load.power_w)
        power += self._of("lv.power.1", no_load.power_w * math.pow(0.9, n))
        voltage = self._of("lv.voltage_mean.1", 0.9 * no_load.voltage_mean_v)
        return (power + 2 * n * voltage) / math.log(1 / 0.9)

    def load_loss(self) -> float:
        """P_k by the balance method, at rated current."""
        return self._balance(self._readings.load) + self._core_under_load() + self._twins()

    def _balance(self, load: LoadMeans | ProveMeans) -> float:
        """Class: W_HV and both W_LV, half of their sum; I squared; n where the voltages differ."""
        no_load = self._readings.no_load
        power = self._of("hv.power.1", load.hv_power_w) * abs(load.hv_power_w)
        power += self._of("lv.power.1", load.lv_power_w) * abs(load.lv_power_w)
        share = load.lv_voltage_v / no_load.voltage_v
        n = self._readings.loss_exponent
        subtracted = no_load.power_w * math.pow(share, n)
        relative = self._of("lv.power.1", no_load.power_w)
        relative += 2 * n * self._of("lv.voltage.1", load.lv_voltage_v)
        relative += abs(math.log(share)) * self._exponent()
        power += relative * subtracted
        return power / 2 / self._p_k + 2 * self._of("hv.current.1", load.hv_current_a)

    def _core_under_load(self) -> float:
        """Method: under load the cores see 1 -/+ u_k/2 of rated e.m.f. at some angle.

        Their mean loss then rises by (u_k/2)^2 times n(n-1)/2 in phase or n/2 at right angles, and
        a short-circuit test has in it what the core loses at u_k/2, which is (u_k/2)^n of P0.
        """
        half = self._plate.impedance_percent / 200
        exponents = (self._truth.a.loss_exponent, self._truth.b.loss_exponent)
        rises = [half**2 * max(n * (n - 1), n) / 2 + math.pow(half, n) for n in exponents]
        return self._p0 / self._p_k * max(rises)

    def _twins(self) -> float:
        """Method: what is of first order in one unit cancels in two only as far as they are twins.

        LV windings carry I0 +/- n I, of which 2 I0 n I R_lv is of first order; a core loses
        n u_k/2 P0 more where the other loses as much less. Half of each difference remains. At
        most 35 degC the d.c. resistance is within 1.1 of that at 20 degC; all of the additional
        loss is counted as if it stood on the LV side.
        """
        plate, a, b = self._plate, self._truth.a, self._truth.b
        half = plate.impedance_percent / 200
        squared = [
            u.no_load_current_percent
            / 100
            * (u.lv_resistance_ohm * plate.lv_current_a**2 * 1.1 + u.additional_loss_w)
            for u in (a, b)
        ]
        cores = [u.loss_exponent * half * u.no_load_loss_w for u in (a, b)]
        return (abs(squared[0] - squared[1]) + abs(cores[0] - cores[1]) / 2) / self._p_k

    def impedance(self) -> float:
        """u_k: X from the prove stage, R from the load readings.

        Class: U and I of the prove stage; both load losses by their share of Z^2. Method: the gap
        that the mismatch leaves at the prove stage's LV voltage, against 2 u_k.
        """
        prove, plate = self._readings.prove, self._plate
        assert prove is not None
        relative = self._of("hv.voltage.1", prove.hv_voltage_v)
        relative += self._of("hv.current.1", prove.hv_current_a)
        resistance = 100 * self._p_k / plate.power_va / plate.impedance_percent
        relative += resistance**2 * (
            self._balance(prove) + self.load_loss() + self._core_under_load() + self._twins()
        )
        d = abs(self._truth.ratio_mismatch_percent) / 100
        gap = d * prove.lv_voltage_v / plate.lv_voltage_v
        return relative + gap / (2 * plate.impedance_percent / 100)
