"""A million readings through the formulas, against the same arithmetic written bare; and drawing.

Prints a ratio a formula, and the time of a Monte Carlo of a million draws of a whole loss test.
"""

from collections.abc import Callable
from time import perf_counter

import numpy as np

from calculation import circuit, performance
from calculation.correction import WindingLoss, load_loss_at_reference
from calculation.loss_budget import Allowance, LossTest, loss_model, loss_sources
from calculation.loss_test import LoadMeans, LossReadings, NoLoadMeans
from calculation.meters import Instruments, MeterLimits
from calculation.monte_carlo import monte_carlo
from calculation.nameplate import Nameplate, Resistances

COUNT = 1_000_000
_RNG = np.random.default_rng(1)
U = _RNG.uniform(390, 410, COUNT)
I = _RNG.uniform(8, 10, COUNT)  # noqa: E741 - the symbol of current
P = U * I * _RNG.uniform(0.1, 0.2, COUNT)

# Rows j1 and j2 of the check values.
TEST = LossTest(
    LossReadings(
        NoLoadMeans(400.0, 400.0, 8.996882, 640.1232),
        LoadMeans(534.5062, 15.15152, 3542.313, 400.0, 596.8366),
        None,
        6.597713,
        2.0,
        21.0,
    ),
    Nameplate(100e3, 400, 6600, 50, 4.0, 1.8, 320, 1750),
    Resistances(0.01, 2.8, 20.0),
)
METERS = Instruments(
    {
        name: MeterLimits(0.05, 0.05, span)
        for name, span in (("lv.voltage", 600), ("lv.power", 1200), ("hv.power", 5000))
    }
)


def best(work: Callable[[], object], times: int = 7) -> float:
    """The shortest of several runs, s: the one that nothing else disturbed."""
    taken = []
    for _ in range(times):
        start = perf_counter()
        work()
        taken.append(perf_counter() - start)
    return min(taken)


def bare_core() -> object:
    """The core branch, bare."""
    in_phase = P / U
    across = (I**2 - in_phase**2) ** 0.5
    return in_phase, across, P / (U * I), U / in_phase, U / across


def bare_series() -> object:
    """The series impedance, bare."""
    r, z = P / I**2, U / I
    return r, z, (z**2 - r**2) ** 0.5


def bare_regulation() -> object:
    """The exact regulation, bare."""
    return ((100 + I * 0.8 + U * 0.6) ** 2 + (U * 0.8 - I * 0.6) ** 2) ** 0.5 - 100


def bare_reference() -> object:
    """Load loss at reference temperature, bare."""
    ohmic = P * 0.8
    return ohmic * (310 / 256) + (P - ohmic) * (256 / 310)


def ratios() -> dict[str, float]:
    """Time of each formula on a million readings over that of the bare arithmetic."""
    one, pf = np.float64(1.0), np.float64(0.8)
    pairs: dict[str, tuple[Callable[[], object], Callable[[], object]]] = {
        "core branch": (lambda: circuit.core_branch(U, I, P), bare_core),
        "series impedance": (lambda: circuit.series_impedance(U, I, P), bare_series),
        "regulation": (
            lambda: performance.regulation_percent(np.array(one), np.array(pf), I, U),
            bare_regulation,
        ),
        "reference temperature": (
            lambda: load_loss_at_reference(P, [WindingLoss(P * 0.8, 235.0)], np.array(21.0), 75.0),
            bare_reference,
        ),
    }
    return {name: best(ours) / best(bare) for name, (ours, bare) in pairs.items()}


def draw() -> object:
    """A million draws of the loss test's three verdict quantities."""
    names = ["no_load_loss_w", "load_loss_reference_w", "impedance_reference_percent"]
    return monte_carlo(loss_sources(TEST, METERS, Allowance()), loss_model(TEST, METERS), names)


if __name__ == "__main__":
    for label, ratio in ratios().items():
        print(f"{label:24s} {ratio:5.2f} x the bare arithmetic")
    print(f"{'a million draws':24s} {best(draw, 3):5.2f} s")
