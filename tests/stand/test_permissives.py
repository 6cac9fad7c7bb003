"""Each permissive alone keeps its hazard away: refused with it, and truly there without it."""

import pytest

from acquire.configuration import Scenario
from sequences.permissives import PERMISSIVES, Permissive
from tests.stand.bench import Bench
from tests.stand.conftest import Watch
from tests.stand.desk import Desk
from tests.stand.states import STATES, State

ROWS = [p for rows in PERMISSIVES.values() for p in rows]


def bench_for(state: State, watch: Watch, quick: Scenario, without: Permissive | None) -> Bench:
    """Return a bench for a state, its table whole or without one permissive."""
    desk = Desk()
    scenario = state.changed(quick) if state.changed else quick
    bench = Bench(watch(scenario, procedure=desk.procedure), desk)
    bench.plant.wiring = state.wiring
    if without is not None:
        cycle = bench.watched.rehearsal.cycle
        kept = tuple(p for p in PERMISSIVES[without.output] if p is not without)
        cycle.permissives = {**PERMISSIVES, without.output: kept}
    return bench


@pytest.mark.parametrize("row", ROWS, ids=[f"{p.output}: {p.name}" for p in ROWS])
def test_is_the_only_one_unmet_and_keeps_its_hazard_away(
    row: Permissive, watch: Watch, quick: Scenario
) -> None:
    state = STATES[row.output, row.name]
    bench = bench_for(state, watch, quick, without=None)
    state.reach(bench)
    assert bench.shortfall() == (row.words,)
    assert not state.hazard(bench)

    bench = bench_for(state, watch, quick, without=row)
    state.reach(bench)
    assert bench.running
    assert state.hazard(bench)


def test_every_state_belongs_to_a_permissive() -> None:
    assert set(STATES) == {(p.output, p.name) for p in ROWS}
