"""How every trip of the table is provoked on the simulated plant, and how it stays silent.

Two tables with a row for each trip: `ACTS` breaks the plant where the trip is armed, `SILENT` where
it is not.
"""

from dataclasses import replace

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from drivers.simulated.circuit import OPPOSITION
from tests.stand.hands import (
    asking,
    asking_to_abort,
    asking_to_stop,
    both,
    hidden,
    leaving,
    locking,
    losing_a_write,
    meter,
    moving_first,
    nothing,
    opening_first,
    opening_that_lies,
    output,
    raising_after,
    setting,
    shorted_turn,
    silencing,
    then,
)
from tests.stand.heat_provocations import HEATED, HEATED_UNARMED
from tests.stand.held import (
    circulating,
    closing,
    loaded,
    moving,
    no_load,
    opening,
    prepared,
    preparing,
    proving,
    proving_closed,
)
from tests.stand.provocation import Provocation

TAP_ERROR = setting("wiring", replace(OPPOSITION, tap_steps=1))
OPENS_S = 0.04
TRAVEL_S = 0.1 / 0.04  # of the moves of a tenth below
SEEN_AT_REST_S = 0.2 + 0.01 + 0.2  # contacts' poll, and the meters' own averaging
DRIFT_PER_S = -0.05
DRIFTS_S = 0.02 / -DRIFT_PER_S
STALE_S = 5.0
COMMITS_S = 120.0
EXPIRES_S = 30.0
SCAN_S = 1.0
LOST_S = 0.5  # the time-out of a write

ACTS: dict[str, Provocation] = {
    "emergency_stop": Provocation(loaded, setting("emergency_stop", False)),
    "protection_contact": Provocation(loaded, setting("protection_contact", False)),
    "guard": Provocation(loaded, setting("guard", False)),
    "command_lost": Provocation(loaded, losing_a_write, develops_s=SCAN_S + LOST_S),
    "lv_contactor_will_not_open": Provocation(
        no_load, setting("lv_contactor.welded", True), part=then(opening(LV)), since="command"
    ),
    "lv_contactor_will_not_close": Provocation(
        prepared, setting("lv_contactor.jammed", True), part=then(closing(LV)), since="command"
    ),
    "lv_contactor_opened_by_itself": Provocation(
        loaded, setting("lv_contactor.fallen_out", True), develops_s=OPENS_S
    ),
    "loop_contactor_will_not_open": Provocation(
        loaded, setting("loop_contactor.welded", True), part=then(opening(LOOP)), since="command"
    ),
    "loop_contactor_will_not_close": Provocation(
        no_load, setting("loop_contactor.jammed", True), part=then(closing(LOOP)), since="command"
    ),
    "loop_contactor_opened_by_itself": Provocation(
        loaded, setting("loop_contactor.fallen_out", True), develops_s=OPENS_S
    ),
    "overvoltage": Provocation(no_load, setting("lv_regulator.output", 1.0), "lv_analyser"),
    "volts_per_hertz": Provocation(no_load, setting("frequency_hz", 45.0), "lv_analyser"),
    "lv_supply_current": Provocation(no_load, shorted_turn(300.0), "lv_analyser"),
    # Soon after a move: a supply long at rest that rises is first of all one that runs away.
    "loop_current": Provocation(
        loaded,
        nothing,
        part=moving_first(
            LOOP_REGULATOR, 0.76, setting("loop_regulator.output", 1.0), "hv_analyser"
        ),
    ),
    "opposition_lost": Provocation(no_load, TAP_ERROR, "series_voltmeter"),
    "loop_residual": Provocation(loaded, meter("hv.voltage.1", multiplier=1.08), "hv_analyser"),
    "current_with_loop_open": Provocation(
        loaded, nothing, "hv_analyser", part=opening_that_lies, since="command"
    ),
    "supply_lost": Provocation(no_load, setting("lv_supply_lost", True), "lv_analyser"),
    "lv_regulator_does_not_follow": Provocation(
        no_load,
        setting("lv_regulator.stuck", True),
        part=then(moving(LV_REGULATOR, 0.7734)),
        since="command",
        develops_s=TRAVEL_S + 3.0,
        ends="aborted",
    ),
    "lv_voltage_does_not_follow": Provocation(
        no_load,
        nothing,
        part=raising_after,
        since="command",
        develops_s=TRAVEL_S + SEEN_AT_REST_S,
    ),
    "lv_regulator_runs_away": Provocation(
        no_load, setting("lv_regulator.drift_per_s", DRIFT_PER_S), develops_s=DRIFTS_S
    ),
    "lv_voltage_runs_away": Provocation(no_load, output(LV_REGULATOR, 0.85), "lv_analyser"),
    "loop_regulator_does_not_follow": Provocation(
        loaded,
        setting("loop_regulator.stuck", True),
        part=then(moving(LOOP_REGULATOR, 0.68)),
        since="command",
        develops_s=TRAVEL_S + 3.0,
        ends="aborted",
    ),
    "loop_voltage_does_not_follow": Provocation(
        circulating,
        setting("loop_supply_lost", True),
        part=then(moving(LOOP_REGULATOR, 0.1)),
        since="command",
        develops_s=TRAVEL_S + SEEN_AT_REST_S,
    ),
    "loop_regulator_runs_away": Provocation(
        loaded, setting("loop_regulator.drift_per_s", DRIFT_PER_S), develops_s=DRIFTS_S
    ),
    "loop_voltage_runs_away": Provocation(loaded, output(LOOP_REGULATOR, 0.85), "hv_analyser"),
    "frequency": Provocation(no_load, setting("frequency_hz", 49.0), "lv_analyser"),
    "stale_channel": Provocation(
        loaded, silencing("hv_analyser"), "hv_analyser", develops_s=STALE_S, ends="aborted"
    ),
    **HEATED,
    "record_not_written": Provocation(loaded, locking, develops_s=COMMITS_S),
    "prompt_unanswered": Provocation(
        preparing,
        leaving,
        part=then(asking(EXPIRES_S)),
        since="command",
        develops_s=EXPIRES_S,
    ),
    "operator_stop": Provocation(loaded, asking_to_stop),
    "operator_abort": Provocation(loaded, asking_to_abort),
}

# Armed always: they act before anything is switched on.
EARLY: dict[str, Provocation] = {
    "emergency_stop": Provocation(preparing, setting("emergency_stop", False)),
    "protection_contact": Provocation(preparing, setting("protection_contact", False)),
    "command_lost": Provocation(preparing, losing_a_write),
    "overvoltage": Provocation(preparing, hidden(LV, 1.0)),
    "volts_per_hertz": Provocation(preparing, both(setting("frequency_hz", 45.0), hidden(LV, 0.9))),
    "operator_stop": Provocation(preparing, asking_to_stop),
    "operator_abort": Provocation(preparing, asking_to_abort),
}

# The same faults where they do no harm, or where another trip is the one to see them.
SILENT: dict[str, Provocation] = {
    "guard": Provocation(preparing, setting("guard", False)),
    "lv_contactor_will_not_open": Provocation(no_load, nothing),
    "lv_contactor_will_not_close": Provocation(prepared, nothing),
    "lv_contactor_opened_by_itself": Provocation(no_load, nothing, part=then(opening(LV))),
    "loop_contactor_will_not_open": Provocation(loaded, nothing),
    "loop_contactor_will_not_close": Provocation(no_load, nothing),
    "loop_contactor_opened_by_itself": Provocation(circulating, nothing, part=then(opening(LOOP))),
    "lv_supply_current": Provocation(preparing, both(hidden(LV, 0.05), shorted_turn(50.0))),
    "loop_current": Provocation(
        no_load,
        both(hidden(LOOP), setting("loop_regulator.output", 1.0)),
        instead="current_with_loop_open",
    ),
    "opposition_lost": Provocation(
        no_load,
        nothing,
        part=moving_first(LV_REGULATOR, 0.6, TAP_ERROR, "series_voltmeter"),
        watch_s=25.0,
    ),
    "loop_residual": Provocation(
        circulating,
        meter("hv.voltage.1", multiplier=1.5),
        part=then(moving(LOOP_REGULATOR, 0.15)),
    ),
    "current_with_loop_open": Provocation(loaded, nothing),
    "supply_lost": Provocation(proving, setting("lv_supply_lost", True)),
    "lv_regulator_does_not_follow": Provocation(
        prepared, setting("lv_regulator.stuck", True), part=then(moving(LV_REGULATOR, 0.017))
    ),
    "lv_regulator_runs_away": Provocation(prepared, setting("lv_regulator.drift_per_s", 0.05)),
    "lv_voltage_runs_away": Provocation(preparing, hidden(LV, 0.05)),
    "loop_regulator_does_not_follow": Provocation(
        loaded,
        setting("loop_regulator.stuck", True),
        part=then(opening_first(LOOP_REGULATOR, 0.0)),
        watch_s=45.0,
    ),
    "loop_voltage_does_not_follow": Provocation(
        proving_closed, setting("loop_supply_lost", True), part=then(moving(LOOP_REGULATOR, 0.15))
    ),
    "loop_regulator_runs_away": Provocation(no_load, setting("loop_regulator.drift_per_s", 0.05)),
    "loop_voltage_runs_away": Provocation(no_load, setting("loop_regulator.output", 0.5)),
    "frequency": Provocation(proving, setting("frequency_hz", 49.0)),
    "stale_channel": Provocation(preparing, silencing("lv_analyser")),
    **HEATED_UNARMED,
    "record_not_written": Provocation(preparing, locking, watch_s=COMMITS_S + 10),
    "prompt_unanswered": Provocation(preparing, nothing, part=then(asking(6.0))),
}
