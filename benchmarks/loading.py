"""A day of each loading model, against the least that its steps cost one after another.

Prints milliseconds and the ratio to as many bare recursions (one state that goes a part of its way
to its target, plain floats in a loop) as the model has states and steps.
"""

from collections.abc import Callable
from functools import partial

import numpy as np

from benchmarks.vectorised import best
from calculation.annex_g import annex_g, annex_g_cycle
from calculation.annex_g_unit import AnnexG
from calculation.load_cycle import Loading
from calculation.loading_iec import TABULATED, LoadingUnit, difference_form, limits_of_loading
from calculation.loading_ieee import Clause7, clause_7
from calculation.permissible_overload import Conditions, permissible_load

STATES = 3
LIMITS = limits_of_loading("normal cyclic", "medium power")
# The unit of Annex G's own worked example.
UNIT = AnnexG(
    "ONAF",
    "copper",
    "oil",
    28_000,
    52_267,
    75,
    51_690,
    0,
    21_078,
    36_986,
    30,
    65,
    63,
    80,
    55,
    25,
    5,
    1,
    0,
    75_600,
    31_400,
    4_910,
)


def day(step_min: float) -> Loading:
    """A constructed day in even steps."""
    time_min = np.linspace(0.0, 1440.0, round(1440 / step_min) + 1)
    load = 0.8 + 0.3 * np.sin(2 * np.pi * time_min / 1440)
    return Loading(time_min, load, 25 + 8 * np.sin(2 * np.pi * time_min / 1440))


def bare(loading: Loading) -> object:
    """As many recursions as a model has states."""
    found = []
    for _ in range(STATES):
        state, kept = 0.0, []
        for target in loading.load.tolist():
            state += 0.01 * (target - state)
            kept.append(state)
        found.append(np.array(kept))
    return found


def models() -> dict[str, tuple[Loading, Callable[[], object]]]:
    """Each model's day, with the loading that it goes through."""
    minutes, halves = day(1.0), day(0.5)
    unit = Clause7("ONAF", 5.0, 55.0, 25.0, 150.0, 6.0)
    power, start = TABULATED["power ONAN"], UNIT.rated_state()
    return {
        "IEC, from balance": (minutes, lambda: difference_form(power, minutes)),
        "IEC, repeated": (minutes, lambda: difference_form(power, minutes, periodic=True)),
        "IEEE clause 7": (minutes, lambda: clause_7(unit, minutes)),
        "Annex G, 0.5 min, one day": (halves, lambda: annex_g(UNIT, halves, start)),
        "Annex G, 0.5 min, repeated": (halves, lambda: annex_g_cycle(UNIT, halves)),
    }


def permissible() -> object:
    """One permissible load without its uncertainty."""
    return permissible_load(LoadingUnit("power ONAN"), Conditions(0.7, LIMITS), 2.0, 30.0)


if __name__ == "__main__":
    for label, (loading, work) in models().items():
        took, least = best(work, 31), best(partial(bare, loading), 31)
        print(f"{label:28s} {1e3 * took:6.2f} ms, {took / least:5.2f} x the bare recursions")
    print(f"{'one permissible load':28s} {1e3 * best(permissible, 31):6.2f} ms")
