"""What the two supplies of a back-to-back pair say about the mean of its units.

The LV supply feeds both units in parallel, the auxiliary supply the loop of both in series. With a
ratio mismatch the two exchange power round the loop: each wattmeter alone misleads, their sum does
not. Derived on the T-circuits of the pair; see section 3 of the design and rows j1 to j3 of the
check values.
"""

from collections.abc import Sequence
from math import log

from calculation.errors import ImpossibleReading, nominal
from calculation.number import N


def balance_load_loss(
    lv_power_w: N, hv_power_w: N, no_load_power_w: N, voltage_share: N, exponent: float
) -> N:
    """Load loss of one unit, W, by the balance method.

    Half of what both supplies deliver loaded, less the no-load power of both carried from its own
    voltage to the loaded one (`voltage_share` = loaded / no-load) by the local `exponent`. The
    power that the supplies exchange drops out.
    """
    still_iron: N = no_load_power_w * voltage_share**exponent
    return (lv_power_w + hv_power_w - still_iron) / 2


def exchanged_power(lv_power_w: N, no_load_power_w: N, voltage_share: N, exponent: float) -> N:
    """Power that the LV supply delivers into the loop, W; negative when the loop feeds it."""
    still_iron: N = no_load_power_w * voltage_share**exponent
    return lv_power_w - still_iron


def mismatch_of_exchange(exchanged_w: N, ratio: float, lv_voltage_v: N, hv_current_a: N) -> N:
    """The least ratio mismatch d that explains an exchanged power, as a fraction.

    It equals d x cos of the angle between loop current and LV voltage, an angle that no meter
    shows: so d is at least this.
    """
    # A magnitude has no slope at zero, so it carries no uncertainty: it is shown, never judged.
    size: N = abs(nominal(exchanged_w))
    return size / (ratio * lv_voltage_v * hv_current_a)


def series_ratio(series_voltage_v: N, ratio: float, lv_voltage_v: N) -> N:
    """The gap's open voltage over twice the HV voltage, as a fraction: r = d / 2."""
    return series_voltage_v / (2 * ratio * lv_voltage_v)


def lead_loss(lv_branch_ohm: float, ratio: float, hv_current_a: N) -> N:
    """Loss in the leads of one unit's LV branch, W, which carries the loop current referred."""
    return lv_branch_ohm * (ratio * hv_current_a) ** 2


def local_exponent(voltages_v: Sequence[float], powers_w: Sequence[float]) -> float:
    """The exponent n of power against voltage: least-squares slope of their logarithms.

    Raises:
        ImpossibleReading: fewer than two readings, none apart in voltage, or one not positive.
    """
    if len(voltages_v) < 2 or min(*voltages_v, *powers_w) <= 0:
        values = {"voltages": len(voltages_v), "powers": len(powers_w)}
        raise ImpossibleReading(values, "an exponent needs two readings or more, all above zero")
    x, y = [log(u) for u in voltages_v], [log(p) for p in powers_w]
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    spread = sum((a - mean_x) ** 2 for a in x)
    if spread < 1e-12:
        raise ImpossibleReading({"voltage_v": voltages_v[0]}, "an exponent needs voltages apart")
    return sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True)) / spread


def lv_currents(no_load_a: complex, hv_loop_a: complex, ratio: float) -> tuple[complex, complex]:
    """Phasors of the two units' LV winding currents, A: the no-load current plus and minus the
    loop current referred. `no_load_a` is that of one unit, both phasors against the LV voltage.
    """
    return no_load_a + ratio * hv_loop_a, no_load_a - ratio * hv_loop_a
