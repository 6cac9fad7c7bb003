"""A heat run's result and the events of its soak: invented, for the tables and the figure."""

from typing import Any

from tests.acquire.canned import RESULT


def doubt(expanded: float, factor: float = 2.0) -> dict[str, float]:
    """Return an uncertainty as a result has it."""
    return {"standard": expanded / factor, "expanded": expanded, "factor": factor}


def with_doubt(expanded: float, factor: float = 2.0, **values: float) -> dict[str, Any]:
    """Return values that all have the same uncertainty."""
    return {**values, "uncertainty": {name: doubt(expanded, factor) for name in values}}


def judged(quantity: str, value: float, limit: float, within: bool | None) -> dict[str, Any]:
    """Return a row of `limits` as a rise has it."""
    return {
        "quantity": quantity,
        "value": value,
        "guarantee": None,
        "lower_limit": None,
        "upper_limit": limit,
        "within": within,
        "guard": 0.0,
    }


def curve(resistance_ohm: float, winding_c: float, *, weak: bool = False) -> dict[str, Any]:
    """Return a winding's cooling curve as a result has it."""
    return {
        "resistance_0_ohm": resistance_ohm,
        "winding_0_c": winding_c,
        "time_constant_s": 312.0,
        "first_settled_s": 65.4,
        "last_s": 1790.0,
        "readings": 865,
        "left_out": 20,
        "scatter_k": 0.017,
        "weak": weak,
        "uncertainty": {
            "winding_0_c": doubt(0.18),
            "resistance_0_ohm": doubt(resistance_ohm * 6e-4),
        },
    }


def load(ambient_c: float, hours: float, value: float | None, by: str) -> dict[str, Any]:
    """Return a permissible load; None with the reason in `by`."""
    row = {"hours": hours, "ambient_c": ambient_c, "preload": 0.8, "load": value}
    if value is None:
        return row | {"why": by}
    return row | {"expanded": 0.0 if by == "current" else 0.0312, "limited_by": by}


RISES = {
    unit: with_doubt(
        0.26,
        1.9,
        top_liquid_k=47.02 + more,
        average_liquid_k=39.2 + more,
        winding_hv_k=53.7 + more,
        winding_lv_k=51.2 + more,
        hot_spot_k=63.0 + more,
    )
    for unit, more in (("a", 0.0), ("b", 2.7))
}
LIMITS = [
    row
    for unit in ("a", "b")
    for row in (
        judged(f"{unit}.top_liquid_k", 47.0, 60.0, True),
        judged(f"{unit}.average_k({unit}_hv)", 53.7, 65.0, True),
        judged(f"{unit}.hot_spot_k({unit}_hv)", 63.0, 78.0, True),
        judged(f"{unit}.average_k({unit}_lv)", 51.2, 65.0, True),
        judged(f"{unit}.hot_spot_k({unit}_lv)", 60.3, 78.0, True),
    )
]
FITTED = with_doubt(
    4.68,
    2.0,
    top_liquid_time_constant_s=9575.3,
    tau_o_s=9575.3,
    ultimate_top_liquid_k=46.46,
    loss_exponent=0.8,
    loss_ratio=5.465,
) | {"k11": 1.0, "exponent_assumed": True}
PERMISSIBLE = [
    load(20.0, 0.5, 1.5, "current"),
    load(20.0, 24.0, 1.3785, "hot spot"),
    load(40.0, 0.5, 1.2999999999, "hot spot"),
    load(40.0, 24.0, None, "even no load goes beyond the limit"),
]
STEADY = {
    "at_s": 43650.0,
    "rule": "IEC 60076-2",
    "rate_k_per_h": 0.322,
    "hour_ends_s": 43680.0,
    "regulator_movements": 27,
    "units": {
        unit: with_doubt(0.24, 2.0, last_hour_k=47.0, ultimate_k=47.8, remaining_k=0.82)
        for unit in ("a", "b")
    },
    "remaining_k": 0.82,
    "uncertainty": {"remaining_k": doubt(0.24)},
}
TWINS = {
    "rows": [
        {"quantity": "top_liquid_k", "difference_k": -2.72, "limit_k": 0.4, "warmer": "b"},
        {"quantity": "gradient_k(lv)", "difference_k": -0.31, "limit_k": 1.2, "warmer": None},
    ],
    "lv_currents_a": {"a": 251.2, "b": 248.9},
    "current_effect_k": 0.18,
}
STEP = with_doubt(1.1, 2.0, predicted_top_liquid_k=55.2) | {
    "current": 1.2,
    "hours": 2.0,
    "begin_top_liquid_k": 46.8,
    "measured_top_liquid_k": 54.6,
}
HEAT: dict[str, Any] = RESULT | {
    "rises": RISES,
    "gradients": {
        unit: with_doubt(1.2, 1.7, winding_hv_k=14.5, winding_lv_k=12.1) for unit in ("a", "b")
    },
    "steady": STEADY,
    "cooling": {
        "a_hv": curve(3.4224, 76.62),
        "b_hv": curve(3.4908, 79.4),
        "a_lv": curve(0.0124923, 74.2),
        "b_lv": curve(0.012753, 77.62),
    },
    "fitted": {"a": FITTED, "b": FITTED},
    "overload": {unit: {"permissible": PERMISSIBLE} for unit in ("a", "b")},
    "overload_step": {"a": STEP, "b": STEP},
    "twins": TWINS,
    "heat_losses": {
        "total_loss_run_w": 2071.6,
        "current_run_a": 15.13,
        "winding_run_c": 77.0,
        "total_loss_reference_w": 2073.2,
        "reference_temperature_c": 75.0,
    },
    "uncertainty": {"total_loss_w": doubt(8.6)},
    "limits": [row | {"within": True} for row in RESULT["limits"]] + LIMITS,
}
# A dry-type unit has windings and no liquid, and nothing is fitted of it.
DRY: dict[str, Any] = HEAT | {
    "rises": {
        unit: with_doubt(1.4, 1.7, winding_lv_k=70.9, winding_hv_k=80.9) for unit in ("a", "b")
    },
    "gradients": {unit: {"uncertainty": {}} for unit in ("a", "b")},
    "fitted": {"a": None, "b": None},
    "overload": {"a": None, "b": None},
    "overload_step": {"a": None, "b": None},
    "limits": [
        judged(f"{unit}.average_k({unit}_{side})", 80.0, 100.0, True)
        for unit in ("a", "b")
        for side in ("lv", "hv")
    ],
}


def soaking(rate: float, held_s: float, rise: float, hold_s: float | None = None) -> dict[str, Any]:
    """Return how one unit's soak stands, as a `shows` event has it."""
    stands = {"rate_k_per_h": rate, "held_s": held_s, "steady_at_s": None, "rise_k": rise}
    return stands if hold_s is None else stands | {"hold_s": hold_s}
