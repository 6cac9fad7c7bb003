"""What a scenario's files lead one to expect, and whether its meters suit its pair."""

from acquire.configuration import ConfigurationError, Setup
from sequences.expected import Expected
from sequences.meter_rule import unsuited_meters
from sequences.scan import LV_CURRENT, LV_VOLTAGE, SERIES_VOLTAGE

# What of the nameplate a meter is judged by, where it may be the pair's file that is wrong.
OF_THE_PAIR = {
    LV_VOLTAGE: ("lv_voltage_v", "impedance_percent"),
    LV_CURRENT: ("power_va", "lv_voltage_v", "no_load_current_percent", "no_load_loss_w"),
    SERIES_VOLTAGE: ("hv_voltage_v", "impedance_percent", "power_va"),
}
OF_THE_LOOP = ("power_va", "hv_voltage_v", "impedance_percent")


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
            scenario.shown.stand,
            f"instrument {instrument}, channel {unsuited.channel}",
            unsuited.has,
            unsuited.needs,
            f"meter rule for the pair of {_pair(scenario, unsuited.channel)}",
        )
    regulator = expected.loop_regulator
    most_v = expected.most_loop_current_a * (expected.loop_impedance_ohm + regulator.source_ohm)
    if expected.schedule.most_current > 1 and most_v > regulator.full_voltage_v:
        raise ConfigurationError(
            scenario.shown.schedule,
            "soak",
            f"{expected.schedule.most_current:g} of rated current",
            f"at most what the loop supply's {regulator.full_voltage_v:g} V drive;"
            f" this needs {most_v:.0f} V",
        )
    return expected


def _pair(scenario: Setup, channel: str) -> str:
    """Return the pair's file with what of it a meter is judged by."""
    keys = OF_THE_PAIR.get(channel, OF_THE_LOOP)
    values = ", ".join(f"{key} = {getattr(scenario.pair.nameplate, key):g}" for key in keys)
    return f"{scenario.shown.pair}: are {values} right?"
