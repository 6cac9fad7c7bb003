"""Hand readings and temperature: what a hot winding's resistance tells, and the reference loss."""

from dataclasses import replace
from typing import Any

from calculation import correction, reduction
from calculation.errors import ImpossibleReading, everywhere, nominal
from calculation.hand.readings import HandReadings, PhaseRating
from calculation.nameplate import Resistances
from calculation.resistance import winding_temperature

HOTTEST_C = 250.0
# Of the load loss of one phase: what one winding's I²R can be.
LEAST_OHMIC, MOST_OHMIC = 0.01, 1.2


def with_winding_temperature(hand: HandReadings) -> HandReadings:
    """The readings with the winding temperature that hot resistances tell, where they do.

    Raises:
        ImpossibleReading: neither or both given, a cold one missing, one that falls on heating.
    """
    given = hand.temperature
    if given is None:
        return hand
    hot = {
        "lv": (given.lv_hot_ohm, given.lv_ohm, given.material_lv),
        "hv": (given.hv_hot_ohm, given.hv_ohm, given.material_hv),
    }
    told = []
    for side, (hot_ohm, cold_ohm, material) in hot.items():
        if hot_ohm is None:
            continue
        facts = {f"temperature.{side}_hot_ohm": hot_ohm, f"temperature.{side}_ohm": cold_ohm}
        if cold_ohm is None or given.resistance_c is None:
            facts["temperature.resistance_c"] = given.resistance_c
            raise ImpossibleReading(
                facts, "a hot resistance needs the cold one and its temperature"
            )
        if hot_ohm < cold_ohm:
            raise ImpossibleReading(facts, "resistance falls on heating")
        constant = correction.temperature_constant(material, given.standard)
        told.append(winding_temperature(hot_ohm, cold_ohm, given.resistance_c, constant))
        if told[-1] > HOTTEST_C:
            raise ImpossibleReading(facts, f"the winding would have {told[-1]:.0f} °C")
    if bool(told) == (given.winding_c is not None):
        named = {"temperature.winding_c": given.winding_c}
        raise ImpossibleReading(named, "give either winding_c or the resistances when hot")
    if not told:
        return hand
    return replace(hand, temperature=replace(given, winding_c=sum(told) / len(told)))


def loss_at_reference(hand: HandReadings, rating: PhaseRating, loss_w: float) -> float | None:
    """Load loss of one phase at reference temperature, W; None without temperature.

    Without d.c. resistances nothing tells I²R from the rest: refused, unless already at reference.
    """
    given = hand.temperature
    if given is None:
        return None
    assert given.winding_c is not None  # with_winding_temperature saw to it
    if given.lv_ohm is None or given.hv_ohm is None:
        if given.winding_c == given.reference_c:
            return loss_w
        raise ImpossibleReading(
            {"temperature.lv_ohm": given.lv_ohm, "temperature.hv_ohm": given.hv_ohm},
            "load loss can't be carried to reference temperature without d.c. resistances",
        )
    for side, ohm, current in (
        ("lv", given.lv_ohm, rating.lv_current_a),
        ("hv", given.hv_ohm, rating.hv_current_a),
    ):
        _refuse_resistance(f"temperature.{side}_ohm", nominal(ohm), current**2 / nominal(loss_w))
    cold_c = given.winding_c if given.resistance_c is None else given.resistance_c
    return reduction.load_loss_at_reference(
        loss_w,
        Resistances(given.lv_ohm, given.hv_ohm, cold_c),
        given.winding_c,
        given.reference_c,
        rating,
        given.standard,
    )


def _refuse_resistance(name: str, ohm: Any, siemens: Any) -> None:
    """Refuse a resistance whose I²R at rated current is no part of the load loss of one phase."""
    share = ohm * siemens
    if everywhere((share >= LEAST_OHMIC) & (share <= MOST_OHMIC)):
        return
    why = f"its I²R at rated current must lie between {LEAST_OHMIC:g} and {MOST_OHMIC:g} of P_k"
    if not hasattr(share, "ndim") and any(
        LEAST_OHMIC <= share * factor <= MOST_OHMIC for factor in (1000.0, 0.001)
    ):
        why = f"its I²R would be {share:.2g} of the load loss: an m or k forgotten?"
    raise ImpossibleReading({name: ohm}, why)
