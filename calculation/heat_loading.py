"""Overload ability of the units under test, from what their own heat run has shown."""

from typing import Any

import numpy as np

from calculation.errors import ImpossibleReading
from calculation.heat_test import HeatResult, HeatTest, kind_of
from calculation.loading_iec import (
    Characteristics,
    LoadingUnit,
    Size,
    StandardUncertainty,
    f1,
    limits_of_loading,
    steady_top_liquid_k,
)
from calculation.permissible_overload import Conditions, contributions, permissible_load
from calculation.rises import DISTRIBUTION_VA, hot_spot_factor
from calculation.thermal_fit import ThermalFit

HOURS = (0.5, 1.0, 2.0, 4.0, 8.0, 24.0)
AMBIENTS_C = (0.0, 10.0, 20.0, 30.0, 40.0)
PRELOAD = 0.8
LARGE_VA = 100e6
MINUTE_S = 60.0


def loading_unit(test: HeatTest, result: HeatResult, unit: str) -> LoadingUnit | None:
    """One unit in the terms of IEC 60076-7, fitted; None where its run shows too little of it.

    The hot-spot gradient is H times the larger gradient; the winding's time constant that of the
    cooling curve that decides it. k11, k21, k22 and y are tabulated, and x where the run's losses
    were too much alike to show it; its doubt counts in either case.
    """
    return _loading_unit(test, result, unit, result.fits[unit])


def _loading_unit(
    test: HeatTest, result: HeatResult, unit: str, fit: ThermalFit | None
) -> LoadingUnit | None:
    curves = {name: curve for name, curve in result.curves.items() if name.startswith(unit)}
    if fit is None or not curves:
        return None
    known = result.units[unit]
    gradients = {
        name: rises.gradient_k
        for name, rises in known.rises.windings.items()
        if rises.gradient_k is not None
    }
    hottest = max(gradients, key=lambda name: gradients[name])
    factor = hot_spot_factor(test.nameplate.power_va)
    top, tau, ratio = fit.ultimate_top_liquid_k, fit.tau_o_s, fit.loss_ratio
    return LoadingUnit(
        kind_of(test.plate, test.nameplate),
        loss_ratio=ratio.value,
        top_liquid_rise_k=top.value,
        hot_spot_gradient_k=factor * gradients[hottest],
        x=None if fit.exponent_assumed else fit.loss_exponent.value,
        oil_time_constant_min=tau.value / MINUTE_S,
        winding_time_constant_min=curves[hottest].time_constant_s / MINUTE_S,
        standard=StandardUncertainty(
            loss_ratio=ratio.expanded / ratio.factor,
            top_liquid_rise_k=top.expanded / top.factor,
            hot_spot_gradient_k=factor * known.budgets[f"gradient_k({hottest})"].standard,
            oil_time_constant_min=tau.expanded / tau.factor / MINUTE_S,
            x=fit.loss_exponent.expanded / fit.loss_exponent.factor,
        ),
    )


def overload_step(test: HeatTest, result: HeatResult, unit: str) -> dict[str, Any] | None:
    """Prediction beside measurement of an overload step, K of top-liquid rise at its end.

    Predicted from what was fitted before the step, by the exponential form of IEC 60076-7 from the
    rise at which it began. None where no step was run, or too little was known before it.
    """
    step, seen = test.readings.overload, result.steps[unit]
    if step is None or seen is None:
        return None
    loading = _loading_unit(test, result, unit, seen.fit)
    if loading is None:
        return None
    minutes = np.array([(step.to_s - step.from_s) / MINUTE_S])
    begin_k = seen.begin_k

    def predicted(known: Characteristics) -> float:
        end_k = steady_top_liquid_k(known, step.current)
        return begin_k + (end_k - begin_k) * float(f1(known, minutes)[0])

    parts = contributions(loading, predicted)
    standard = float(np.hypot.reduce(list(parts.values())))
    found = predicted(loading.characteristics())
    return {
        "current": step.current,
        "hours": (step.to_s - step.from_s) / 3600.0,
        "begin_top_liquid_k": begin_k,
        "predicted_top_liquid_k": found,
        "measured_top_liquid_k": seen.end_k,
        "uncertainty": {
            "predicted_top_liquid_k": {
                "standard": standard,
                "expanded": 2 * standard,
                "factor": 2.0,
            }
        },
    }


def overload_ability(test: HeatTest, unit: LoadingUnit) -> list[dict[str, Any]]:
    """Permissible load, per unit of rated, by hours and ambient after a preload that had lasted.

    Limits of normal cyclic loading. A row whose limit even no load keeps has none, and says why.
    """
    limits = limits_of_loading("normal cyclic", _size(test.nameplate.power_va))
    conditions = Conditions(PRELOAD, limits)
    rows: list[dict[str, Any]] = []
    for ambient_c in AMBIENTS_C:
        for hours in HOURS:
            row: dict[str, Any] = {"hours": hours, "ambient_c": ambient_c, "preload": PRELOAD}
            try:
                found = permissible_load(unit, conditions, hours, ambient_c)
            except ImpossibleReading as why:
                rows.append(row | {"load": None, "why": str(why)})
                continue
            rows.append(
                row
                | {
                    "load": found.load,
                    "expanded": found.expanded,
                    "limited_by": found.limited_by,
                    "hot_spot_c": found.hot_spot_c,
                    "top_liquid_c": found.top_liquid_c,
                    "loss_of_life_h": found.loss_of_life_h,
                }
            )
    return rows


def _size(power_va: float) -> Size:
    if power_va <= DISTRIBUTION_VA:
        return "distribution"
    return "large power" if power_va > LARGE_VA else "medium power"
