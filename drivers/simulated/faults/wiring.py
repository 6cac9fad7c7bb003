"""Faults of wiring and of meters' multipliers: what people get wrong with their hands.

Nobody reaches a terminal but through the guard, so that most of these open it first. A shorted turn
needs no hands, and a multiplier is set at the instrument's own keys.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from drivers.simulated.circuit import Wiring
from drivers.simulated.faults.fault import Fault, HasStand, PlantFault
from drivers.simulated.hands import Change, becoming

SHORTED_TURN_PERCENT = 20.0
LATER = "; later the guard opens: stop category 0 while energised, and nothing proven any more"

# The meters that have a multiplier of their own, and the channels that it goes into.
METERS = {
    "lv_voltage": ("lv.voltage.", "lv.voltage_mean.", "lv.power."),
    "lv_current": ("lv.current.", "lv.power."),
    "lv_power": ("lv.power.",),
    "series_voltage": ("series.voltage.",),
    "hv_voltage": ("hv.voltage.", "hv.voltage_mean.", "hv.power."),
    "hv_current": ("hv.current.", "hv.power."),
    "hv_power": ("hv.power.",),
}
FACTORS = {"doubled": 2.0, "halved": 0.5, "tenfold": 10.0}


def wiring_faults() -> tuple[PlantFault, ...]:
    """Return every fault of wiring."""
    return (*_leads(), *_iron(), *_reversed(), *_multipliers())


def _rewired(**changed: Callable[[Any], Any]) -> Callable[[HasStand], tuple[Change, ...]]:
    def to(wiring: Wiring) -> Wiring:
        return replace(wiring, **{name: of(getattr(wiring, name)) for name, of in changed.items()})

    return lambda at: (Change(at.stand, "wiring", to),)


def _to(value: object) -> Callable[[Any], Any]:
    return lambda _was: value


def _other(was: bool) -> bool:
    return not was


def _one_more(was: int) -> int:
    return was + 1


def _hands(name: str, must: str, changes: Callable[[HasStand], tuple[Change, ...]]) -> PlantFault:
    return Fault(name, "wiring", must + LATER, changes, behind_guard=True)


def _leads() -> tuple[PlantFault, ...]:
    is_open = "from the start: the loop reads open in prove, stop"
    return (
        _hands(
            "voltmeter_lead_off",
            "from the start: the voltmeter does not follow in prove, stop",
            lambda at: (becoming(at.stand.series_voltmeter, "dead", True),),
        ),
        _hands(
            "leads_swapped",
            "from the start: aiding is found, one secondary interchanged, and the test goes on",
            _rewired(aiding=_other),
        ),
        _hands(
            "link_left_on",
            "from the start: LV reads short in prove, or draws too much, stop",
            _rewired(link_left_on=_to(True)),
        ),
        _hands("lv_lead_off_a", is_open, _rewired(lv_lead_open=_to("a"))),
        _hands("lv_lead_off_b", is_open, _rewired(lv_lead_open=_to("b"))),
        _hands("hv_lead_off", is_open, _rewired(hv_lead_open=_to(True))),
        _hands(
            "tap_one_step_off",
            "from the start: r above its limit in energise, stop",
            _rewired(tap_steps=_one_more),
        ),
    )


def _iron() -> tuple[PlantFault, ...]:
    return (
        Fault(
            "shorted_turn",
            "wiring",
            "in prove: short or shorted turn, stop; later LV supply current or another trip that"
            " cuts",
            _rewired(shorted_turn_percent=_to(SHORTED_TURN_PERCENT)),
            ends=False,
        ),
    )


def _reversed() -> tuple[PlantFault, ...]:
    return tuple(
        _hands(
            f"{side}_{what}_reversed",
            f"from the start: the sense of its power is wrong in {stage}, stop",
            _multiplied((f"{side}.power.",), -1.0),
        )
        for side, stage in (("lv", "energise"), ("hv", "prove"))
        for what in ("wattmeter", "ct")
    )


def _multipliers() -> tuple[PlantFault, ...]:
    return tuple(
        Fault(
            f"{meter}_{how}",
            "wiring",
            "no result within limits: a check or trip that names it, a result that is impossible or"
            " implausibly good, or one outside its limits",
            _multiplied(channels, factor),
        )
        for meter, channels in METERS.items()
        for how, factor in FACTORS.items()
    )


def _multiplied(
    channels: tuple[str, ...], factor: float
) -> Callable[[HasStand], tuple[Change, ...]]:
    def changes(at: HasStand) -> tuple[Change, ...]:
        meters = [m for name, m in at.stand.meters.items() if name.startswith(channels)]
        return tuple(Change(m, "multiplier", lambda was: factor * was) for m in meters)

    return changes
