"""The table of trips, row by row, as the design states it: category, arming, limit, delay."""

from typing import Any

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from sequences import age_conditions as age
from sequences import conditions as when
from sequences import warm_conditions as warm
from sequences.scan import (
    EMERGENCY_STOP,
    FREQUENCY,
    GUARD,
    HV_CURRENT,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_VOLTAGE,
    PROTECTION_CONTACT,
    SERIES_VOLTAGE,
    TOP_LIQUID_A,
    TOP_LIQUID_B,
)
from sequences.trips import TRIPS, Trip
from tests.sequences.built import scan
from tests.sequences.paper import PROVEN, shipped

# Watched channel, category, arming, limit, then what is not: one reading, at once, of any age.
Stated = tuple[str | None, int, when.Armed, when.Exceeded, dict[str, Any]]


def contactor(output: str) -> dict[str, Stated]:
    told_open, told_closed = when.told_open(output), when.told_closed(output)
    held = when.held_closed(output)
    since = {"since": output}
    stays = {"delay_s": 0.5, "withholds": True} | since
    from_rest = {"from_rest": True} | since
    return {
        f"{output}_will_not_open": (output, 0, told_open, when.closed, stays),
        f"{output}_will_not_close": (output, 1, told_closed, when.opened, {"delay_s": 1.0} | since),
        f"{output}_opened_by_itself": (output, 0, held, when.opened, from_rest),
    }


def supply(
    side: str, regulator: str, channel: str, closed: tuple[when.Armed, when.Armed], full: when.Full
) -> dict[str, Stated]:
    twice = {"readings": 2, "since": regulator}
    deaf, late = when.deaf(regulator), age.late(regulator)
    wandered, drifted = when.wandered(regulator), when.drifted(channel, full)
    return {
        f"{side}_regulator_does_not_follow": (None, 1, closed[0], late, {}),
        f"{side}_voltage_does_not_follow": (channel, 1, closed[1], deaf, {"delay_s": 3.0}),
        f"{side}_regulator_runs_away": (
            regulator,
            0,
            closed[0],
            wandered,
            twice | {"from_rest": True},
        ),
        f"{side}_voltage_runs_away": (channel, 0, closed[0], drifted, twice),
    }


def of_warmth(channel: str) -> dict[str, Stated]:
    """Too hot, where it is a winding, and rising too fast."""
    named, thrice = channel.replace(".", "_"), {"readings": 3}
    too_hot = warm.winding_too_hot
    rises = warm.rises_too_fast(channel)
    rows: dict[str, Stated] = {
        f"over_temperature_{named}": (channel, 1, when.any_closed, too_hot, thrice),
        f"rises_too_fast_{named}": (channel, 1, when.any_closed, rises, thrice),
    }
    return rows


WINDINGS = ("a.winding_lv", "a.winding_hv", "b.winding_lv", "b.winding_hv")
WARM = {n: r for c in (TOP_LIQUID_A, TOP_LIQUID_B, *WINDINGS) for n, r in of_warmth(c).items()}
LV_TWICE = {"readings": 2, "since": LV_REGULATOR}
STATED: dict[str, Stated] = {
    "emergency_stop": (EMERGENCY_STOP, 0, when.always, when.opened, {}),
    "protection_contact": (PROTECTION_CONTACT, 0, when.always, when.opened, {}),
    "guard": (GUARD, 0, when.energised, when.opened, {}),
    "command_lost": (None, 0, when.always, when.command_lost, {}),
    **contactor(LV),
    **contactor(LOOP),
    "overvoltage": (LV_VOLTAGE, 0, when.always, when.above_rated_lv, LV_TWICE),
    "volts_per_hertz": (LV_VOLTAGE, 0, when.always, when.too_much_flux, LV_TWICE),
    "lv_supply_current": (LV_CURRENT, 0, when.lv_closed, when.lv_supply_over, LV_TWICE),
    "loop_current": (HV_CURRENT, 0, when.loop_closed, when.loop_over, {"readings": 2}),
    "opposition_lost": (SERIES_VOLTAGE, 0, when.opposition_shown, when.not_opposed, LV_TWICE),
    "loop_residual": (
        HV_VOLTAGE,
        0,
        when.loop_loaded,
        when.residual_over,
        {"readings": 3, "since": LOOP_REGULATOR},
    ),
    "current_with_loop_open": (
        HV_CURRENT,
        0,
        when.loop_told_open,
        when.loop_current_flows,
        {"readings": 2, "since": LOOP, "withholds": True},
    ),
    "supply_lost": (LV_VOLTAGE, 0, when.lv_set_up, when.lv_gone, LV_TWICE),
    **supply(
        "lv", LV_REGULATOR, LV_VOLTAGE, (when.lv_closed, when.lv_closed_proven), when.rated_lv
    ),
    **supply(
        "loop",
        LOOP_REGULATOR,
        HV_VOLTAGE,
        (when.loop_closed, when.loop_closed_proven),
        when.rated_loop,
    ),
    "frequency": (FREQUENCY, 1, when.lv_above_half, when.off_frequency, {"delay_s": 10.0}),
    "stale_channel": (None, 1, when.any_closed, age.something_stale, {"deadline_s": 2.0}),
    "over_temperature_a": (TOP_LIQUID_A, 1, when.any_closed, warm.too_hot, {"readings": 3}),
    "over_temperature_b": (TOP_LIQUID_B, 1, when.any_closed, warm.too_hot, {"readings": 3}),
    **{n: row for n, row in WARM.items() if n.startswith("over") and "winding" in n},
    **{n: row for n, row in WARM.items() if n.startswith("rises")},
    "twins_disagree": (TOP_LIQUID_B, 1, when.any_closed, warm.twins_differ, {"readings": 3}),
    "winding_twins_disagree": (
        "b.winding_hv",
        1,
        when.any_closed,
        warm.twins_differ,
        {"readings": 3},
    ),
    "ambient_out_of_range": (
        "ambient.1",
        1,
        when.any_closed,
        warm.ambient_out_of_range,
        {"delay_s": 1800.0},
    ),
    "record_not_written": (None, 1, when.any_closed, when.record_late, {}),
    "prompt_unanswered": (None, 1, when.prompt_open, when.prompt_expired, {}),
    "operator_stop": (None, 1, when.always, when.stop_asked, {}),
    "operator_abort": (None, 0, when.always, when.abort_asked, {}),
}
DEFAULTS = {
    "readings": 1,
    "delay_s": 0.0,
    "since": None,
    "from_rest": False,
    "withholds": False,
    "deadline_s": None,
}


def meaning(function: Any) -> tuple[object, list[object]]:
    """Return what makes two conditions the same: their code and what they were made for."""
    cells = function.__closure__ or ()
    return function.__code__, [c.cell_contents for c in cells]


def test_the_table_has_every_trip_of_the_design_and_no_other() -> None:
    assert [t.name for t in TRIPS] == list(STATED)


@pytest.mark.parametrize("trip", TRIPS, ids=lambda trip: trip.name)
def test_a_trip_has_the_columns_that_the_design_states(trip: Trip) -> None:
    watch, category, armed, exceeded, columns = STATED[trip.name]
    assert (trip.watch, trip.category) == (watch, category)
    assert meaning(trip.armed) == meaning(armed)
    assert meaning(trip.exceeded) == meaning(exceeded)
    row = trip._asdict()
    assert {name: row[name] for name in DEFAULTS} == DEFAULTS | columns


@pytest.mark.parametrize("trip", TRIPS, ids=lambda trip: trip.name)
def test_a_trip_says_what_it_stands_against_what_was_seen_and_what_to_check(trip: Trip) -> None:
    at = when.View(scan(10.0, values=dict.fromkeys(WINDINGS, 21.0)), PROVEN, shipped())
    assert trip.seen(at)
    assert "None" not in trip.seen(at)
    for words in (trip.hazard, trip.check):
        assert len(words.split()) > 1
    named = {f"{t.seen(at)}, {t.check}" for t in TRIPS}
    assert len(named) == len(TRIPS)
