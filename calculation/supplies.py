"""Before the test, from the nameplate: what both supplies must deliver and the meters will read.

The approximate circuit of the pair. A ratio mismatch d lets the loop current I and the LV voltage U
exchange up to d n U I between the supplies, in either direction: so every value of a loaded stage
is a span. Derived on the T-circuits of the pair, against which it is tested.
"""

from dataclasses import dataclass

from calculation import circuit
from calculation.nameplate import Nameplate

# How many times its share iron may draw at low flux (seen on simulated pairs; no source).
LOW_FLUX_FACTOR = 10.0

# Preferred rated primary currents, IEC 61869-2 (from memory), per decade; ratios go by them too.
PREFERRED = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5)


@dataclass(frozen=True, slots=True)
class Span:
    """What to expect without a mismatch, and between which ends with the worst one."""

    expected: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class StageReadings:
    """What every meter will read at one point of the test: V, A, W. `hv` is the loop's supply.

    `aiding`: what a pair that is wired wrongly shows instead.
    """

    stage: str
    at: str
    lv_voltage_v: float
    lv_current_a: Span
    lv_power_w: Span
    series_voltage_v: Span
    hv_voltage_v: Span
    hv_current_a: Span
    hv_power_w: Span
    aiding: bool = False


@dataclass(frozen=True, slots=True)
class Supply:
    """What one supply must deliver at the worst mismatch: V, A, VA, W."""

    voltage_v: float
    current_a: float
    apparent_va: float
    power_w: float


@dataclass(frozen=True, slots=True)
class Energy:
    """Energy of so many hours at rated, kWh, and its cost in the currency of the price."""

    hours: float
    back_to_back_kwh: float
    loaded_fully_kwh: float
    price_per_kwh: float
    back_to_back_cost: float
    loaded_fully_cost: float


@dataclass(frozen=True, slots=True)
class Twins:
    """A pair as its nameplate promises it, with the worst ratio mismatch that is let pass.

    `mismatch` is a fraction (d = 2 r), `lv_branch_ohm` the leads of one unit's LV branch.
    """

    nameplate: Nameplate
    mismatch: float
    lv_branch_ohm: float = 0.0

    @property
    def loop_resistance_ohm(self) -> float:
        """Of both units with their leads, HV side."""
        plate = self.nameplate
        leads = circuit.referred(self.lv_branch_ohm, plate.ratio)
        return 2 * (plate.load_loss_w / plate.hv_current_a**2 + leads)

    @property
    def loop_impedance_ohm(self) -> float:
        """Of both units with their leads, HV side.

        Raises:
            ImpossibleReading: a nameplate whose impedance is below its resistance.
        """
        plate = self.nameplate
        r = plate.load_loss_w / plate.hv_current_a**2
        facts = {"load_loss_w": plate.load_loss_w, "impedance_percent": plate.impedance_percent}
        x = circuit.reactance(r, plate.impedance_ohm, facts)
        return float((self.loop_resistance_ohm**2 + (2 * x) ** 2) ** 0.5)


def supplies(twins: Twins) -> tuple[Supply, Supply]:
    """What the LV supply and the loop's auxiliary supply must deliver with the pair fully loaded.

    Raises:
        ImpossibleReading: a nameplate that contradicts itself.
    """
    loaded = _at(twins, "load_readings", "", 1.0, 1.0)
    return (
        _supply(loaded.lv_voltage_v, loaded.lv_current_a.most, loaded.lv_power_w.most),
        _supply(loaded.hv_voltage_v.most, loaded.hv_current_a.expected, loaded.hv_power_w.most),
    )


def _supply(voltage_v: float, current_a: float, power_w: float) -> Supply:
    return Supply(voltage_v, current_a, voltage_v * current_a, power_w)


def expected_readings(twins: Twins) -> tuple[StageReadings, ...]:
    """What every meter will read, stage by stage, prove included.

    Raises:
        ImpossibleReading: a nameplate that contradicts itself.
    """
    half = twins.nameplate.impedance_percent / 200
    return (
        _at(twins, "prove", "loop open", half, None),
        _aiding(twins, half),
        *(
            _at(twins, "prove", f"at {100 * part:g} % current", half, part)
            for part in (0.05, 0.25, 1.0)
        ),
        _at(twins, "energise", "pause at 25 % voltage", 0.25, None),
        _at(twins, "no_load_readings", "loop open", 1.0, None),
        _circulating(twins),
        _at(twins, "load_readings", "at rated current", 1.0, 1.0),
    )


def energy(nameplate: Nameplate, hours: float, price_per_kwh: float) -> Energy:
    """Energy and cost of `hours` at rated, back to back and with a full load on each unit."""
    losses = 2 * (nameplate.no_load_loss_w + nameplate.load_loss_w)
    back, full = (
        kilowatts * hours / 1000 for kilowatts in (losses, losses + 2 * nameplate.power_va)
    )
    return Energy(hours, back, full, price_per_kwh, back * price_per_kwh, full * price_per_kwh)


def preferred(least: float) -> float:
    """The preferred value that is at least this."""
    decade = 1.0
    while decade > least:
        decade /= 10
    while decade * 10 <= least:
        decade *= 10
    # What rounding left of an exact value is not more than it.
    return next((decade * p for p in PREFERRED if decade * p >= least * (1 - 1e-9)), 10 * decade)


def _at(twins: Twins, stage: str, at: str, voltage: float, current: float | None) -> StageReadings:
    """One point of the test: LV voltage and loop current per unit of rated; None: loop open."""
    plate = twins.nameplate
    lv_v = voltage * plate.lv_voltage_v
    amperes = (current or 0.0) * plate.hv_current_a
    gap = twins.mismatch * plate.ratio * lv_v
    exchange = gap * amperes
    share_a = 2 * plate.no_load_current_percent / 100 * plate.lv_current_a * voltage
    low_flux = LOW_FLUX_FACTOR if voltage < 0.25 else 1.0
    across = twins.mismatch * plate.ratio * amperes
    share_w = 2 * plate.no_load_loss_w * voltage**2
    hv_v = twins.loop_impedance_ohm * amperes
    hv_w = twins.loop_resistance_ohm * amperes**2
    hv = _span(hv_v, gap if current else 0.0)
    return StageReadings(
        stage,
        at,
        lv_v,
        Span(share_a, max(0.0, share_a - across), low_flux * share_a + across),
        Span(share_w, share_w - exchange, share_w + exchange),
        hv if current else _span(0.0, gap),
        hv,
        Span(amperes, amperes, amperes),
        Span(hv_w, hv_w - exchange, hv_w + exchange),
    )


def _aiding(twins: Twins, voltage: float) -> StageReadings:
    """The loop closed at regulator zero with the pair aiding: what prove finds and opens on."""
    plate = twins.nameplate
    lv_v = voltage * plate.lv_voltage_v
    amperes = 2 * plate.ratio * lv_v / twins.loop_impedance_ohm
    watts = twins.loop_resistance_ohm * amperes**2
    supplied = 2 * plate.ratio * amperes
    nothing = Span(0.0, 0.0, 0.0)
    return StageReadings(
        "prove",
        "if aiding: auxiliary at zero",
        lv_v,
        Span(supplied, 0.0, supplied),
        Span(watts, 0.0, watts),
        nothing,
        nothing,
        Span(amperes, 0.0, amperes),
        nothing,
        aiding=True,
    )


def _circulating(twins: Twins) -> StageReadings:
    """The loop closed at rated LV with its supply at zero: the mismatch alone drives."""
    plate = twins.nameplate
    most = twins.mismatch * plate.hv_voltage_v / twins.loop_impedance_ohm
    share = most / plate.hv_current_a
    at = _at(twins, "circulate", "auxiliary at zero", 1.0, share)
    nothing, iron = Span(0.0, 0.0, 0.0), _at(twins, "", "", 1.0, None)
    return StageReadings(
        at.stage,
        at.at,
        at.lv_voltage_v,
        Span(iron.lv_current_a.expected, at.lv_current_a.least, at.lv_current_a.most),
        at.lv_power_w,
        nothing,
        nothing,
        Span(0.0, 0.0, most),
        nothing,
    )


def _span(expected: float, either_way: float) -> Span:
    return Span(expected, max(0.0, expected - either_way), expected + either_way)
