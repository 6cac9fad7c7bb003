"""From the means of one stage to one unit: the steps that every reduction is put together from.

Pair or single transformer, one phase or one phase of three, live or by hand: all take these lines.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, Protocol

from calculation import circuit, correction, pair, performance
from calculation.errors import ImpossibleReading, everywhere, nominal, refuse_unless_finite
from calculation.errors import refuse_unless_positive as positive
from calculation.nameplate import Material, Resistances
from calculation.readings import LoadMeans, NoLoadMeans, ProveMeans
from calculation.results import At

Evaluate = Sequence[tuple[float, float, bool]]  # load, power factor, leading


class Rating(Protocol):
    """Rated values of one unit, or of one phase of it, as `Nameplate` documents them."""

    @property
    def power_va(self) -> float: ...  # noqa: D102 - Nameplate documents it
    @property
    def lv_voltage_v(self) -> float: ...  # noqa: D102 - Nameplate documents it
    @property
    def hv_voltage_v(self) -> float: ...  # noqa: D102 - Nameplate documents it
    @property
    def lv_current_a(self) -> float: ...  # noqa: D102 - Nameplate documents it
    @property
    def hv_current_a(self) -> float: ...  # noqa: D102 - Nameplate documents it
    @property
    def ratio(self) -> float: ...  # noqa: D102 - Nameplate documents it
    @property
    def material_lv(self) -> Material: ...  # noqa: D102 - Nameplate documents it
    @property
    def material_hv(self) -> Material: ...  # noqa: D102 - Nameplate documents it


@dataclass(frozen=True, slots=True)
class Plant:
    """What is under test: its rating, how many units the supplies feed, the leads of one branch."""

    rating: Rating
    units: int = 2
    lv_branch_ohm: float = 0.0


@dataclass(frozen=True, slots=True)
class Loaded:
    """One unit as one load stage shows it, HV side: leads taken out, loss at rated current.

    `named` are the readings it came from, for the message of a refusal.
    """

    load_loss_w: float
    resistance_ohm: float
    impedance_ohm: float
    named: dict[str, float]

    @property
    def reactance_ohm(self) -> float:
        """Reactance, ohm.

        Raises:
            ImpossibleReading: an impedance below its resistance.
        """
        return circuit.reactance(self.resistance_ohm, self.impedance_ohm, self.named)


def named_readings(stage: str, means: Any) -> dict[str, Any]:
    """The readings of a stage by their full names."""
    return {f"{stage}.{f.name}": getattr(means, f.name) for f in fields(means)}


def no_load(means: NoLoadMeans, exponent: float, plant: Plant) -> circuit.CoreBranch[float]:
    """Core branch of one unit, LV side, for a sine of rated voltage.

    The flux follows the rectified mean, so that is what rated voltage is measured by; the loss is
    carried to it by its `exponent`, both parts of the current by one less. What the leads drop and
    lose (their resistance against the current in phase) is taken out.

    Raises:
        ImpossibleReading: a reading not above zero, power that reaches U·I, a distorted voltage.
    """
    named = named_readings("no_load", means)
    positive(named | {"loss_exponent": exponent})
    if not everywhere(nominal(means.power_w) < nominal(means.voltage_v * means.current_a)):
        raise ImpossibleReading(named, "power reaches U·I, cos φ would be 1 or more")
    current = means.current_a / plant.units
    loss = means.power_w / plant.units - plant.lv_branch_ohm * current**2
    dropped = plant.lv_branch_ohm * loss / means.voltage_v
    share = plant.rating.lv_voltage_v / (means.voltage_mean_v - dropped)
    sine = 1 + correction.wave_shape(means.voltage_mean_v, means.voltage_v)
    if not everywhere((nominal(loss) > 0) & (nominal(share) > 0)):
        facts = named | {"lv_branch_ohm": plant.lv_branch_ohm}
        raise ImpossibleReading(facts, "the no-load loss would not be above zero")
    return circuit.core_branch(
        plant.rating.lv_voltage_v,
        current * share ** (exponent - 1),
        loss * sine * share**exponent,
        named,
    )


def balanced(
    stage: str, means: LoadMeans | ProveMeans, iron: NoLoadMeans, exponent: float
) -> tuple[dict[str, Any], float]:
    """Named readings of a pair's load stage, and one unit's loss by balance, leads included, W.

    Raises:
        ImpossibleReading: a reading that is missing or, powers aside, not above zero.
    """
    named = named_readings(stage, means)
    refuse_unless_finite(named)
    positive({name: value for name, value in named.items() if not name.endswith("power_w")})
    share = means.lv_voltage_v / iron.voltage_v
    loss = pair.balance_load_loss(means.lv_power_w, means.hv_power_w, iron.power_w, share, exponent)
    return named | {"no_load.power_w": iron.power_w}, loss


def loaded(
    named: Mapping[str, Any], voltage_v: float, current_a: float, loss_w: float, plant: Plant
) -> Loaded:
    """One unit from its own voltage, current and loss with leads, HV side.

    Raises:
        ImpossibleReading: a loss that would not be above zero, or an impedance below the leads'.
    """
    rating = plant.rating
    facts = {**named, "lv_branch_ohm": plant.lv_branch_ohm}
    loss = loss_w - pair.lead_loss(plant.lv_branch_ohm, rating.ratio, current_a)
    if not everywhere(nominal(loss) > 0):
        raise ImpossibleReading(facts, "the load loss would not be above zero")
    # The meters saw the leads too: take them out of R, then put R and X together again.
    leads = circuit.referred(plant.lv_branch_ohm, rating.ratio)
    resistance = loss / current_a**2
    square = (voltage_v / current_a) ** 2 - (resistance + leads) ** 2 + resistance**2
    if not everywhere(nominal(square) > 0):
        raise ImpossibleReading(facts, "impedance below the resistance of the leads")
    at_rated = correction.at_rated_current(loss, current_a, rating.hv_current_a)
    return Loaded(at_rated, resistance, square**0.5, dict(named))


def load_loss_at_reference(
    load_loss_w: float,
    resistances: Resistances,
    measured_c: float,
    reference_c: float,
    rating: Rating,
    standard: correction.Standard = "IEC",
) -> float:
    """Load loss at rated current carried to reference temperature, W.

    Raises:
        ImpossibleReading: no temperature, or a loss below the I²R of the resistances.
    """
    refuse_unless_finite({"winding_temperature_c": measured_c})
    windings = []
    for ohm, current, material in (
        (resistances.lv_ohm, rating.lv_current_a, rating.material_lv),
        (resistances.hv_ohm, rating.hv_current_a, rating.material_hv),
    ):
        constant = correction.temperature_constant(material, standard)
        hot = correction.resistance_at(ohm, resistances.temperature_c, measured_c, constant)
        windings.append(correction.WindingLoss(hot * current**2, constant))
    return correction.load_loss_at_reference(load_loss_w, windings, measured_c, reference_c)


def percent(hv_ohm: float, rating: Rating) -> float:
    """An impedance of the HV side in percent of rated."""
    return circuit.percent(hv_ohm, rating.hv_voltage_v, rating.power_va)


def efficiencies(
    evaluate: Evaluate, rating: Rating, no_load_loss_w: float, load_loss_w: float
) -> tuple[At, ...]:
    """Efficiency, a fraction of output, at every load and power factor asked for."""
    known = rating.power_va, no_load_loss_w, load_loss_w
    return tuple(At(x, pf, lead, performance.efficiency(x, pf, *known)) for x, pf, lead in evaluate)


def regulations(
    evaluate: Evaluate, rating: Rating, series: circuit.SeriesImpedance[float]
) -> tuple[At, ...]:
    """Regulation, percent from the exact phasors, at every load and power factor asked for."""
    e_r, e_x = percent(series.resistance_ohm, rating), percent(series.reactance_ohm, rating)
    return tuple(
        At(x, pf, lead, performance.regulation_percent(x, pf, e_r, e_x, lead))
        for x, pf, lead in evaluate
    )
