"""The whole catalogue of faults: those of the plant, and those of process and operator."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from acquire.configuration import Scenario
from drivers.simulated.faults.fault import Fault
from drivers.simulated.faults.instruments import instrument_faults
from drivers.simulated.faults.stand import stand_faults
from drivers.simulated.faults.wiring import wiring_faults
from drivers.simulated.hands import Change, becoming

if TYPE_CHECKING:
    from acquire.site import Site

    SiteFault = Fault[Site]

ASKING = ("prepare", "soak", "cool", "make_safe")
STEPPED_S = 3600.0


def catalogue(scenario: Scenario) -> dict[str, SiteFault]:
    """Return every fault that a rehearsal of this scenario can be given, by name."""
    faults: tuple[SiteFault, ...] = (
        *instrument_faults(scenario.stand, scenario.descriptions),
        *stand_faults(),
        *wiring_faults(),
        *_process_faults(scenario),
        *_operator_faults(),
    )
    return {fault.name: fault for fault in faults}


def _process_faults(scenario: Scenario) -> tuple[SiteFault, ...]:
    # Twice as late as a commit may be before its trip acts.
    late_s = 2 * max(2 * scenario.stand.commit_interval_s, 10.0)
    return (
        Fault(
            "crash",
            "process",
            "the watchdog cuts after its time; every committed reading is there, the next start"
            " marks the run aborted with its gap, and nothing goes on by itself",
            lambda at: (Change(at.stand, "silent", lambda silent: silent | {"outputs"}),),
            ends=False,
            ends_process=True,
        ),
        Fault(
            "archive_full",
            "process",
            "no closing without its intent on the disk; a contactor closed: record not written,"
            " stop category 1; an end that can't be written is one at the next start",
            lambda at: (becoming(at.disk, "full", True),),
        ),
        Fault(
            "archive_slow",
            "process",
            f"commits {late_s:g} s late: no closing before its intent is on the disk; a contactor"
            " closed: record not written, stop category 1",
            lambda at: (becoming(at.disk, "late_s", late_s),),
        ),
        Fault(
            "wall_clock_stepped",
            "process",
            "a new anchor, and nothing else: durations are of stand time",
            lambda at: (Change(at.utc, "stepped_s", lambda s: s + STEPPED_S),),
        ),
    )


def _operator_faults() -> tuple[SiteFault, ...]:
    def fault(name: str, must: str, attribute: str, value: Any) -> SiteFault:
        return Fault(
            name,
            "operator",
            must,
            lambda at: (becoming(at.operator, attribute, value),),
            ASKING,
        )

    return (
        fault("operator_slow", "wait, as long as the prompt may stand open", "slow", True),
        fault("operator_absent", "prompt unanswered: stop category 1", "absent", True),
        fault("operator_answers_twice", "count the first answer alone", "twice", True),
        fault(
            "operator_answers_stale",
            "take no answer to what was asked before; prompt unanswered: stop category 1",
            "stale",
            True,
        ),
        fault("operator_answers_no", "stop category 1, answered no", "says", False),
        Fault(
            "operator_asks_to_hold",
            "operator",
            "a heat run holds, set-points kept, and counts its steadiness anew",
            lambda at: (becoming(at.operator, "wants_hold", True),),
            ("soak", "overload"),
        ),
    )
