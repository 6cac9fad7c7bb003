"""Carrying readings to reference conditions: temperature, current, wave shape.

Constants T_k: IEC 60076-1 has 235 K for copper and 225 K for aluminium (from memory); IEEE
C57.91-2011 Annex G has 234.5 K for copper and 225 K for aluminium (transcribed).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, Literal

from calculation.errors import ImpossibleReading, everywhere, nominal
from calculation.nameplate import Material
from calculation.number import N

Standard = Literal["IEC", "IEEE"]

TEMPERATURE_CONSTANT_K: dict[tuple[Standard, Material], float] = {
    ("IEC", "copper"): 235.0,
    ("IEC", "aluminium"): 225.0,
    ("IEEE", "copper"): 234.5,
    ("IEEE", "aluminium"): 225.0,
}

# Small units have hardly any additional loss, and meters may then show less than none. Ten percent
# of I²R is what a winding temperature wrong by 25 K does: beyond it a value was mistaken.
ADDITIONAL_LOSS_DOUBT = 0.10

WAVE_SHAPE_BOUND = 0.03


@dataclass(frozen=True, slots=True)
class WindingLoss(Generic[N]):
    """I²R of one winding at the temperature of measurement, W, and its material's T_k, K."""

    i2r_w: N
    constant_k: float


def temperature_constant(material: Material, standard: Standard = "IEC") -> float:
    """T_k of a winding material, K."""
    return TEMPERATURE_CONSTANT_K[standard, material]


def temperature_constant_of(coefficient_per_k: float, at_c: float = 0.0) -> float:
    """T_k, K, of a temperature coefficient that holds at `at_c`: 1/alpha less that temperature.

    A coefficient quoted at 20 degC must never be used as one at 0 degC.
    """
    return 1 / coefficient_per_k - at_c


def resistance_at(resistance_ohm: N, measured_c: N, wanted_c: N, constant_k: float) -> N:
    """A d.c. resistance carried from one temperature to another, ohm."""
    return resistance_ohm * (constant_k + wanted_c) / (constant_k + measured_c)


def load_loss_at_reference(
    load_loss_w: N, windings: Sequence[WindingLoss[N]], measured_c: N, reference_c: float
) -> N:
    """Load loss carried to reference temperature, W (IEC 60076-1 Annex; clause from memory).

    The I²R of each winding rises with temperature, the rest (additional loss) falls. Where the
    windings are of different metals, the rest is shared between them as their I²R is.

    Raises:
        ImpossibleReading: load loss below I²R by more than measurement explains.
    """
    of_metal: dict[float, list[N]] = {}
    for winding in windings:
        of_metal.setdefault(winding.constant_k, []).append(winding.i2r_w)
    parts = [(constant_k, _sum(i2r_w)) for constant_k, i2r_w in of_metal.items()]
    ohmic = _sum([i2r_w for _, i2r_w in parts])
    additional = load_loss_w - ohmic
    if not everywhere(nominal(additional) >= -ADDITIONAL_LOSS_DOUBT * nominal(ohmic)):
        raise ImpossibleReading(
            {"load_loss_w": load_loss_w, "i2r_w": ohmic, "winding_temperature_c": measured_c},
            "load loss below the I²R of the d.c. resistances",
        )
    carried = []
    for constant_k, i2r_w in parts:
        warmer = (constant_k + reference_c) / (constant_k + measured_c)
        rest = additional if len(parts) == 1 else additional * (i2r_w / ohmic)
        carried.append(i2r_w * warmer + rest / warmer)
    return _sum(carried)


def _sum(values: Sequence[N]) -> N:
    """The sum of one value or more; no pass over arrays for the zero that `sum` begins with."""
    total = values[0]
    for value in values[1:]:
        total = total + value
    return total


def at_rated_current(loss_w: N, current_a: N, rated_current_a: float) -> N:
    """A load loss carried to rated current, W: with its square."""
    return loss_w * (rated_current_a / current_a) ** 2


def wave_shape(voltage_mean_v: N, voltage_v: N) -> N:
    """d = (U' - U)/U' of IEC 60076-1 (from memory): rectified mean x 1.1107 against r.m.s.

    Raises:
        ImpossibleReading: beyond 3 %, where the standard's correction no longer holds.
    """
    d = (voltage_mean_v - voltage_v) / voltage_mean_v
    if not everywhere(abs(nominal(d)) <= WAVE_SHAPE_BOUND):
        raise ImpossibleReading(
            {"voltage_mean_v": voltage_mean_v, "voltage_v": voltage_v},
            "wave shape differs from a sine by more than 3 %",
        )
    return d


def no_load_loss_iec(measured_w: N, voltage_mean_v: N, voltage_v: N) -> N:
    """No-load loss for a sine, W: P_m (1 + d) of IEC 60076-1 (from memory).

    Raises:
        ImpossibleReading: |d| above 3 %.
    """
    return measured_w * (1 + wave_shape(voltage_mean_v, voltage_v))


def no_load_loss_ieee(
    measured_w: N, voltage_mean_v: N, voltage_v: N, hysteresis_share: float = 0.5
) -> N:
    """No-load loss for a sine, W: P_m / (P1 + k P2), k = (r.m.s. / mean)² of IEEE C57.12.90.

    From memory. `hysteresis_share` P1 is one half where it isn't known; P2 is the rest.

    Raises:
        ImpossibleReading: a share outside 0 to 1.
    """
    if not 0 <= hysteresis_share <= 1:
        raise ImpossibleReading({"hysteresis_share": hysteresis_share}, "must lie within 0 and 1")
    k = (voltage_v / voltage_mean_v) ** 2
    return measured_w / (hysteresis_share + k * (1 - hysteresis_share))


def no_load_loss_at_20_c(loss_w: N, core_c: N) -> N:
    """No-load loss carried to a core of 20 degC, W (IEEE C57.12.90: 0.00065 per K, from memory)."""
    return loss_w * (1 + 0.00065 * (core_c - 20))


def separated_core_loss(low_hz: N, low_w: N, high_hz: N, high_w: N) -> tuple[N, N]:
    """Hysteresis and eddy loss at `high_hz`, W, of losses at two frequencies, one flux density.

    Hysteresis goes with frequency, eddy loss with its square.

    Raises:
        ImpossibleReading: frequencies not apart, or a part that would be negative.
    """
    if not everywhere(nominal(high_hz) > nominal(low_hz)):
        raise ImpossibleReading({"low_hz": low_hz, "high_hz": high_hz}, "frequencies must differ")
    eddy = (high_w / high_hz - low_w / low_hz) / (high_hz - low_hz) * high_hz**2
    hysteresis = high_w - eddy
    if not (everywhere(nominal(eddy) >= 0) and everywhere(nominal(hysteresis) >= 0)):
        raise ImpossibleReading({"low_w": low_w, "high_w": high_w}, "a part would be negative")
    return hysteresis, eddy
