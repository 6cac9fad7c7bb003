"""What stands between the plant and a reading: transformers, classes, the wattmeter's own take.

IEC 61869: ratio error is positive when the secondary reads high, phase displacement positive when
the secondary leads. Class limits: CT transcribed, VT from memory.
"""

from bisect import bisect_left
from dataclasses import dataclass
from math import pi

from calculation.errors import ImpossibleReading, everywhere, nominal
from calculation.number import N

MINUTE = pi / 180 / 60

# Percent of rated current, ratio error in percent, displacement in minutes.
CT_LIMITS: dict[str, tuple[tuple[float, float, float], ...]] = {
    "0.1": ((5, 0.4, 15), (20, 0.2, 8), (100, 0.1, 5), (120, 0.1, 5)),
    "0.2": ((5, 0.75, 30), (20, 0.35, 15), (100, 0.2, 10), (120, 0.2, 10)),
    "0.5": ((5, 1.5, 90), (20, 0.75, 45), (100, 0.5, 30), (120, 0.5, 30)),
    "1": ((5, 3.0, 180), (20, 1.5, 90), (100, 1.0, 60), (120, 1.0, 60)),
    "0.2S": ((1, 0.75, 30), (5, 0.35, 15), (20, 0.2, 10), (100, 0.2, 10), (120, 0.2, 10)),
    "0.5S": ((1, 1.5, 90), (5, 0.75, 45), (20, 0.5, 30), (100, 0.5, 30), (120, 0.5, 30)),
}

# Ratio error in percent and displacement in minutes, 80 to 120 % of rated voltage.
VT_LIMITS: dict[str, tuple[float, float]] = {
    "0.1": (0.1, 5),
    "0.2": (0.2, 10),
    "0.5": (0.5, 20),
    "1": (1.0, 40),
}


@dataclass(frozen=True, slots=True)
class Limits:
    """What a class allows: ratio error, percent, and phase displacement, minutes of arc."""

    ratio_percent: float
    displacement_minutes: float


@dataclass(frozen=True, slots=True)
class Transformer:
    """A VT or CT as its certificate has it: nominal ratio, ratio error, displacement."""

    ratio: float = 1.0
    error_percent: float = 0.0
    displacement_minutes: float = 0.0

    def primary(self, secondary: N) -> N:
        """What stands on the primary side when the secondary reads this."""
        return secondary * (self.ratio / (1 + self.error_percent / 100))


DIRECT = Transformer()


def ct_limits(accuracy_class: str, percent_of_rated: float) -> Limits:
    """Limits of a current transformer at a share of rated current, straight between the points.

    IEC 61869-2 Table 201 (transcribed), burden 25 to 100 %.

    Raises:
        ImpossibleReading: an unknown class, or a current outside the range of the class.
    """
    points = CT_LIMITS.get(accuracy_class)
    if points is None:
        known = ", ".join(CT_LIMITS)
        raise ImpossibleReading({}, f"no CT of class {accuracy_class!r}; known are {known}")
    shares = [share for share, _, _ in points]
    if not shares[0] <= percent_of_rated <= shares[-1]:
        raise ImpossibleReading(
            {"percent_of_rated_current": percent_of_rated},
            f"class {accuracy_class} has limits from {shares[0]:g} to {shares[-1]:g} % only",
        )
    above = max(1, bisect_left(shares, percent_of_rated))
    (x0, ratio0, arc0), (x1, ratio1, arc1) = points[above - 1], points[above]
    along = (percent_of_rated - x0) / (x1 - x0)
    return Limits(ratio0 + along * (ratio1 - ratio0), arc0 + along * (arc1 - arc0))


def vt_limits(accuracy_class: str, percent_of_rated: float = 100.0) -> Limits:
    """Limits of a voltage transformer (IEC 61869-3, from memory), burden 25 to 100 %.

    Raises:
        ImpossibleReading: an unknown class, or a voltage outside 80 to 120 %.
    """
    if accuracy_class not in VT_LIMITS:
        known = ", ".join(VT_LIMITS)
        raise ImpossibleReading({}, f"no VT of class {accuracy_class!r}; known are {known}")
    if not 80 <= percent_of_rated <= 120:
        raise ImpossibleReading(
            {"percent_of_rated_voltage": percent_of_rated},
            f"class {accuracy_class} has limits from 80 to 120 % only",
        )
    return Limits(*VT_LIMITS[accuracy_class])


def turned(power_w: N, reactive_var: N, lead_rad: float) -> N:
    """Power, W, when voltage was read leading current by `lead_rad` too little or too much.

    The true angle is the one read less `lead_rad`: P cos + Q sin of it. Fifth order in the lead,
    operators only: 3e-9 at three degrees.
    """
    x = lead_rad
    return power_w * (1 - x**2 / 2 + x**4 / 24) + reactive_var * (x - x**3 / 6)


def reactive_power(voltage_v: N, current_a: N, power_w: N, elements: float = 1.0) -> N:
    """Reactive power of an inductive load from its readings, var; sqrt(3) `elements` for lines.

    Raises:
        ImpossibleReading: power above voltage times current.
    """
    apparent = elements * voltage_v * current_a
    if not everywhere(nominal(apparent) >= abs(nominal(power_w))):
        values = {"voltage_v": voltage_v, "current_a": current_a, "power_w": power_w}
        raise ImpossibleReading(values, "power above U·I")
    root: N = (apparent**2 - power_w**2) ** 0.5
    return root


def primary_power(
    voltage_v: N,
    current_a: N,
    power_w: N,
    voltage_transformer: Transformer = DIRECT,
    current_transformer: Transformer = DIRECT,
    elements: float = 1.0,
) -> N:
    """Power on the primary side, W, of what voltmeter, ammeter and wattmeter read: an inductive
    load, phi = phi_read - delta_u + delta_i, each ratio freed of its error.

    Raises:
        ImpossibleReading: power above voltage times current.
    """
    vt, ct = voltage_transformer, current_transformer
    lead = (vt.displacement_minutes - ct.displacement_minutes) * MINUTE
    if lead:
        power_w = turned(power_w, reactive_power(voltage_v, current_a, power_w, elements), lead)
    return ct.primary(vt.primary(power_w))


def less_voltage_circuit(power_w: N, voltage_v: N, circuit_ohm: float) -> N:
    """Power without what the wattmeter's voltage circuit took, W (when on the load's side)."""
    return power_w - voltage_v**2 / circuit_ohm


def less_current_circuit(power_w: N, current_a: N, circuit_ohm: float) -> N:
    """Power without what the wattmeter's current circuit took, W (when on the load's side)."""
    return power_w - current_a**2 * circuit_ohm


def displacement_error_percent(power_factor: N) -> N:
    """Relative error of a loss per minute of arc of phase displacement, percent."""
    tangent: N = (1 / power_factor**2 - 1) ** 0.5
    return 100 * MINUTE * tangent
