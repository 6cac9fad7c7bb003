"""What ends a run: every trip with its arming, limit, delay, category, hazard and words.

Categories are stop categories of IEC 60204-1: 0 cuts at once, 1 ramps down and then cuts. The
limits are common practice, no source; a schedule may tighten some of them.
"""

from collections.abc import Callable
from typing import NamedTuple

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from sequences import age_conditions as age
from sequences import conditions as when
from sequences import warm_conditions as warm
from sequences.conditions import Armed, Exceeded, View, reads, saying
from sequences.prompt import OPERATOR_ABORT, OPERATOR_STOP
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
    UNITS,
    WINDINGS,
)


class Trip(NamedTuple):
    """One row: while `armed`, once `exceeded` for `readings` readings and `delay_s`, it acts.

    `watch` names the channel whose arriving readings are judged (None: judged once a scan), and
    `since` the output after whose last command a reading has to have begun (after it was seen at
    rest where `from_rest`). `withholds` stops the heartbeat, the way out that needs no bus;
    `deadline_s` bounds its category 1 stop.
    """

    name: str
    watch: str | None
    category: int
    armed: Armed
    exceeded: Exceeded
    hazard: str
    seen: Callable[[View], str]
    check: str
    readings: int = 1
    delay_s: float = 0.0
    since: str | None = None
    from_rest: bool = False
    withholds: bool = False
    deadline_s: float | None = None


# The rows keep a shape of their own: one trip a paragraph.
# fmt: off
def _contactor(output: str) -> tuple[Trip, ...]:
    return (
        Trip(f"{output}_will_not_open", output, 0, when.told_open(output), when.closed,
             "the stand stays live after a stop",
             saying(f"{output} told to open, its contact still reads closed: may be live"),
             "welded contacts or a stuck auxiliary contact; treat as live",
             delay_s=0.5, since=output, withholds=True),
        Trip(f"{output}_will_not_close", output, 1, when.told_closed(output), when.opened,
             "a command that is not followed is followed later, unexpectedly",
             saying(f"{output} told to close, its contact still reads open"),
             "coil supply, watchdog relay, auxiliary contact",
             delay_s=1.0, since=output),
        Trip(f"{output}_opened_by_itself", output, 0, when.held_closed(output), when.opened,
             "it could close again by itself onto a raised regulator",
             saying(f"{output} opened without a command"),
             "watchdog relay, coil supply, hardware over-current",
             since=output, from_rest=True),
    )


def _supply(
    side: str, regulator: str, channel: str, closed: Armed, proven: Armed, full: when.Full
) -> tuple[Trip, ...]:
    return (
        Trip(f"{side}_regulator_does_not_follow", None, 1, closed, age.late(regulator),
             "a drive or its feedback is dead and would be raised for ever",
             age.late_words(regulator),
             "regulator drive, position feedback"),
        Trip(f"{side}_voltage_does_not_follow", channel, 1, proven, when.deaf(regulator),
             "a dead voltage reading would be raised for ever",
             reads(channel, "less than a quarter of what the position promises was added"),
             "voltmeter leads and fuses, supply behind the regulator",
             delay_s=3.0),
        Trip(f"{side}_regulator_runs_away", regulator, 0, closed, when.wandered(regulator),
             "voltage or current rises without being told to",
             reads(regulator, "more than 2 % of travel off its target"),
             "regulator drive, its contactors, position feedback",
             readings=2, since=regulator, from_rest=True),
        Trip(f"{side}_voltage_runs_away", channel, 0, closed, when.drifted(channel, full),
             "voltage or current changes without being told to",
             reads(channel, "more than 10 % off within 10 s of rest"),
             "supply behind the regulator, regulator drive",
             readings=2, since=regulator),
    )


def _top_liquid(unit: str, channel: str) -> Trip:
    return Trip(f"over_temperature_{unit}", channel, 1, when.any_closed, warm.too_hot,
                "insulation ages and liquid degrades",
                reads(channel, "above the schedule's limit"), "cooling, load, sensor",
                readings=3)


def _winding(channel: str) -> Trip:
    return Trip(f"over_temperature_{channel.replace('.', '_')}", channel, 1, when.any_closed,
                warm.winding_too_hot, "insulation ages and may burn",
                reads(channel, "above the schedule's limit"), "cooling air, load, sensor",
                readings=3)


def _rise_rate(channel: str) -> Trip:
    return Trip(f"rises_too_fast_{channel.replace('.', '_')}", channel, 1, when.any_closed,
                warm.rises_too_fast(channel), "a fault inside the unit, or cooling that has failed",
                reads(channel, "rising faster than the schedule allows"),
                "cooling, load, sensor", readings=3)


WINDING_CHANNELS = tuple(f"{unit}.{place}" for unit in UNITS for place in WINDINGS)


TRIPS: tuple[Trip, ...] = (
    Trip("emergency_stop", EMERGENCY_STOP, 0, when.always, when.opened,
         "somebody wants everything off", saying("the emergency stop circuit opened"),
         "who pressed it, and why"),
    Trip("protection_contact", PROTECTION_CONTACT, 0, when.always, when.opened,
         "gas, pressure or winding temperature inside a unit",
         saying("a protection contact opened"),
         "gas relay, pressure relief and winding thermometers of both units"),
    Trip("guard", GUARD, 0, when.energised, when.opened,
         "somebody can reach live parts", saying("the guard opened while energised"),
         "who opened it; nobody is to enter before discharge and earth"),
    Trip("command_lost", None, 0, when.always, when.command_lost,
         "what is told to the outputs no longer reaches them", when.lost_words,
         "supply and link of what drives the outputs; the watchdog cuts by itself"),
    *_contactor(LV),
    *_contactor(LOOP),
    Trip("overvoltage", LV_VOLTAGE, 0, when.always, when.above_rated_lv,
         "both cores saturate, insulation is stressed", reads(LV_VOLTAGE, "above 1.1 of rated"),
         "LV regulator and its drive", readings=2, since=LV_REGULATOR),
    Trip("volts_per_hertz", LV_VOLTAGE, 0, when.always, when.too_much_flux,
         "both cores saturate", reads(FREQUENCY, "flux above 1.1 of rated"),
         "frequency of the LV supply", readings=2, since=LV_REGULATOR),
    Trip("lv_supply_current", LV_CURRENT, 0, when.lv_closed, when.lv_supply_over,
         "a shorted turn, a link left on, a pair that does not oppose",
         reads(LV_CURRENT, "more than two unloaded units draw"),
         "links and earths on the LV side, shorted turns, connection",
         readings=2, since=LV_REGULATOR),
    Trip("loop_current", HV_CURRENT, 0, when.loop_closed, when.loop_over,
         "windings overheat, forces on them rise with the square",
         reads(HV_CURRENT, "above 1.15 of rated"),
         "loop regulator, connection of the pair", readings=2),
    Trip("opposition_lost", SERIES_VOLTAGE, 0, when.opposition_shown, when.not_opposed,
         "the next closing of the loop meets a voltage that does not cancel",
         reads(SERIES_VOLTAGE, "r above 1.25 of its limit"),
         "leads of the HV loop, taps, voltmeter leads", readings=2, since=LV_REGULATOR),
    Trip("loop_residual", HV_VOLTAGE, 0, when.loop_loaded, when.residual_over,
         "voltage across the loop that its impedance does not explain",
         reads(HV_VOLTAGE, "not explained by 2 Z_e I and the gap voltage"),
         "leads of the HV loop, a fault inside a unit, HV analyser",
         readings=3, since=LOOP_REGULATOR),
    Trip("current_with_loop_open", HV_CURRENT, 0, when.loop_told_open, when.loop_current_flows,
         "the loop contactor is not open although its contact says so",
         reads(HV_CURRENT, "with the loop contactor open: may be live"),
         "loop contactor welded, auxiliary contact stuck; treat as live",
         readings=2, since=LOOP, withholds=True),
    Trip("supply_lost", LV_VOLTAGE, 0, when.lv_set_up, when.lv_gone,
         "the supply would return onto a raised regulator",
         reads(LV_VOLTAGE, "below half of what the regulator promises"),
         "LV supply, its fuses and upstream breaker", readings=2, since=LV_REGULATOR),
    *_supply("lv", LV_REGULATOR, LV_VOLTAGE, when.lv_closed, when.lv_closed_proven, when.rated_lv),
    *_supply("loop", LOOP_REGULATOR, HV_VOLTAGE, when.loop_closed, when.loop_closed_proven,
             when.rated_loop),
    Trip("frequency", FREQUENCY, 1, when.lv_above_half, when.off_frequency,
         "losses and flux are not those of rated frequency",
         reads(FREQUENCY, "more than 1 % off rated"), "the LV source", delay_s=10.0),
    Trip("stale_channel", None, 1, when.any_closed, age.something_stale,
         "the stand is run blind", age.stale_words, "that instrument, its supply and its link",
         deadline_s=2.0),
    _top_liquid("a", TOP_LIQUID_A),
    _top_liquid("b", TOP_LIQUID_B),
    *(_winding(channel) for channel in WINDING_CHANNELS),
    *(_rise_rate(channel) for channel in (TOP_LIQUID_A, TOP_LIQUID_B, *WINDING_CHANNELS)),
    Trip("twins_disagree", TOP_LIQUID_B, 1, when.any_closed, warm.twins_differ,
         "one unit is hot or one sensor is wrong", warm.twins_words,
         "valves, liquid level and sensor pockets of both units", readings=3),
    Trip("winding_twins_disagree", WINDING_CHANNELS[-1], 1, when.any_closed, warm.twins_differ,
         "one unit is hot or one sensor is wrong", warm.twins_words,
         "cooling air and sensors of both units", readings=3),
    Trip("ambient_out_of_range", "ambient.1", 1, when.any_closed, warm.ambient_out_of_range,
         "rises are not those of the cooling air that the standard allows",
         reads("ambient.1", "outside the schedule's range for half an hour"),
         "doors, ventilation and heating of the test room", delay_s=1800.0),
    Trip("record_not_written", None, 1, when.any_closed, when.record_late,
         "a test without a record is no test",
         saying("the archive has not been committed in time"),
         "disk space, permissions and load of the archive's folder"),
    Trip("prompt_unanswered", None, 1, when.prompt_open, when.prompt_expired,
         "nobody is at the stand", when.prompt_words, "the person who was asked"),
    Trip(OPERATOR_STOP, None, 1, when.always, when.stop_asked,
         "the person in charge wants the run to end", when.asked_words(OPERATOR_STOP),
         "who or what asked for the end, and why"),
    Trip(OPERATOR_ABORT, None, 0, when.always, when.abort_asked,
         "the person in charge wants the stand dead at once",
         when.asked_words(OPERATOR_ABORT),
         "who asked for everything to open at once, and why"),
)
# fmt: on
