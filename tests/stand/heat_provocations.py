"""How the trips of temperatures are provoked: sensors that show what the schedule does not allow.

What else the same temperatures would be over is let go by the schedule.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

from acquire.configuration import Scenario, load_scenario
from sequences.schedule import Soak
from tests.stand.hands import heating, showing
from tests.stand.held import loaded, preparing
from tests.stand.provocation import Provocation

ANY_K = 1e3
AMBIENT_S = 1800.0


def allowing(**limits: Any) -> Callable[[Scenario], Scenario]:
    """Return what gives a scenario other limits."""
    return lambda scenario: replace(scenario, schedule=replace(scenario.schedule, **limits))


@cache
def dry_loss_test() -> Scenario:
    """Return the shipped loss test of the dry-type pair."""
    return load_scenario("dry_pair", "loss_test")


def dry(**limits: Any) -> Callable[[Scenario], Scenario]:
    """Return what takes the shipped dry-type pair, as quick as the scenario that it is given."""

    def changed(scenario: Scenario) -> Scenario:
        shipped = dry_loss_test()
        windows: dict[str, Any] = {
            "window_s": scenario.schedule.window_s,
            "dwell_s": scenario.schedule.dwell_s,
        }
        return replace(
            shipped,
            schedule=replace(shipped.schedule, **windows, **limits),
            stand=replace(shipped.stand, scan_period_s=scenario.stand.scan_period_s),
        )

    return changed


ANY_RATE = {"rise_rate_limit_k_per_min": ANY_K}
ANY_TWINS = {"twins_differ_limit_k": ANY_K}
IN_SOAK = allowing(soak=Soak("IEC 60076-2", 1.0, ambient_from_c=10.0, ambient_to_c=40.0))
WINDINGS = ("a.winding_lv", "a.winding_hv", "b.winding_lv", "b.winding_hv")
# 8 K above what the shipped dry-type schedule allows a winding, 60 K within six minutes, twins 20 K
# apart, a room 1 K too warm.
TOO_HOT_C = 163.0
RISEN_C = 82.0
APART = {c: 62.0 if c.startswith("b") else 42.0 for c in WINDINGS}
TOO_WARM = {"ambient.1": 41.0}

HEATED: dict[str, Provocation] = {
    "over_temperature_a": Provocation(
        loaded, heating(a=108.0, b=100.0), "temperatures", changed=allowing(**ANY_RATE)
    ),
    "over_temperature_b": Provocation(
        loaded, heating(a=100.0, b=108.0), "temperatures", changed=allowing(**ANY_RATE)
    ),
    **{
        f"over_temperature_{channel.replace('.', '_')}": Provocation(
            loaded,
            showing({channel: TOO_HOT_C}),
            "temperatures",
            changed=dry(**ANY_RATE, **ANY_TWINS),
        )
        for channel in WINDINGS
    },
    **{
        f"rises_too_fast_{unit}_top_liquid": Provocation(
            loaded, heating(**{unit: RISEN_C}), "temperatures", changed=allowing(**ANY_TWINS)
        )
        for unit in "ab"
    },
    **{
        f"rises_too_fast_{channel.replace('.', '_')}": Provocation(
            loaded, showing({channel: RISEN_C}), "temperatures", changed=dry(**ANY_TWINS)
        )
        for channel in WINDINGS
    },
    "twins_disagree": Provocation(
        loaded, heating(b=35.0), "temperatures", changed=allowing(**ANY_RATE)
    ),
    "winding_twins_disagree": Provocation(
        loaded, showing(APART), "temperatures", changed=dry(**ANY_RATE)
    ),
    "ambient_out_of_range": Provocation(loaded, showing(TOO_WARM), "temperatures", changed=IN_SOAK),
}

# The same temperatures with nothing switched on.
HEATED_UNARMED: dict[str, Provocation] = {
    name: row._replace(
        place=preparing, watch_s=AMBIENT_S + 30.0 if name.startswith("ambient") else 25.0
    )
    for name, row in HEATED.items()
}
