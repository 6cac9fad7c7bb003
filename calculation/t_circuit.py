"""One transformer feeding a load, on the full T-circuit, in per unit of its rated values."""

from dataclasses import dataclass

from calculation.errors import ImpossibleReading

SETTLED = 1e-13
MOST_STEPS = 200


@dataclass(frozen=True, slots=True)
class Feeding:
    """What a loaded transformer does, per unit: LV voltage, power taken in, power lost."""

    lv_voltage: complex
    input_power: complex
    loss: float


def feed(hv_voltage: complex, load: complex, series: complex, core: complex) -> Feeding:
    """Feed a load of constant power `load` (P + jQ) through the T-circuit, all per unit.

    `series` is R + jX, half on each side of `core`, the admittance G - jB.

    Raises:
        ImpossibleReading: a load beyond what the impedance can carry.
    """
    half = series / 2
    lv = hv_voltage
    for _ in range(MOST_STEPS):
        current = (load / lv).conjugate()
        point = (hv_voltage - half * current) / (1 + half * core)
        before, lv = lv, point - half * current
        if abs(lv - before) <= SETTLED:
            taken = hv_voltage * (current + core * point).conjugate()
            return Feeding(lv, taken, (taken - load).real)
        if abs(lv) < 0.3:
            break
    raise ImpossibleReading({"load": abs(load)}, "beyond what the impedance can carry")


def series_of(impedance_percent: float, load_loss_share: float) -> complex:
    """Series impedance per unit: u_k in percent, load loss over rated power as a fraction.

    Raises:
        ImpossibleReading: an impedance below its resistance.
    """
    z, r = impedance_percent / 100, load_loss_share
    if z < r:
        raise ImpossibleReading(
            {"impedance_percent": impedance_percent, "load_loss_share": r},
            "impedance below resistance",
        )
    return complex(r, (z**2 - r**2) ** 0.5)


def core_of(no_load_current_percent: float, no_load_loss_share: float) -> complex:
    """Core admittance per unit: I0 in percent, no-load loss over rated power as a fraction.

    Raises:
        ImpossibleReading: a loss above what the current can carry.
    """
    y, g = no_load_current_percent / 100, no_load_loss_share
    if y < g:
        raise ImpossibleReading(
            {"no_load_current_percent": no_load_current_percent, "no_load_loss_share": g},
            "cos φ would be above 1",
        )
    return complex(g, -((y**2 - g**2) ** 0.5))
