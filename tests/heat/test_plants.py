"""The simulated plants against solvers of others, and against themselves."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp  # type: ignore[import-untyped]  # ships no types

from tests.heat.plants import Floats, Plant, first_plant, second_plant
from tests.heat.runs import run

PLANTS = [first_plant, second_plant]
Make = Callable[[np.random.Generator, int], Plant]


@pytest.mark.parametrize("make", PLANTS)
def test_warm_up_agrees_with_another_solver(make: Make) -> None:
    """SciPy's LSODA (Hindmarsh, ODEPACK) on the same bodies, eight hours, an overload in them."""
    plant = make(np.random.default_rng(3), 12)
    hours = np.arange(8 * 60 + 1) / 60
    ambient_c = np.full((len(hours), 12), 20.0)
    current_pu = np.where(hours < 5, 1.0, 1.3)[:, None] * np.ones(12)
    mine, _ = plant.warm_up(ambient_c, current_pu)
    state = np.full((plant.bodies + plant.differences, 12), 20.0)
    state[plant.bodies :] = 0.0
    # The plant holds a current for the minute that begins with it.
    for begun, ended, current in ((0.0, 5.0, 1.0), (5.0, 8.0, 1.3)):

        def derivative(_: float, flat: Floats, current: float = current) -> Floats:
            rows = flat.reshape(-1, 12)
            return plant.derivative(rows, np.full(12, 20.0), np.full(12, current)).ravel()

        span = (begun * 3600, ended * 3600)
        solved = solve_ivp(derivative, span, state.ravel(), "LSODA", rtol=1e-8, atol=1e-6)
        state = solved.y[:, -1].reshape(-1, 12)
        theirs = plant.watched_c(state, np.full(12, current))
        assert np.abs(mine[round(ended * 60)] - theirs).max() < 0.01


@pytest.mark.parametrize("make", PLANTS)
def test_equilibrium_is_where_a_long_run_ends(make: Make) -> None:
    plant = make(np.random.default_rng(4), 30)
    rows = 50 * 60
    seen, losses = plant.warm_up(np.full((rows, 30), 20.0), np.ones((rows, 30)))
    ultimate_c, loss_w = plant.equilibrium(20.0)
    assert np.abs(seen[-1] - ultimate_c).max() < 0.02
    assert losses[-1] == pytest.approx(loss_w, rel=1e-4)


@pytest.mark.parametrize("make", PLANTS)
def test_what_is_drawn_is_as_the_trade_knows_it(make: Make) -> None:
    """Rises and time constants of liquid-filled units (common practice, no source)."""
    rng = np.random.default_rng(5)
    runs = run(make(rng, 100), rng)
    liquid = runs.kind != "dry"
    rise_k = runs.ultimate_k[liquid]
    assert rise_k.min() > 30
    assert rise_k.max() < 65
    reached = runs.undisturbed_k[:, liquid] >= (1 - np.exp(-1)) * rise_k
    constants_h = reached.argmax(axis=0) / 60
    assert constants_h.min() > 1
    assert constants_h.max() < 6


def test_the_plants_are_of_different_structure() -> None:
    """The second has bodies, and a way of answering to ambient, that the first has not."""
    rng = np.random.default_rng(6)
    first, second = (run(make(rng, 200), rng, hours=1) for make in PLANTS)
    assert first_plant(rng, 1).bodies < second_plant(rng, 1).bodies
    assert (first.ultimate_per_k > 0).all()
    assert (second.ultimate_per_k < 0).any()
