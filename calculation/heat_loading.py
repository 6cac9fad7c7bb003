"""Overload ability of the units under test, from what their own heat run has shown."""

from collections.abc import Mapping
from typing import Any

from calculation.cooling_curve import CoolingCurve
from calculation.errors import ImpossibleReading
from calculation.heat_test import HeatResult, HeatTest, kind_of
from calculation.loading_iec import (
    LoadingUnit,
    Size,
    StandardUncertainty,
    limits_of_loading,
)
from calculation.permissible_overload import Conditions, permissible_load
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
    cooling curve that decides it. k11, k21, k22, x and y are tabulated.
    """
    fit = result.fits[unit]
    curves = {name: curve for name, curve in result.curves.items() if name.startswith(unit)}
    if fit is None or not curves:
        return None
    return _loading_unit(test, result, unit, fit, curves)


def _loading_unit(
    test: HeatTest,
    result: HeatResult,
    unit: str,
    fit: ThermalFit,
    curves: Mapping[str, CoolingCurve],
) -> LoadingUnit:
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
        oil_time_constant_min=tau.value / MINUTE_S,
        winding_time_constant_min=curves[hottest].time_constant_s / MINUTE_S,
        standard=StandardUncertainty(
            loss_ratio=ratio.expanded / ratio.factor,
            top_liquid_rise_k=top.expanded / top.factor,
            hot_spot_gradient_k=factor * known.budgets[f"gradient_k({hottest})"].standard,
            oil_time_constant_min=tau.expanded / tau.factor / MINUTE_S,
        ),
    )


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
