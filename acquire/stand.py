"""What a scenario's files lead one to expect, and whether its meters suit its pair."""

from acquire.configuration import ConfigurationError, Setup
from sequences.expected import Expected
from sequences.meter_rule import unsuited_meters


def unjudged(scenario: Setup) -> Expected:
    """Return what to expect of every reading, whether or not the meters suit the pair."""
    stand, pair = scenario.stand, scenario.pair
    polled = {c.name: i for i in stand.instrument for c in i.channel}
    by_hand = stand.outputs.resistance_selector.by_hand
    return Expected(
        nameplate=pair.nameplate,
        resistances=pair.resistances,
        channels=stand.channels(),
        periods_s={c: i.period_s for c, i in polled.items()},
        latencies_s={c: i.timeout_s for c, i in polled.items()},
        lv_regulator=stand.outputs.lv_regulator,
        loop_regulator=stand.outputs.loop_regulator,
        schedule=scenario.schedule,
        lv_branch_ohm=stand.lv_branch_ohm,
        averaging_s=stand.averaging_s,
        scan_period_s=stand.scan_period_s,
        commit_interval_s=stand.commit_interval_s,
        watchdog_drop_s=stand.watchdog.drop_s,
        thermal=pair.thermal,
        selector_positions=() if by_hand else stand.selector_positions(),
    )


def expected_of(scenario: Setup) -> Expected:
    """Return what to expect of every reading.

    Raises ConfigurationError where a meter breaks the meter rule, before anything moves.
    """
    expected = unjudged(scenario)
    polled = {c.name: i for i in scenario.stand.instrument for c in i.channel}
    for unsuited in unsuited_meters(expected):
        instrument = polled[unsuited.channel].name
        raise ConfigurationError(
            f"{scenario.name}/stand.toml",
            f"instrument {instrument}, channel {unsuited.channel}",
            unsuited.has,
            unsuited.needs,
            "meter rule for this pair",
        )
    regulator = expected.loop_regulator
    most_v = expected.most_loop_current_a * (expected.loop_impedance_ohm + regulator.source_ohm)
    if expected.schedule.most_current > 1 and most_v > regulator.full_voltage_v:
        raise ConfigurationError(
            f"{scenario.name}/schedules/{scenario.schedule_name}.toml",
            "soak",
            f"{expected.schedule.most_current:g} of rated current",
            f"at most what the loop supply's {regulator.full_voltage_v:g} V drive;"
            f" this needs {most_v:.0f} V",
        )
    return expected
