"""What `supplies` does: what a pair's test needs, told before anything is wired."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from acquire.configuration import load_scenario
from acquire.files import read_file, validated
from acquire.refusal import Refusal
from acquire.stand import expected_of, unjudged
from acquire.supplies_table import show
from acquire.terminal import FINE, FOUND_WRONG, print_json
from acquire.trip_limits import distinct, trip_limits
from calculation.errors import ImpossibleReading
from calculation.nameplate import Pair
from calculation.results import as_plain
from calculation.supplies import (
    StageReadings,
    Supply,
    Twins,
    energy,
    expected_readings,
    preferred,
    supplies,
)
from drivers.description import Accuracy, Channel
from drivers.wiring import Regulator
from sequences.expected import Expected
from sequences.meter_rule import unsuited_meters
from sequences.scan import (
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_POWER,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
)

SHIPPED = "distribution_pair"
SCHEDULE = "loss_test"
HALVINGS = 200
ENDLESS = 1e12
# Meters, their unit, and what each reads of a stage.
METERS: tuple[tuple[str, str, str], ...] = (
    (LV_VOLTAGE, "V", "lv_voltage_v"),
    (LV_CURRENT, "A", "lv_current_a"),
    (LV_POWER, "W", "lv_power_w"),
    (SERIES_VOLTAGE, "V", "series_voltage_v"),
    (HV_VOLTAGE, "V", "hv_voltage_v"),
    (HV_CURRENT, "A", "hv_current_a"),
    (HV_POWER, "W", "hv_power_w"),
)
# Where the trips are shown: what lies between has the same limits or ends of its own.
TRIP_POINTS = (
    ("prove", "loop open"),
    ("prove", "at 100 % current"),
    ("no_load_readings", "loop open"),
    ("load_readings", "at rated current"),
)
# Rated secondaries of transformers.
SECONDARY = {"V": 100.0, "A": 5.0}


@dataclass(frozen=True, slots=True)
class Plan:
    """What the answer depends on besides the pair: how long, at what price, which inputs."""

    hours: float = 8.0
    price_per_kwh: float = 0.25
    direct_v: float = 1000.0
    direct_a: float = 20.0


def supplies_of(pair: str, schedule: str, plan: Plan, as_json: bool) -> int:
    """Tell what the test of a pair needs; `pair` is a pair file, a scenario's name or folder.

    Raises ConfigurationError for what its files have wrong, Refusal for a nameplate that
    contradicts itself.
    """
    try:
        name, expected, stand_known = _expected(pair, schedule)
        plain = plain_supplies(expected, plan, stand_known)
    except ImpossibleReading as impossible:
        raise Refusal(f"{pair}: {impossible}") from impossible
    except ArithmeticError as beyond:
        raise Refusal(f"{pair}: a value in it is beyond all measure") from beyond
    if as_json:
        print_json({"pair": name, **plain})
    else:
        show(name, plain)
    return FINE if not plain["stand"] or plain["stand"]["suits"] else FOUND_WRONG


def plain_supplies(expected: Expected, plan: Plan, stand_known: bool) -> dict[str, Any]:
    """Return everything that the test needs, JSON-ready.

    Raises ImpossibleReading where the nameplate contradicts itself.
    """
    twins = Twins(expected.nameplate, 2 * expected.ratio_limit, expected.lv_branch_ohm)
    lv, loop = supplies(twins)
    stages = expected_readings(twins)
    if not stand_known:
        expected = _sized(expected, lv, loop)
    points = tuple(s for s in stages if (s.stage, s.at) in TRIP_POINTS)
    trips = trip_limits(expected, points)
    if not stand_known:  # temperatures are limited by a schedule
        trips = [t for t in trips if expected.channels[t.channel].unit != "°C"]
    voltmeter = _series_voltmeter(expected)
    most = _most(stages) | {SERIES_VOLTAGE: voltmeter["range_v"] or 0.0}
    most[LV_CURRENT] = max(most[LV_CURRENT], _least_range(expected, LV_CURRENT))
    return {
        "worst_mismatch_percent": 100 * twins.mismatch,
        "supplies": {"lv": as_plain(lv), "loop": as_plain(loop)},
        "series_voltmeter": voltmeter,
        "meters": [_meter(channel, unit, most[channel], plan) for channel, unit, _ in METERS],
        "stages": as_plain(stages),
        "trips": as_plain(distinct(trips)),
        "energy": as_plain(energy(expected.nameplate, plan.hours, plan.price_per_kwh)),
        "stand": _stand(expected, lv, loop) if stand_known else None,
    }


def _expected(pair: str, schedule: str) -> tuple[str, Expected, bool]:
    """Return the pair's name, what to expect, and whether a stand is known."""
    path = Path(pair)
    if not path.is_file():
        scenario = load_scenario(pair, schedule)
        return scenario.pair.name, unjudged(scenario), True
    known = validated(read_file(path, pair), Pair)
    # A stand of meters without fault or end, on the shipped schedule.
    bare = expected_of(load_scenario(SHIPPED, SCHEDULE))
    channels = {
        name: replace(channel, accuracy=None, ranges=(ENDLESS,), ratio=1.0)
        for name, channel in bare.channels.items()
    }
    expected = replace(
        bare,
        nameplate=known.nameplate,
        resistances=known.resistances,
        channels=channels,
        lv_branch_ohm=0.0,
    )
    return known.name, expected, False


def _sized(expected: Expected, lv: Supply, loop: Supply) -> Expected:
    """Return the same with regulators that just deliver what is needed."""

    def sized(regulator: Regulator, volts: float) -> Regulator:
        return replace(regulator, full_voltage_v=volts, source_ohm=0.0)

    return replace(
        expected,
        lv_regulator=sized(expected.lv_regulator, lv.voltage_v),
        loop_regulator=sized(expected.loop_regulator, loop.voltage_v),
    )


def _series_voltmeter(expected: Expected) -> dict[str, float | None]:
    """Return what the meter rule asks of the series voltmeter."""
    top_v = _least_range(expected, SERIES_VOLTAGE)
    most = None
    if _suits(expected, SERIES_VOLTAGE, top_v, 0.0):
        most = _edge(lambda b: _suits(expected, SERIES_VOLTAGE, top_v, b), 0.0, 10.0)
    return {
        "range_v": top_v,
        "range_error_percent": most,
        "judged_at_v": expected.gap_limit_v,
    }


def _least_range(expected: Expected, channel: str) -> float:
    """Return the least range of a perfect meter that the meter rule takes, found by asking it."""
    return _edge(lambda top: not _suits(expected, channel, top, 0.0), 0.0, ENDLESS)


def _suits(expected: Expected, channel: str, top: float, range_percent: float) -> bool:
    """Return whether the meter rule takes this range and class, every other meter perfect."""
    channels = {
        name: replace(known, accuracy=Accuracy(0.0, 0.0), ranges=(ENDLESS,))
        for name, known in expected.channels.items()
    }
    accuracy = Accuracy(0.0, range_percent)
    channels[channel] = replace(channels[channel], accuracy=accuracy, ranges=(top,))
    breaches = unsuited_meters(replace(expected, channels=channels))
    return all(breach.channel != channel for breach in breaches)


def _edge(holds: Callable[[float], bool], inside: float, outside: float) -> float:
    """Return where what holds at `inside` ends on the way to `outside`."""
    for _ in range(HALVINGS):
        middle = (inside + outside) / 2
        if holds(middle):
            inside = middle
        else:
            outside = middle
    return outside


def _most(stages: tuple[StageReadings, ...]) -> dict[str, float]:
    """Return up to what every meter must read; an aiding pair in prove may be over range."""
    found = {}
    for channel, _unit, field in METERS:
        seen = [getattr(s, field) for s in stages if not s.aiding]
        found[channel] = max(v if isinstance(v, float) else v.most for v in seen)
    return found


def _meter(channel: str, unit: str, most: float, plan: Plan) -> dict[str, Any]:
    """Return up to what a meter must read, and what has to stand before it."""
    found: dict[str, Any] = {"channel": channel, "unit": unit, "reads_up_to": most}
    direct = {"V": plan.direct_v, "A": plan.direct_a}.get(unit)
    if direct is None:
        return found | {"ratio": None, "transformer": "as its V and A"}
    if most <= direct:
        return found | {"ratio": 1.0, "transformer": None}
    if channel == SERIES_VOLTAGE:
        # r is judged at less than a hundredth of this range: no VT has a class there.
        ratio = preferred(most / direct)
        return found | {"ratio": ratio, "transformer": f"divider {ratio:g}:1, no VT"}
    secondary = SECONDARY[unit]
    ratio = preferred(most / secondary)
    words = f"{'VT' if unit == 'V' else 'CT'} {ratio * secondary:g}/{secondary:g} {unit}"
    return found | {"ratio": ratio, "transformer": words}


def _stand(expected: Expected, lv: Supply, loop: Supply) -> dict[str, Any]:
    """Return whether the stand's regulators reach what is needed, and its breaches of the rule."""
    regulators = {}
    for name, supply, regulator in (
        ("lv", lv, expected.lv_regulator),
        ("loop", loop, expected.loop_regulator),
    ):
        needed = supply.voltage_v + regulator.source_ohm * supply.current_a
        regulators[name] = {
            "full_voltage_v": regulator.full_voltage_v,
            "needed_v": needed,
            "reaches": needed <= regulator.full_voltage_v,
        }
    breaches = [u._asdict() for u in unsuited_meters(expected)]
    meters = [_has(expected.channels[channel]) for channel, _, _ in METERS]
    return {
        "regulators": regulators,
        "meters": meters,
        "breaches": breaches,
        "suits": not breaches and all(r["reaches"] for r in regulators.values()),
    }


def _has(channel: Channel) -> dict[str, Any]:
    return {"channel": channel.name, "ranges": list(channel.ranges), "ratio": channel.ratio}
