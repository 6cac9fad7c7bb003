"""Fitted thermal parameters: bodies of IEC 60076-7 exactly, and simulated plants as they are."""

from collections.abc import Callable
from math import log

import numpy as np
import pytest
from scipy.optimize import curve_fit  # type: ignore[import-untyped]  # ships no types

from calculation.errors import ImpossibleReading
from calculation.heat_readings import Floats
from calculation.one_body import Rows
from calculation.stated import Stated
from calculation.thermal_fit import ThermalFit, loss_ratio, thermal_fit
from tests.heat.campaign import held_until_steady
from tests.heat.plants import STEP_S, Plant, first_plant, second_plant
from tests.heat.runs import Runs, run

HOUR_S = 3600.0
OVERLOAD = 1.25


def exactly(value: float) -> Stated:
    return Stated(value, 0.0, 2.0)


def of_the_standard(hours: float, load: Callable[[float], float]) -> Rows:
    """Top liquid of IEC 60076-7, ONAF (k11 0.5, tau_o 150 min, x 0.8, R 8, 45 K; T), in 1 s steps.

    Losses 1000 W at rated load, 8/9 of them with its square.
    """
    t_s = np.arange(0, hours * HOUR_S, 60.0)
    over_k, seen, losses = 0.0, [], []
    for minute_s in t_s.tolist():
        share = (1 + 8 * load(minute_s) ** 2) / 9
        seen.append(25 + over_k)
        losses.append(1000 * share)
        for _ in range(60):
            over_k += (45 * share**0.8 - over_k) / (0.5 * 150 * 60)
    return Rows(t_s, np.array(seen), 0 * t_s + 25, np.array(losses))


def fitted(rows: Rows, k11: float = 0.5, rated_w: float = 1000.0) -> ThermalFit:
    found = thermal_fit(
        rows,
        load_loss_w=exactly(rated_w * 8 / 9),
        no_load_loss_w=exactly(rated_w / 9),
        limits_k=[0.3],
        k11=k11,
    )
    assert found is not None
    return found


def test_parameters_of_the_standards_own_model_come_back() -> None:
    """Rated load throughout: time constant and rise found, x said to be assumed."""
    found = fitted(of_the_standard(8, lambda _: 1.0))
    assert found.tau_o_s.value == pytest.approx(150 * 60, rel=0.005)
    assert found.top_liquid_time_constant_s.value == pytest.approx(75 * 60, rel=0.005)
    assert found.ultimate_top_liquid_k.value == pytest.approx(45.0, abs=0.1)
    assert found.loss_ratio.value == pytest.approx(8.0)
    assert found.exponent_assumed
    assert found.loss_exponent.value == 0.8
    assert found.loss_exponent.expanded > 0.15


def test_an_overload_step_shows_the_exponent() -> None:
    """Rated for 6 h, 1.3 times rated current for 4 h: x 0.8 comes back, and the rated rise."""
    found = fitted(of_the_standard(10, lambda t_s: 1.0 if t_s < 6 * HOUR_S else 1.3))
    assert not found.exponent_assumed
    assert found.loss_exponent.value == pytest.approx(0.8, abs=0.01)
    assert found.loss_exponent.expanded < 0.1
    assert found.tau_o_s.value == pytest.approx(150 * 60, rel=0.01)
    assert found.ultimate_top_liquid_k.value == pytest.approx(45.0, abs=0.1)


def test_a_book_s_time_constant() -> None:
    """Theraja vol. III, Ex. 45.13: 25 K after 1 h, 37.5 K after 2 h; 1.44270 h, 50 K."""
    t_s = np.arange(0, 8 * HOUR_S, 60.0)
    rise_k = 50 * (1 - np.exp(-t_s * log(2) / HOUR_S))
    found = fitted(Rows(t_s, 20 + rise_k, 0 * t_s + 20, 0 * t_s + 700), k11=1.0, rated_w=700.0)
    assert found.top_liquid_time_constant_s.value == pytest.approx(1.44270 * HOUR_S, rel=0.002)
    assert found.ultimate_top_liquid_k.value == pytest.approx(50.0, abs=0.2)


def test_uncertain_losses_widen_ratio_and_rise() -> None:
    rows = of_the_standard(8, lambda _: 1.0)
    more = thermal_fit(
        rows,
        load_loss_w=Stated(8000 / 9, 80.0, 2.0),
        no_load_loss_w=Stated(1000 / 9, 5.0, 2.0),
        limits_k=[0.3],
        k11=0.5,
    )
    assert more is not None
    assert more.ultimate_top_liquid_k.expanded > 0.85 * 0.08 * 45
    ratio = loss_ratio(Stated(8000 / 9, 80.0, 2.0), Stated(1000 / 9, 5.0, 2.0))
    assert more.loss_ratio == ratio
    assert ratio.expanded == pytest.approx(8 * (0.09**2 + 0.045**2) ** 0.5)


def test_rows_that_tell_nothing_and_refusals() -> None:
    few = of_the_standard(0.2, lambda _: 1.0)
    load, none = exactly(800.0), exactly(0.0)
    assert thermal_fit(few, load_loss_w=load, no_load_loss_w=load, limits_k=[0.3], k11=0.5) is None
    rows = of_the_standard(8, lambda _: 1.0)
    with pytest.raises(ImpossibleReading, match="k11"):
        thermal_fit(rows, load_loss_w=load, no_load_loss_w=load, limits_k=[0.3], k11=0.0)
    with pytest.raises(ImpossibleReading, match="no_load_loss_w"):
        thermal_fit(rows, load_loss_w=load, no_load_loss_w=none, limits_k=[0.3], k11=0.5)


Make = Callable[[np.random.Generator, int], Plant]


@pytest.mark.parametrize("units", [25, pytest.param(400, marks=pytest.mark.campaign)])
@pytest.mark.parametrize("make", [first_plant, second_plant])
def test_stated_uncertainty_holds_what_the_plants_are(make: Make, units: int) -> None:
    """Liquid-filled units from their own steady runs: 90 of 100, figures in docs/heat_run.md.

    True is the constant of the exponential nearest to the undisturbed warm-up, and the rise at
    equilibrium with rated loss in the room as it was.
    """
    rng = np.random.default_rng(units)
    plant = make(rng, units)
    runs = run(plant, rng, hours=20)
    rated_w = plant.equilibrium(20.0)[1]
    ends = [steady_minute(runs, unit) for unit in range(units)]
    hours = [runs.true_ambient_c[max(0, k - 60) : k, unit] for unit, k in enumerate(ends)]
    room_c = np.array([hour.mean() for hour in hours])
    ended_c, ended_w = plant.equilibrium(room_c)
    true_k = (ended_c - room_c) * (rated_w / ended_w) ** 0.85
    held: list[tuple[bool, bool]] = []
    widths: list[float] = []
    for unit in np.flatnonzero(runs.kind != "dry").tolist():
        found = thermal_fit(
            runs.rows(unit, runs.t_s[ends[unit]]),
            load_loss_w=Stated(0.85 * rated_w[unit], 0.004 * rated_w[unit], 2.0),
            no_load_loss_w=exactly(0.15 * rated_w[unit]),
            limits_k=runs.limits_k(unit),
            k11=1.0,
        )
        assert found is not None
        warm_up = slice(0, ends[unit] + 1)
        true_s = nearest_constant(runs.t_s[warm_up], runs.undisturbed_k[warm_up, unit])
        constant, rise = found.top_liquid_time_constant_s, found.ultimate_top_liquid_k
        of_constant = abs(constant.value - true_s) <= constant.expanded
        held.append((of_constant, abs(rise.value - float(true_k[unit])) <= rise.expanded))
        widths.append(constant.expanded / constant.value)
    shares = np.mean(held, axis=0)
    print(
        f"\n{make.__name__}: {len(held)} units, time constant held {100 * shares[0]:.1f} % (median "
        f"half-width {100 * np.median(widths):.1f} %), rise at rated loss {100 * shares[1]:.1f} %"
    )
    assert (shares >= 0.9).all()


@pytest.mark.parametrize("units", [20, pytest.param(300, marks=pytest.mark.campaign)])
@pytest.mark.parametrize("make", [first_plant, second_plant])
def test_the_exponent_of_the_plants_after_an_overload(make: Make, units: int) -> None:
    """Rated for 13 h, then 1.25 times rated current for 7: 90 of 100 intervals hold x.

    True is ln(ultimate rises) over ln(losses at one temperature), those of the step itself.
    """
    rng = np.random.default_rng(units)
    plant = make(rng, units)
    t_s = np.arange(20 * 60 + 1, dtype=np.float64) * STEP_S
    current = np.where(t_s < 13 * HOUR_S, 1.0, OVERLOAD)[:, None] * np.ones(units)
    room_c = np.full_like(current, 20.0)
    top_c, loss_w = plant.warm_up(room_c, current)
    step = 13 * 60
    rises = [plant.equilibrium(20.0, load)[0] - 20 for load in (1.0, OVERLOAD)]
    true_x = np.log(rises[1] / rises[0]) / np.log(loss_w[step] / loss_w[step - 1])
    read_c, room_c, loss_w = (
        column + scale * rng.standard_normal(column.shape)
        for column, scale in ((top_c, 0.03), (room_c, 0.03), (loss_w, 5e-4 * loss_w.mean(axis=0)))
    )
    errors: list[float] = []
    held: list[bool] = []
    for unit in np.flatnonzero(plant.kind != "dry").tolist():
        rows = Rows(t_s, read_c[:, unit], room_c[:, unit], loss_w[:, unit])
        x = fitted(rows, 1.0, float(loss_w[step - 1, unit])).loss_exponent
        errors.append(x.value - true_x[unit])
        held.append(abs(errors[-1]) <= x.expanded)
    low, middle, high = np.percentile(errors, [2.5, 50, 97.5])
    print(
        f"\n{make.__name__}: {len(held)} units, x held {100 * np.mean(held):.1f} %, "
        f"off by {middle:+.3f} ({low:+.3f} to {high:+.3f})"
    )
    assert np.mean(held) >= 0.9


def steady_minute(runs: Runs, unit: int) -> int:
    read = (runs.read_c[:, unit], runs.ambient_read_c[:, unit])
    return len(held_until_steady("IEC 60076-2", *read)) - 1


def nearest_constant(t_s: Floats, rise_k: Floats) -> float:
    """Least squares by SciPy."""

    def exponential(t: Floats, ultimate_k: float, constant_s: float) -> Floats:
        return ultimate_k * (1 - np.exp(-t / constant_s))

    found, _ = curve_fit(exponential, t_s[::5], rise_k[::5], [50.0, 9000.0])
    return float(found[1])
