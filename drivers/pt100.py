"""Platinum resistance thermometers of 100 Ω (IEC 60751:2008, 4.2; the clause from memory)."""

from math import nan, sqrt

R_0 = 100.0
A = 3.9083e-3
B = -5.775e-7
C = -4.183e-12
LOWEST, HIGHEST = -200.0, 850.0


def resistance(celsius: float) -> float:
    """Return the resistance at a temperature of -200 to 850 °C, ohm. Raises ValueError beyond."""
    if not LOWEST <= celsius <= HIGHEST:
        raise ValueError(f"a Pt100 isn't defined at {celsius} °C")
    ratio = 1 + A * celsius + B * celsius**2
    if celsius < 0:
        ratio += C * (celsius - 100) * celsius**3
    return R_0 * ratio


def temperature(ohm: float) -> float:
    """Return the temperature at a resistance, °C; `nan` where no temperature has it.

    An open sensor is above the last resistance of the standard, a shorted one below the first.
    """
    if not resistance(LOWEST) <= ohm <= resistance(HIGHEST):
        return nan
    celsius = (-A + sqrt(A**2 - 4 * B * (1 - ohm / R_0))) / (2 * B)
    if celsius >= 0:
        return celsius
    # Below 0 °C the third term counts too: Newton's method from where two terms lead.
    celsius = max(celsius, LOWEST)
    for _ in range(4):
        slope = R_0 * (A + 2 * B * celsius + C * (4 * celsius**3 - 300 * celsius**2))
        celsius = max(celsius - (resistance(celsius) - ohm) / slope, LOWEST)
    return celsius
