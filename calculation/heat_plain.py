"""A heat run's result as plain values, beside those of its loss test."""

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from calculation.heat_loading import loading_unit, overload_ability, overload_step
from calculation.heat_test import UNITS, HeatResult, HeatTest, UnitRises
from calculation.heat_twins import plain_twins
from calculation.loss_budget import uncertainty_of
from calculation.rises import quantities_of
from calculation.stated import Stated
from calculation.thermal_fit import ThermalFit
from calculation.uncertainty import Budget


def plain_heat(test: HeatTest, result: HeatResult) -> dict[str, Any]:
    """Return `rises`, `gradients`, `steady`, `cooling`, `fitted`, `overload`, `heat_losses`.

    Numbers stand by their names; beside them `uncertainty` holds by the same names the standard
    and expanded (95 %) uncertainty and the factor.
    """
    return {
        "rises": {unit: _rises(result.units[unit]) for unit in UNITS},
        "gradients": {unit: _gradients(result.units[unit]) for unit in UNITS},
        "steady": _steady(test, result),
        "cooling": _cooling(test, result),
        "fitted": {unit: _fitted(result.fits[unit]) for unit in UNITS},
        "overload": _overload(test, result),
        "overload_step": {unit: overload_step(test, result, unit) for unit in UNITS},
        "twins": plain_twins(test, result),
        "heat_losses": _losses(test, result),
    }


def _with_uncertainty(found: Mapping[str, tuple[float, Budget]]) -> dict[str, Any]:
    values: dict[str, Any] = {name: value for name, (value, _) in found.items()}
    return values | {"uncertainty": uncertainty_of({n: b for n, (_, b) in found.items()})}


def _rises(unit: UnitRises) -> dict[str, Any]:
    """The liquid's rises, each winding's, and the hot-spot of the hotter winding."""
    values = quantities_of(unit.rises)
    names = {name: name for name in ("top_liquid_k", "average_liquid_k")}
    for winding in unit.rises.windings:
        names[f"winding_{winding[2:]}_k"] = f"average_k({winding})"
    hot_spots = [name for name in values if name.startswith("hot_spot_k(")]
    if hot_spots:
        names["hot_spot_k"] = max(hot_spots, key=lambda name: values[name])
    known = {key: name for key, name in names.items() if name in values}
    return _with_uncertainty({key: (values[n], unit.budgets[n]) for key, n in known.items()})


def _gradients(unit: UnitRises) -> dict[str, Any]:
    found = {
        f"winding_{winding[2:]}_k": (rises.gradient_k, unit.budgets[f"gradient_k({winding})"])
        for winding, rises in unit.rises.windings.items()
        if rises.gradient_k is not None
    }
    return _with_uncertainty(found)


def _stated(found: Mapping[str, Stated]) -> dict[str, Any]:
    values: dict[str, Any] = {name: stated.value for name, stated in found.items()}
    doubt = {
        name: {
            "standard": stated.expanded / stated.factor,
            "expanded": stated.expanded,
            "factor": stated.factor,
        }
        for name, stated in found.items()
    }
    return values | {"uncertainty": doubt}


def _steady(test: HeatTest, result: HeatResult) -> dict[str, Any]:
    """When and by which rule; what the rule left unreached, of the unit that has more to come."""
    known = {unit: f for unit, f in result.forecasts.items() if f is not None}
    units = {
        unit: _stated(
            {
                "ultimate_k": forecast.ultimate_k,
                "last_hour_k": forecast.last_hour_k,
                "remaining_k": forecast.remaining_k,
            }
        )
        for unit, forecast in known.items()
    }
    worst = max(known, key=lambda unit: known[unit].remaining_k.value, default=None)
    found: dict[str, Any] = {
        "at_s": test.readings.steady_at_s,
        "rule": test.rule,
        "rate_k_per_h": test.readings.rate_k_per_h,
        "hour_ends_s": result.steady_to_s,
        "regulator_movements": test.readings.movements,
        "units": units,
    }
    if worst is None:
        return found | {"remaining_k": None, "uncertainty": {}}
    remaining = _stated({"remaining_k": known[worst].remaining_k})
    return found | remaining


def _cooling(test: HeatTest, result: HeatResult) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for winding, curve in result.curves.items():
        read = test.readings.cooling[winding]
        constant = test.constant_k(winding)
        ohm_per_k = curve.resistance_0_ohm / (constant + curve.winding_0_c)
        found[winding] = {
            "resistance_0_ohm": curve.resistance_0_ohm,
            "winding_0_c": curve.winding_0_c,
            "time_constant_s": curve.time_constant_s,
            "first_settled_s": curve.first_settled_s,
            "last_s": float(read.time_s[-1]),
            "readings": int(curve.settled.sum()),
            "left_out": int((~curve.settled).sum()),
            "scatter_k": curve.scatter_k,
            "weak": curve.weak,
            "uncertainty": {
                "winding_0_c": {
                    "standard": curve.standard_k,
                    "expanded": 2 * curve.standard_k,
                    "factor": 2.0,
                },
                "resistance_0_ohm": {
                    "standard": ohm_per_k * curve.standard_k,
                    "expanded": 2 * ohm_per_k * curve.standard_k,
                    "factor": 2.0,
                },
            },
        }
    return found | {winding: {"impossible": why} for winding, why in result.impossible.items()}


def _fitted(fit: ThermalFit | None) -> dict[str, Any] | None:
    if fit is None:
        return None
    everything = {f.name: getattr(fit, f.name) for f in fields(fit)}
    bare = {name: v for name, v in everything.items() if not isinstance(v, Stated)}
    return _stated({n: v for n, v in everything.items() if isinstance(v, Stated)}) | bare


def _overload(test: HeatTest, result: HeatResult) -> dict[str, Any]:
    """Permissible loads of both units, and the characteristics that they rest on."""
    found: dict[str, Any] = {}
    for unit in UNITS:
        loading = loading_unit(test, result, unit)
        if loading is None:
            found[unit] = None
            continue
        found[unit] = {
            "characteristics": loading.given(),
            "standard_uncertainty": loading.standard.given(),
            "permissible": overload_ability(test, loading),
        }
    return found


def _losses(test: HeatTest, result: HeatResult) -> dict[str, Any]:
    """Mean total loss of a unit in the steady hour, and at reference temperature."""
    known = [curve.winding_0_c for curve in result.curves.values()]
    return {
        "total_loss_run_w": result.test_loss_w,
        "current_run_a": result.test_current_a,
        "winding_run_c": sum(known) / len(known) if known else None,
        "total_loss_reference_w": test.total_reference_w,
        "reference_temperature_c": test.nameplate.reference_temperature_c,
    }
