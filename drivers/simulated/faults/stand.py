"""Faults of the stand itself: circuits, contactors, regulators, supplies, units too hot."""

from collections.abc import Callable
from typing import Any

from drivers.simulated.faults.fault import LIVE, STAGES, Fault, HasStand, PlantFault
from drivers.simulated.faults.heat import heat_faults
from drivers.simulated.hands import Change, becoming

CONTACTORS = {"lv": "lv_contactor", "loop": "loop_contactor"}
REGULATORS = {"lv": "lv_regulator", "loop": "loop_regulator"}
SUPPLIES = {"lv": "LV", "loop": "auxiliary"}

RUNAWAY_PER_S = 0.05  # of travel
OFF_FREQUENCY = 0.98  # of rated
LIQUID_TOO_HOT_C = 120.0
WINDING_TOO_HOT_C = 195.0  # of a dry-type unit

AT_ONCE = "stop category 0 in one scan, in whatever stage"


def stand_faults() -> tuple[PlantFault, ...]:
    """Return every fault of the stand itself."""
    return (
        *_circuits(),
        *(fault for side in CONTACTORS for fault in _contactor(side)),
        *(fault for side in REGULATORS for fault in _regulator(side)),
        *_supplies(),
        *(_too_hot(unit) for unit in ("a", "b")),
        *_second_way_out(),
        *heat_faults(),
    )


def _setting(
    part: Callable[[HasStand], object], attribute: str, value: Any
) -> Callable[[HasStand], tuple[Change, ...]]:
    return lambda at: (becoming(part(at), attribute, value),)


def _plant(at: HasStand) -> object:
    return at.stand


def _named(name: str) -> Callable[[HasStand], object]:
    return lambda at: getattr(at.stand, name)


def _circuits() -> tuple[PlantFault, ...]:
    return (
        Fault(
            "guard_opened",
            "stand",
            "energised: stop category 0 in one scan; else proofs and answered prompts are void and"
            " LV does not close",
            _setting(_plant, "guard", False),
        ),
        Fault(
            "emergency_stop_pressed", "stand", AT_ONCE, _setting(_plant, "emergency_stop", False)
        ),
        Fault(
            "protection_contact_opened",
            "stand",
            AT_ONCE,
            _setting(_plant, "protection_contact", False),
        ),
    )


def _contactor(side: str) -> tuple[PlantFault, ...]:
    name, part = CONTACTORS[side], _named(CONTACTORS[side])
    closes = STAGES[:2] if side == "lv" else STAGES[:5]

    def fault(
        what: str, must: str, attribute: str, value: Any, stages: tuple[str, ...]
    ) -> PlantFault:
        full = f"{name}_{what}"
        return Fault(full, "stand", must, _setting(part, attribute, value), stages)

    return (
        fault(
            "will_not_open",
            "0.5 s after it was told to open: stop category 0, heartbeat stopped, the upstream"
            " breaker drops",
            "welded",
            True,
            STAGES[:-1],
        ),
        fault("will_not_close", "1 s after it was told to close: stop category 1", "jammed", True,
              closes),
        fault(
            "falls_out",
            "opened by itself: stop category 0, and it stays told to open",
            "fallen_out",
            True,
            STAGES[:-1],
        ),
        fault(
            "auxiliary_stuck_closed",
            "told to open and reads closed: stop category 0, heartbeat stopped, the upstream"
            " breaker drops",
            "auxiliary",
            True,
            STAGES[:-1],
        ),
        fault(
            "auxiliary_stuck_open",
            "seen closed before: opened by itself, stop category 0; told to close: will not close,"
            " stop category 1; a current or voltage that contradicts it stops the heartbeat",
            "auxiliary",
            False,
            STAGES[:-1],
        ),
    )  # fmt: skip


def _regulator(side: str) -> tuple[PlantFault, ...]:
    name = REGULATORS[side]
    return (
        Fault(
            f"{name}_runs_away",
            "stand",
            "more than 2 % off its target with its contactor closed: stop category 0; else it is"
            " not at zero, and its contactor does not close",
            _setting(_named(name), "drift_per_s", RUNAWAY_PER_S),
            STAGES[:-1],
        ),
        Fault(
            f"{name}_stuck",
            "stand",
            "3 s after its travel time: stop category 1, and category 0 once that is overdue",
            _setting(_named(name), "stuck", True),
            STAGES[:-1],
        ),
    )


def _supplies() -> tuple[PlantFault, ...]:
    return (
        Fault(
            "lv_supply_lost",
            "stand",
            "set above 10 %: stop category 0 on both, and stay out when it returns; in prove the LV"
            " bus reads short",
            _setting(_plant, "lv_supply_lost", True),
            LIVE,
        ),
        Fault(
            "loop_supply_lost",
            "stand",
            "gone at rest: its voltage runs away, stop category 0; gone before: no voltage where"
            " the position promises it, stop category 1; in prove: loop open",
            _setting(_plant, "loop_supply_lost", True),
            LIVE,
        ),
        Fault(
            "frequency_off",
            "stand",
            "off by more than 1 % for 10 s above half of rated voltage: stop category 1",
            lambda at: (Change(at.stand, "frequency_hz", lambda hz: OFF_FREQUENCY * hz),),
            LIVE,
        ),
    )


def _too_hot(unit: str) -> PlantFault:
    hot = {f"{unit}.top_liquid": LIQUID_TOO_HOT_C, f"{unit}.winding_hv": WINDING_TOO_HOT_C}
    return Fault(
        f"unit_{unit}_too_hot",
        "stand",
        "a contactor closed: over-temperature or twins disagree, stop category 1; before: stop, not"
        " in balance",
        lambda at: (Change(at.stand, "temperatures_c", lambda all_: all_ | hot),),
    )


def _second_way_out() -> tuple[PlantFault, ...]:
    return (
        Fault(
            "watchdog_will_not_drop",
            "stand",
            "in prepare: stop, the watchdog does not act; later nothing, until an opening is not"
            " confirmed: then aborted, may be live",
            _setting(_named("watchdog"), "welded", True),
        ),
        Fault(
            "upstream_breaker_will_not_open",
            "stand",
            "nothing, until an opening is not confirmed: then aborted, may be live",
            _setting(_named("upstream_breaker"), "welded", True),
        ),
    )
