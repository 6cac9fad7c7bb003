"""The pair's heat against SciPy's solver (solve_ivp) on the continuous equations, written anew."""

from collections.abc import Callable
from dataclasses import replace
from math import cos, pi
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp  # type: ignore[import-untyped]  # SciPy ships no types

from drivers.simulated.thermal.pair import NOTHING, ThermalPair
from drivers.simulated.thermal.truth import TrueBody, TrueThermalUnit
from drivers.simulated.thermal.unit import LiquidUnit
from drivers.simulated.truth import TrueUnit
from tests.drivers.simulated.heat import CORES_W, HOUR, carrying, pair, thermal_of
from tests.drivers.simulated.scenario import DRY, FOLDER, SECOND, nameplate_file, truth_file

ALLOWED_K = 0.01
LEADS_OHM = 0.0012
# Hours, what is carried until then, and by how much more unit A sheds than unhindered.
STORY = ((3.0, 1.0, 1.0), (6.0, 1.0, 0.6), (8.5, 1.2, 1.0), (9.0, 0.0, 1.0), (12.0, 0.7, 1.3))


def _power(body: TrueBody, rise: float) -> float:
    """What a body gives off at a rise, W."""
    return float(np.sign(rise) * body.loss_w * (abs(rise) / body.rise_k) ** (1 / body.exponent))


def _capacity(body: TrueBody) -> float:
    return body.time_constant_s * body.loss_w / body.rise_k


class Continuous:
    """The equations of both units and the room as they stand in the truth's docstrings."""

    def __init__(self, folder: Path, load: float, factor_a: float) -> None:
        self.plate, self.truth = nameplate_file(folder), truth_file(folder)
        self.thermal = thermal_of(self.truth)
        self.load, self.factors = load, (factor_a, 1.0)
        self.liquid = self.thermal.a.liquid is not None
        self.core = CORES_W if load else (0.0, 0.0)

    def rates(self, t: float, state: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> list[float]:
        room = self._day(t) + state[-1]
        size = (len(state) - 1) // 2
        units = ((self.truth.a, self.thermal.a), (self.truth.b, self.thermal.b))
        rates: list[float] = []
        heat = 2 * (self.load * self.plate.lv_current_a) ** 2 * LEADS_OHM
        for i, (electrical, true) in enumerate(units):
            own = state[i * size : (i + 1) * size]
            found, shed = self._unit(electrical, true, own, room, i)
            rates += found
            heat += shed
        end = self.thermal.room.warming_k_per_kw * heat / 1000
        return [*rates, (end - state[-1]) / self.thermal.room.time_constant_s]

    def _day(self, t: float) -> float:
        room = self.thermal.room

        def sun(s: float) -> float:
            return room.day_k * cos(2 * pi * (s / 86400 - room.warmest_h / 24))

        return self.truth.room_temperature_c + sun(t) - sun(0) + room.drift_k_per_day * t / 86400

    def _losses(self, u: TrueUnit, lv: float, hv: float, i: int) -> list[float]:
        """Copper: 235 K; additional loss in halves, against temperature, stated at 75 degC."""
        half = u.additional_loss_w / 2
        i_lv, i_hv = self.plate.lv_current_a, self.plate.hv_current_a
        ohmic_lv = i_lv**2 * u.lv_resistance_ohm * (235 + lv) / 255
        ohmic_hv = i_hv**2 * u.hv_resistance_ohm * (235 + hv) / 255
        share = self.load**2
        return [
            share * (ohmic_lv + half * 310 / (235 + lv)),
            share * (ohmic_hv + half * 310 / (235 + hv)),
            self.core[i],
        ]

    def _unit(
        self,
        electrical: TrueUnit,
        true: TrueThermalUnit,
        own: "np.ndarray[tuple[int], np.dtype[np.float64]]",
        room: float,
        i: int,
    ) -> tuple[list[float], float]:
        bodies = (true.lv, true.hv, true.core)
        losses = self._losses(electrical, own[0], own[1], i)
        around = own[3] if self.liquid else room
        factor = 1.0 if self.liquid else self.factors[i]
        given = [factor * _power(b, c - around) for b, c in zip(bodies, own[:3], strict=True)]
        rates = [(p - q) / _capacity(b) for p, q, b in zip(losses, given, bodies, strict=True)]
        if true.liquid is None:
            return rates, sum(given)
        shed = self.factors[i] * _power(true.liquid, own[3] - room)
        return [*rates, (sum(given) - shed) / _capacity(true.liquid)], shed


def _state(thermal: ThermalPair) -> list[float]:
    found: list[float] = []
    for unit in (thermal.a, thermal.b):
        found += [unit.winding_lv_c, unit.winding_hv_c, unit.core_c]
        if isinstance(unit, LiquidUnit):
            found.append(unit.average_liquid_c)
    t_s = thermal.t / SECOND
    return [*found, thermal.room.temperature_c - thermal.room.unheated_c(t_s)]


def worst_error_k(folder: Path) -> float:
    """Return the largest difference of any temperature in twelve hours, every ten minutes, K."""
    thermal = pair(folder)
    state = np.array(_state(thermal))
    worst, begun = 0.0, 0.0
    for until, load, factor in STORY:
        thermal.a.cooling.hindrance = factor
        thermal.carry(carrying(folder, load, LEADS_OHM) if load else NOTHING)
        at = np.arange(begun + 600, until * 3600 + 1, 600.0)
        rates: Callable[..., list[float]] = Continuous(folder, load, factor).rates
        span = (begun, until * 3600)
        solved = solve_ivp(rates, span, state, "LSODA", at, rtol=1e-9, atol=1e-9)
        assert solved.success
        for i, t in enumerate(at):
            thermal.to(round(t * SECOND))
            worst = max(worst, *np.abs(np.array(_state(thermal)) - solved.y[:, i]))
        state, begun = solved.y[:, -1], until * 3600
    return worst


@pytest.mark.parametrize("folder", [FOLDER, DRY], ids=["liquid", "dry"])
def test_twelve_hours_of_heating_hindrance_overload_and_cooling(folder: Path) -> None:
    """Every temperature within 0.01 K of the continuous equations."""
    assert worst_error_k(folder) < ALLOWED_K


@pytest.mark.parametrize("folder", [FOLDER, DRY], ids=["liquid", "dry"])
def test_uneven_steps_go_the_same_way(folder: Path) -> None:
    """Asked at odd instants, it goes where it would have gone by whole seconds."""
    even, odd = pair(folder), pair(folder)
    for thermal in (even, odd):
        thermal.carry(carrying(folder))
    t = 0
    while t < HOUR:
        t = min(t + 777_000_000, HOUR)
        odd.to(t)
    even.to(HOUR)
    assert _state(odd) == pytest.approx(_state(even), abs=1e-3)


def test_the_test_can_fail() -> None:
    """An exponent of 0.81 instead of 0.8 is found out."""
    truth = thermal_of(truth_file(FOLDER))
    assert truth.a.liquid is not None
    other = replace(truth.a, liquid=replace(truth.a.liquid, exponent=0.81))
    thermal = pair(FOLDER, changed=replace(truth, a=other))
    thermal.carry(carrying(FOLDER, 1.0, LEADS_OHM))
    thermal.to(6 * HOUR)
    state = np.array(_state(pair(FOLDER)))
    rates: Callable[..., list[float]] = Continuous(FOLDER, 1.0, 1.0).rates
    solved = solve_ivp(rates, (0, 6 * 3600), state, "LSODA", rtol=1e-9, atol=1e-9)
    assert np.max(np.abs(np.array(_state(thermal)) - solved.y[:, -1])) > 5 * ALLOWED_K
