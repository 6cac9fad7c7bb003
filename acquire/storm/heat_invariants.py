"""What may never be in a heat run: on true temperatures, and on d.c. in the windings.

As in `invariants` each is a function with its reason that returns how far it was missed.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from acquire.clock import S
from drivers.outputs import LOOP, LV, SELECTOR

if TYPE_CHECKING:
    from acquire.storm.heat_watch import HeatWatch, TrueUnit
    from acquire.storm.witness import Witness

Missed = float | None
Invariant = Callable[["Witness", "HeatWatch"], Missed]

LIVE_V = 50.0
READINGS = 3  # that a trip on a temperature counts
# A first-order lag has shown all but a twentieth of a jump after three of its constants.
LAGS = 3.0
SENSOR_NOISE = 4.0  # sigma
MORE_THAN_RATED = 1.03
# Of the quickest winding, after which next to nothing flows in it.
DISCHARGED = 5.0
CORRECTED_S = 90.0  # for a ramp under way when an overload's end is due, and the one back to rated


def no_unit_stays_hotter_than_its_limit(at: Witness, heat: HeatWatch) -> Missed:
    """Insulation ages by the hour: over limit and sensor's error it is cut in its trip's time.

    So it passes the limit by that error and what it rises within the delay: three readings, the
    sensor's lag, a stop of category 1. What is stored in hotter windings still comes after the
    cut, and no trip can take it. Left out is a unit whose own sensor is out of its pocket, or shows
    what hands laid on it: nothing tells its heat; the twin does, by the next invariant.
    """
    worst: Missed = None
    for unit in "ab":
        for channel, true_c, limit_c in _watched(at, heat, unit):
            heat.highest_over_k = max(heat.highest_over_k, true_c - limit_c)
            over = _live(at) and true_c > limit_c + _error_k(at, channel)
            allowed = _cut_s(at, channel) if over else None
            if at.longer(f"over temperature {channel}", over, allowed) is not None:
                worst = max(worst or 0.0, true_c - limit_c)
    return worst


def a_sensor_out_of_its_pocket_is_seen_by_the_twin(at: Witness, heat: HeatWatch) -> Missed:
    """It reads the room however hot its unit is: the twin, carrying the same, shows the lie.

    Once what is read of both is further apart than the schedule allows by both errors it is cut
    in its trip's time. A unit whose sensor is out is thus no hotter than what its losses make of
    it while its twin rises to the room and that difference; both out at once nothing sees.
    """
    limit_k = at.expected.schedule.twins_differ_limit_k
    shown = {u: [_shown_c(at, heat, u, c) for c in at.expected.warmth[u]] for u in "ab"}
    means = {u: sum(c) / len(c) for u, c in shown.items()}
    channels = at.expected.watched_warmth
    error_k = 2 * max(_error_k(at, c) for c in channels)
    apart = _live(at) and abs(means["a"] - means["b"]) > limit_k + error_k
    allowed = _slowest_s(at, channels, laid_on=True) if apart else None
    lasted = at.longer("twins apart", apart, allowed)
    return None if lasted is None else abs(means["a"] - means["b"])


def an_overload_ends_at_its_hot_spot_limit(at: Witness, heat: HeatWatch) -> Missed:
    """Above it bubbles may form and insulation ages by the minute.

    The program takes the plate's gradient for the hot spot's, which this plate states high; so the
    true one over the limit is back to rated current within a correction's time.
    """
    soak = at.expected.soak
    step = soak.overload if at.stage == "overload" else soak.warm_up
    hot = max(heat.now.a.hot_spot_c, heat.now.b.hot_spot_c)
    driven = heat.now.loop > MORE_THAN_RATED and step is not None
    over = driven and step is not None and hot > step.hot_spot_limit_c + _largest_error_k(at)
    slowest = _slowest_s(at, at.expected.watched_warmth) if over else None
    allowed = None if slowest is None else slowest + CORRECTED_S
    return hot if at.longer("hot spot", over, allowed) is not None else None


def no_d_c_stands_on_a_live_winding(at: Witness, _heat: HeatWatch) -> Missed:
    """The resistance meter, and whoever reads it, would be at the supply's voltage."""
    plant = at.plant
    if not plant.resistance_selector.closed:
        return None
    solution, n = plant.solution(), plant.nameplate.ratio
    highest = max(abs(solution.bus), n * abs(solution.e_a), n * abs(solution.e_b))
    highest = max(highest, abs(solution.gap))
    return highest if highest > LIVE_V else None


ON_LOOKING: tuple[Invariant, ...] = (
    no_unit_stays_hotter_than_its_limit,
    a_sensor_out_of_its_pocket_is_seen_by_the_twin,
    an_overload_ends_at_its_hot_spot_limit,
    no_d_c_stands_on_a_live_winding,
)


def d_c_is_discharged_before_the_selector_opens(at: Witness, contactor: str) -> Missed:
    """To break the d.c. of an inductive winding makes a voltage that kills."""
    told = at.told_open_at[SELECTOR]
    if contactor != SELECTOR or told < 0 or at.heat is None:
        return None
    plant = at.plant
    settling_s = min(
        getattr(unit, f"{side}_settling_s")
        for unit in (plant.truth.a, plant.truth.b)
        for side in ("lv", "hv")
    )
    since_s = (plant.t - told) / S
    return since_s if since_s < DISCHARGED * settling_s else None


def judge(at: Witness, heat: HeatWatch) -> None:
    """Have the witness write down which of these do not hold."""
    for invariant in ON_LOOKING:
        missed = invariant(at, heat)
        if missed is not None:
            at.note(invariant.__name__, missed)


def _live(at: Witness) -> bool:
    return (at.closed[LV] or at.closed[LOOP]) and at.plant.upstream_breaker.closed


def _watched(at: Witness, heat: HeatWatch, unit: str) -> list[tuple[str, float, float]]:
    """Channel, true temperature and limit of all that a trip watches of a unit, degC."""
    schedule = at.expected.schedule
    found = []
    for channel in at.expected.warmth[unit]:
        liquid = channel.endswith("top_liquid")
        limit_c = schedule.top_liquid_limit_c if liquid else schedule.winding_limit_c
        found.append((channel, _true_c(heat, unit, channel), limit_c))
    return found


def _true_c(heat: HeatWatch, unit: str, channel: str) -> float:
    true: TrueUnit = getattr(heat.now, unit)
    place = channel.partition(".")[2]
    return true.top_c if place == "top_liquid" else float(getattr(true, f"{place}_c"))


def _shown_c(at: Witness, heat: HeatWatch, unit: str, channel: str) -> float:
    """What a sensor that has come to rest shows: what hands laid on, the room, or its place."""
    laid_on = at.plant.temperatures_c.get(channel)
    if laid_on is not None:
        return laid_on
    if channel in at.plant.out_of_pocket:
        return heat.now.room_c
    return _true_c(heat, unit, channel)


def _error_k(at: Witness, channel: str) -> float:
    """The class that the stand file states for the sensor, and its noise, K."""
    sensors = at.plant.truth.thermal
    noise_k = sensors.sensors.noise_k if sensors is not None else 0.0
    return at.expected.error_of(channel, 100.0) + SENSOR_NOISE * noise_k


def _largest_error_k(at: Witness) -> float:
    return max(_error_k(at, c) for c in at.expected.watched_warmth)


def _slowest_s(at: Witness, channels: tuple[str, ...], *, laid_on: bool = False) -> float | None:
    """How long where every one of these channels has to be seen; None: one never is."""
    times = [_cut_s(at, channel, laid_on=laid_on) for channel in channels]
    known = [t for t in times if t is not None]
    return max(known) if len(known) == len(times) else None


def _cut_s(at: Witness, channel: str, *, laid_on: bool = False) -> float | None:
    """How long from a temperature over its limit to a stand that is dead; None: nothing sees it."""
    plant = at.plant
    hidden = channel in plant.temperatures_c or channel in plant.out_of_pocket
    seen, acted = at.patience.seen_s(channel, READINGS), at.patience.acted_s()
    if seen is None or acted is None or (hidden and not laid_on):
        return None
    sensors = plant.truth.thermal
    assert sensors is not None
    lag_s = max(sensors.sensors.liquid_lag_s, sensors.sensors.winding_lag_s)
    return seen + LAGS * lag_s + at.patience.category_1_s + acted
