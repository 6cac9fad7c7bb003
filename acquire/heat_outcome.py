"""What a finished heat run comes to, beside the losses that its loss test gave."""

from typing import Any

from acquire.outcome import Reduced
from calculation.errors import ImpossibleReading
from calculation.nameplate import Pair
from sequences.expected import Expected
from sequences.heat_readings import heat_readings
from sequences.heat_record import HeatRecord

WARM_C = 80.0  # where a temperature sensor's limit of error is taken


def heat_reduced(
    losses: Reduced, record: HeatRecord, pair: Pair, expected: Expected, loss: Any
) -> Reduced:
    """Add rises, cooling curves, fitted parameters and overload ability to a loss test's result.

    The verdict is within only where losses and rises all are; outside where one is. A heat run
    that physics forbids has a finding and no verdict, its losses stay.
    """
    # Here, since only a heat run needs NumPy and its fits.
    from calculation.heat_plain import plain_heat
    from calculation.heat_test import HeatTest, heat_result
    from calculation.rise_budget import RiseAllowance
    from calculation.zeroing import zeroed

    if losses.result is None or expected.thermal is None:
        return losses
    sensor_k = max(expected.error_of(c, WARM_C) for c in expected.watched_warmth)
    try:
        readings = zeroed(heat_readings(record, expected, loss), sensor_k)
        test = HeatTest(
            readings,
            pair.nameplate,
            expected.thermal,
            expected.soak.standard,
            expected.lv_branch_ohm,
            _stated(losses.result, "no_load_loss_w"),
            _stated(losses.result, "load_loss_reference_w"),
            RiseAllowance(
                sensor_k=sensor_k,
                zeroed_k=None,
                air_sensors=max(len(expected.ambients), 1),
                **_meter(expected),
            ),
            losses.result["pair_mean"]["no_load_current_percent"],
            pair.guarantee.rule,
            _loop(losses.result, expected),
        )
        result = heat_result(test)
        plain = plain_heat(test, result)
    except ImpossibleReading as impossible:
        finding = {
            "name": "impossible_reading",
            "seen": str(impossible),
            "check": "the readings named: sensors, resistance meter, selector",
        }
        return Reduced(losses.result, None, losses.finding or finding)
    rows = list(losses.result["limits"])
    words = [losses.verdict]
    reasons = []
    for unit, found in result.units.items():
        words.append(found.verdict.verdict)
        if found.verdict.verdict is None:
            reasons.append(f"unit {unit.upper()}: {found.verdict.reason}")
        rows += [
            {
                "quantity": f"{unit}.{row.quantity}",
                "value": row.value,
                "guarantee": None,
                "lower_limit": None,
                "upper_limit": row.limit,
                "within": row.within,
                "guard": row.guard,
            }
            for row in found.verdict.rows
        ]
    return Reduced(
        losses.result | plain | {"limits": rows},
        _worst(words),
        losses.finding or _no_verdict(reasons),
    )


def _worst(words: list[str | None]) -> str | None:
    """Outside if one is outside, none if one has none, else within."""
    if "outside" in words:
        return "outside"
    return None if None in words else "within"


def _no_verdict(reasons: list[str]) -> dict[str, str] | None:
    if not reasons:
        return None
    return {
        "name": "no_verdict",
        "seen": "; ".join(reasons),
        "check": "soak, selector, settling of the resistance meter",
    }


def _stated(result: dict[str, Any], name: str) -> Any:
    from calculation.stated import Stated

    doubt = result["uncertainty"][name]
    return Stated(result["pair_mean"][name], doubt["expanded"], doubt["factor"])


def _loop(result: dict[str, Any], expected: Expected) -> Any:
    """What tells the twins' own LV currents at rated loop current, where the stand does."""
    from calculation.own_currents import LoopState

    angle, mean = expected.loop_regulator.angle_degree, result["pair_mean"]
    if angle is None:
        return None
    return LoopState(
        expected.nameplate.hv_current_a,
        mean["equivalent_resistance_ohm"],
        mean["equivalent_impedance_ohm"],
        mean["no_load_current_a"],
        mean["no_load_power_factor"],
        expected.nameplate.ratio,
        angle,
    )


def _meter(expected: Expected) -> dict[str, float]:
    """Limits of the resistance meter, percent: of reading, and what does not go with reading."""
    channels = [c for c in expected.channels.values() if ".resistance_" in c.name and c.accuracy]
    if not channels:
        return {}
    worst = [c.accuracy for c in channels if c.accuracy is not None]
    return {
        "meter_percent": max(a.reading_percent for a in worst),
        "linearity_percent": max(a.range_percent for a in worst),
    }
