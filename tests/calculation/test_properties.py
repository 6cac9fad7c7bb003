"""Properties of whole reductions: energy balance, monotone limits, arrays equal scalars."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calculation import t_circuit
from calculation.hand.readings import HandLoad, HandNoLoad, HandRating, HandReadings
from calculation.hand.reduction import hand_result
from calculation.limits import limits_of
from calculation.loss_budget import quantities_of
from calculation.loss_test import LoadMeans, LossReadings, NoLoadMeans, loss_test_result
from calculation.nameplate import Guarantee, Nameplate, Resistances
from calculation.results import PairMean
from tests.calculation.twins import PAIR_J

PLATE = Nameplate(100e3, 400, 6600, 50, 4.0, 1.8, 320, 1750)
RATING = HandRating(100e3, 400, 6600, 50)
RATED_A = 100e3 / 6600


@given(
    iron=st.floats(400, 1200),
    copper=st.floats(1500, 5000),
    exchanged=st.floats(-1500, 1500),
    current=st.floats(0.5, 1.5),
)
def test_what_both_supplies_deliver_is_what_both_units_lose(
    iron: float, copper: float, exchanged: float, current: float
) -> None:
    """P0 + P_k of the mean is half the sum of both wattmeters, whatever goes round the loop."""
    amperes = current * RATED_A
    volts = 800.0 * current
    hv_w = copper * current**2 - exchanged
    # A power near nothing looks as if it were in kW, and is refused.
    assume(abs(hv_w) > 100 and abs(iron + exchanged) > 10)
    read = HandReadings(
        RATING,
        HandNoLoad(400, 9.0, iron),
        HandLoad(volts, amperes, hv_w, lv_voltage_v=400, lv_power_w=iron + exchanged),
    )
    unit = hand_result(read).unit
    at_current = unit.load_loss_w * current**2
    assert unit.no_load_loss_w + at_current == pytest.approx((iron + exchanged + hv_w) / 2)


@given(
    load=st.floats(0.05, 1.3),
    angle=st.floats(-1.0, 1.0),
    u_k=st.floats(2, 12),
    share=st.floats(0.1, 0.9),
)
def test_a_fed_load_and_the_loss_make_the_power_taken_in(
    load: float, angle: float, u_k: float, share: float
) -> None:
    """On the T circuit input is output plus loss, and the loss is that of its resistances."""
    series = t_circuit.series_of(u_k, share * u_k / 100)
    core = t_circuit.core_of(2.0, 0.004)
    wanted = load * complex(np.cos(angle), np.sin(angle))
    fed = t_circuit.feed(1.0, wanted, series, core)
    assert fed.input_power.real == pytest.approx(wanted.real + fed.loss, rel=1e-12)
    out = (wanted / fed.lv_voltage).conjugate()
    point = fed.lv_voltage + series / 2 * out
    into = out + core * point
    resistances = series.real / 2 * (abs(out) ** 2 + abs(into) ** 2) + core.real * abs(point) ** 2
    assert fed.loss == pytest.approx(resistances, rel=1e-9)


NAMES = ("no_load_loss_w", "load_loss_reference_w", "no_load_current_percent")
BLANK = dict.fromkeys(PairMean.__dataclass_fields__, 1.0)
QUANTITIES = (*NAMES, "total_loss_w", "impedance_reference_percent")


def mean(values: list[float]) -> PairMean:
    """Return a mean with the judged values; the impedance is the last."""
    judged = dict(zip((*NAMES, "impedance_reference_percent"), values, strict=True))
    return PairMean(**(BLANK | judged))  # type: ignore[arg-type]  # only the judged ones matter


judged_values = st.tuples(
    st.floats(210, 400), st.floats(800, 1300), st.floats(1.4, 3.0), st.floats(3.4, 4.6)
).map(list)
GUARANTEE = Guarantee(300.0, 1000.0, 4.0, 2.0)


@given(values=judged_values, which=st.integers(0, 2), less=st.floats(0.9, 1.0))
def test_a_smaller_loss_or_current_is_never_worse(
    values: list[float], which: int, less: float
) -> None:
    """What is within stays within when one loss or the current falls (short of implausible)."""
    better = [v * less if k == which else v for k, v in enumerate(values)]
    if limits_of(mean(values), GUARANTEE).verdict == "within":
        assert limits_of(mean(better), GUARANTEE).verdict in ("within", None)


@given(values=judged_values, expanded=st.floats(0.001, 40), more=st.floats(1, 3))
def test_a_guarded_rule_is_never_kinder(values: list[float], expanded: float, more: float) -> None:
    """Guarded within is simply within, and a larger uncertainty never helps."""
    guarded = replace(GUARANTEE, rule="guarded")
    small = dict.fromkeys(QUANTITIES, expanded)
    large = dict.fromkeys(QUANTITIES, more * expanded)
    if limits_of(mean(values), guarded, large).verdict == "within":
        assert limits_of(mean(values), guarded, small).verdict == "within"
    if limits_of(mean(values), guarded, small).verdict == "within":
        assert limits_of(mean(values), GUARANTEE).verdict == "within"


@given(values=judged_values, wider=st.floats(0, 20))
def test_a_wider_tolerance_is_never_worse(values: list[float], wider: float) -> None:
    """What is within its tolerances is within wider ones."""
    wide = replace(
        GUARANTEE,
        no_load_loss_tolerance_percent=15 + wider,
        load_loss_tolerance_percent=15 + wider,
        total_loss_tolerance_percent=10 + wider,
        no_load_current_tolerance_percent=30 + wider,
        impedance_tolerance_percent=10 + wider,
    )
    if limits_of(mean(values), GUARANTEE).verdict == "within":
        assert limits_of(mean(values), wide).verdict == "within"


def result(readings: LossReadings) -> dict[str, Any]:
    """Reduce a loss test and return every quantity by name."""
    reduced = loss_test_result(
        readings,
        PLATE,
        Resistances(0.01, 2.8, 20.0),
        lv_branch_ohm=0.0012,
        evaluate_load=(0.5, 1.0),
        power_factors=(1.0, 0.8),
        leading=(False, True),
    )
    return quantities_of(reduced)


def test_a_whole_reduction_of_arrays_is_that_of_each_number() -> None:
    """A thousand tests at once give, number by number, what each gives alone."""
    rng = np.random.default_rng(1)
    no_load, load = PAIR_J.no_load(400.0), PAIR_J.loaded(400.0, 15.15, -1.0)[0]

    def spread(means: Any, kind: type) -> Any:
        fields = means.__dataclass_fields__
        return kind(*(getattr(means, f) * rng.normal(1, 1e-3, 1000) for f in fields))

    arrays = LossReadings(
        spread(no_load, NoLoadMeans), spread(load, LoadMeans), None, 6.6, 2.0, 21.0
    )
    together = result(arrays)
    for k in (0, 499, 999):
        alone = result(
            replace(
                arrays,
                no_load=_one(arrays.no_load, NoLoadMeans, k),
                load=_one(arrays.load, LoadMeans, k),
            )
        )
        for name, value in alone.items():
            of_array = together[name]
            got = of_array[k] if getattr(of_array, "ndim", 0) else of_array
            assert got == pytest.approx(value, rel=1e-12), name


def _one(means: Any, kind: type, k: int) -> Any:
    return kind(*(float(getattr(means, f)[k]) for f in means.__dataclass_fields__))
