"""Faults of cooling, of temperature sensors, and of the resistance meter's selector."""

from drivers.simulated.faults.fault import LIVE, Fault, HasStand, PlantFault
from drivers.simulated.hands import Change, becoming

HINDERED = 0.5  # of what it sheds at a rise
WARM_ROOM_C = 45.0

SLOWLY = (
    "in a loss test nothing, it is over too soon; in soak the twins disagree or one gets too hot:"
    " stop category 1"
)


def heat_faults() -> tuple[PlantFault, ...]:
    """Return every fault of heat and of how it is measured."""
    return (*(fault for unit in "ab" for fault in _unit(unit)), _warm_room(), *_selector())


def _warm_room() -> PlantFault:
    def warm(at: HasStand) -> tuple[Change, ...]:
        read = {c: WARM_ROOM_C for c in at.stand.meters if c.startswith("ambient.")}
        return (Change(at.stand, "temperatures_c", lambda all_: all_ | read),)

    return Fault(
        "ambient_out_of_range",
        "stand",
        "a heat run holds, set-points kept; unanswered, or half an hour of it: stop category 1",
        warm,
        ("soak", "overload"),
    )


def _unit(unit: str) -> tuple[PlantFault, ...]:
    sensors = {f"{unit}.top_liquid", f"{unit}.winding_hv"}

    def cooling(at: HasStand) -> object:
        return getattr(at.stand, f"cooling_{unit}")

    return (
        Fault(
            f"unit_{unit}_fan_stops",
            "stand",
            f"where it has a fan: {SLOWLY}; else nothing",
            lambda at: (becoming(cooling(at), "fan_stopped", True),),
            LIVE,
        ),
        Fault(
            f"unit_{unit}_cooling_hindered",
            "stand",
            SLOWLY,
            lambda at: (Change(cooling(at), "hindrance", lambda factor: HINDERED * factor),),
            LIVE,
        ),
        Fault(
            f"unit_{unit}_sensor_out_of_pocket",
            "stand",
            "cold nothing, it reads the same; warm the twins disagree: stop category 1",
            lambda at: (Change(at.stand, "out_of_pocket", lambda out: out | sensors),),
            LIVE,
        ),
    )


def _selector() -> tuple[PlantFault, ...]:
    def fault(what: str, must: str, attribute: str) -> PlantFault:
        return Fault(
            f"resistance_selector_{what}",
            "stand",
            must,
            lambda at: (becoming(at.stand.resistance_selector, attribute, True),),
            ("prepare", "soak", "cool"),
        )

    return (
        fault(
            "will_not_close",
            "in a loss test nothing, it is never told to; before a heat run: stop, no cold"
            " resistances; after one a finding, and what was read counts",
            "jammed",
        ),
        fault(
            "will_not_open",
            "open already, nothing; in a position: LV does not close, stop; after a heat run a"
            " finding",
            "welded",
        ),
    )
