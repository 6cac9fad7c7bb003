"""How far a run has come: its stages in their order, and the least time that they still take."""

from drivers.outputs import LOOP_REGULATOR, LV_REGULATOR
from sequences.expected import Expected

LOSS_TEST = (
    "prepare",
    "prove",
    "energise",
    "no_load_readings",
    "circulate",
    "load_readings",
    "shut_down",
    "make_safe",
)
# Of a heat run, between load readings and shut down.
SOAKING = ("soak", "overload")
AFTER_SHUTDOWN = "cool"


def stages_of(expected: Expected) -> tuple[str, ...]:
    """Return the stages of the schedule's procedure, in their order."""
    soak = expected.schedule.soak
    if expected.schedule.procedure != "heat_run" or soak is None:
        return LOSS_TEST
    soaking = SOAKING if soak.overload is not None else SOAKING[:1]
    *before, shut_down, last = LOSS_TEST
    return (*before, *soaking, shut_down, AFTER_SHUTDOWN, last)


def least_to_go_s(expected: Expected, stage: str, within_s: float) -> float:
    """Return the least time from `within_s` into a stage to the end of the run, s.

    Windows, dwells and the travel of regulators; what people take, and how long a soak lasts until
    it is steady, is in nobody's hand and not in it.
    """
    stages = stages_of(expected)
    if stage not in stages:
        return 0.0
    takes = _least_s(expected)
    at = stages.index(stage)
    here = max(takes.get(stage, 0.0) - within_s, 0.0)
    return here + sum(takes.get(later, 0.0) for later in stages[at + 1 :])


def _least_s(expected: Expected) -> dict[str, float]:
    """Return the least time of each stage that has one, s."""
    schedule, nameplate = expected.schedule, expected.nameplate
    lv, loop = expected.lv_regulator, expected.loop_regulator
    lv_s = nameplate.lv_voltage_v / expected.promised_v(LV_REGULATOR, 1.0) / lv.rate_per_s
    loop_v = nameplate.hv_current_a * expected.loop_impedance_ohm
    loop_s = loop_v / expected.promised_v(LOOP_REGULATOR, 1.0) / loop.rate_per_s
    least = {
        "prove": 2 * loop_s,
        "energise": lv_s,
        "no_load_readings": schedule.dwell_s + schedule.window_s,
        "circulate": loop_s,
        "load_readings": schedule.window_s,
        "shut_down": loop_s + lv_s,
    }
    if schedule.soak is not None:
        least[AFTER_SHUTDOWN] = schedule.soak.cooling_s
        if schedule.soak.overload is not None:
            step = schedule.soak.overload
            least["overload"] = 3600.0 * step.hours + step.rated_again_s
    return least
