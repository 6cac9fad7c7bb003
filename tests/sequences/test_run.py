"""A run goes through the states of its table and no others, and holds its procedure to them."""

from inspect import GEN_CLOSED, getgeneratorstate
from math import nan
from typing import Any

import pytest

from drivers.outputs import LOOP, LV, LV_REGULATOR, SELECTOR
from sequences.prompt import GO_ON, confirm
from sequences.run import ENDED, TRANSITIONS, Happening, State
from sequences.scan import Ask, Close, Move, Open, Procedure, Request, Stop, Wait
from tests.sequences.story import Story, asking_for, live, trip, waiting


class TestTable:
    def test_every_state_is_reached_from_running(self) -> None:
        """No state stands in the table for show."""
        reached = {State.RUNNING}
        for _ in State:
            reached |= {to for (state, _), to in TRANSITIONS.items() if state in reached}
        assert reached == set(State)

    def test_nothing_leaves_an_end(self) -> None:
        """Complete, stopped and aborted are final."""
        assert not {state for state, _ in TRANSITIONS} & ENDED

    def test_every_state_that_is_no_end_leads_to_one(self) -> None:
        """No run can hang in a state for want of a row."""
        leading = set(ENDED)
        for _ in State:
            leading |= {state for (state, _), to in TRANSITIONS.items() if to in leading}
        assert leading == set(State)

    def test_an_abort_is_never_softened(self) -> None:
        """From aborting there is one way, and it ends aborted."""
        ways = {h: to for (state, h), to in TRANSITIONS.items() if state is State.ABORTING}
        assert ways == {Happening.MADE_DEAD: State.ABORTED}


class TestProcedure:
    def test_what_primes_it_is_announced_and_not_acted_on(self) -> None:
        """The first request is not returned; a stage in it still counts."""
        story = Story(asking_for(Wait(stage="prepare"), Open(LV)))
        assert story.step() == Open(LV)
        assert story.run.stage == "prepare"
        assert story.run.attempts == 1

    def test_returning_completes_the_run(self) -> None:
        """With both contactors read open the run is complete, with what was returned."""
        story = Story(asking_for(Wait()))
        assert story.step() == Wait()
        assert story.run.state is State.COMPLETE
        assert story.run.returned == "returned"

    def test_returning_with_a_contactor_not_open_is_a_fault(self) -> None:
        """A procedure may not leave the stand live."""
        story = Story(asking_for(Wait()))
        story.step(**live())
        assert story.run.state is State.STOPPING
        assert story.run.finding is not None
        assert story.run.finding.name == "procedure_fault"
        assert story.run.returned is None

    def test_a_proof_that_fails_stops_the_run_with_its_finding(self) -> None:
        """Stop is a category 1 stop, and names what was seen."""

        def proving() -> Procedure[None]:
            yield Wait()
            raise Stop("not_opposed", "r = 5 %", "connection")

        story = Story(proving())
        story.step(**live())
        assert story.run.state is State.STOPPING
        assert story.names("finding") == ["not_opposed"]
        assert story.names("trip") == []

    @pytest.mark.parametrize(
        "request_",
        [
            Close(LV_REGULATOR),
            Open("door"),
            Move(LV, 1.0),
            Move(LOOP, 0.0),
            Move(LV_REGULATOR, nan),
            Close("door"),
            Close(LV, 2),
            Close(SELECTOR, 0),
            Close(SELECTOR, 2),
        ],
        ids=str,
    )
    def test_asking_for_what_the_stand_has_not_is_a_fault(self, request_: Request) -> None:
        """It is never handed on; above all no contactor's Move moves a regulator."""
        story = Story(asking_for(Wait(), request_, Wait()))
        assert story.step(**live()) == Wait()
        assert story.names("trip") == ["procedure_fault"]
        assert story.run.state is State.STOPPING

    def test_an_exception_is_a_fault_named_by_its_words(self) -> None:
        """Category 1, and the record says what it was."""

        def failing() -> Procedure[None]:
            yield Wait()
            raise ZeroDivisionError("of what was read")

        story = Story(failing())
        story.step(**live())
        assert story.run.state is State.STOPPING
        assert story.told[0][1]["category"] == 1
        assert story.told[0][1]["seen"] == "ZeroDivisionError: of what was read"

    @pytest.mark.parametrize("category", [0, 1])
    def test_a_trip_closes_it_for_good(self, category: int) -> None:
        """The generator is closed in that scan and asked for nothing more."""
        story = Story(waiting())
        story.step(**live())
        story.stop(trip(category), **live())
        assert getgeneratorstate(story.procedure) == GEN_CLOSED

    def test_what_it_lets_go_of_is_let_go(self) -> None:
        """A procedure's own `finally` runs at the stop."""
        let_go = []

        def holding() -> Procedure[None]:
            try:
                while True:
                    yield Wait()
            finally:
                let_go.append(True)

        story = Story(holding())
        story.step()
        story.stop(trip(0), **live())
        assert let_go == [True]


ASKING = Ask(confirm(GO_ON, "the room is too warm", 600.0), holds=True)


def holding(holds: int = 3) -> Procedure[str]:
    """Hold for some scans, go on, and wait for ever."""
    yield Wait()
    for _ in range(holds):
        yield ASKING
    while True:
        yield Wait()


def moving() -> dict[str, Any]:
    """Return the parts of a live scan in which a regulator is still on its way."""
    return live(rest=None)


class TestHold:
    """Holding, held, restarting, running: names for what the procedure does, nothing else."""

    def reach(self, state: State) -> Story:
        """Bring a run to a state of a hold."""
        story = Story(holding(4))
        parts = moving if state is State.HOLDING else live
        while story.run.state is not state:
            story.step(**parts())
            assert story.now < 10
        return story

    def test_it_goes_through_its_states_and_back_to_running(self) -> None:
        story = Story(holding())
        asked = [story.step(**live()) for _ in range(6)]
        assert asked == [ASKING] * 3 + [Wait()] * 3
        assert story.names("state") == ["holding", "held", "restarting", "running"]

    def test_it_is_held_only_once_every_output_is_at_rest(self) -> None:
        story = Story(holding(4))
        for _ in range(3):
            story.step(**moving())
        assert story.names("state") == ["holding"]
        story.step(**live())
        assert story.names("state") == ["holding", "held"]

    def test_answered_before_it_is_at_rest_it_restarts_all_the_same(self) -> None:
        story = Story(holding(2))
        for _ in range(4):
            story.step(**moving())
        assert story.names("state") == ["holding", "restarting", "running"]

    def test_it_may_hold_again_at_once(self) -> None:
        story = Story(asking_for(Wait(), ASKING, Wait(), ASKING, ASKING, ASKING, Wait(), Wait()))
        for _ in range(6):
            story.step(**live())
        states = ["holding", "restarting", "running", "holding", "held", "restarting"]
        assert story.names("state") == states

    def test_a_prompt_that_does_not_hold_is_none(self) -> None:
        story = Story(asking_for(Wait(), ASKING._replace(holds=False), Wait()))
        story.step(**live())
        assert story.run.state is State.RUNNING

    @pytest.mark.parametrize("category", [0, 1])
    @pytest.mark.parametrize("state", [State.HOLDING, State.HELD, State.RESTARTING])
    def test_a_trip_acts_from_every_state_of_it(self, state: State, category: int) -> None:
        """And the generator is closed for good."""
        story = self.reach(state)
        story.stop(trip(category), **live())
        assert story.run.state is (State.ABORTING, State.STOPPING)[category]
        assert story.run.finding is not None
        assert story.run.finding.name == f"category_{category}"
        assert getgeneratorstate(story.procedure) == GEN_CLOSED

    @pytest.mark.parametrize("state", [State.HOLDING, State.HELD, State.RESTARTING])
    def test_a_fault_and_a_failed_proof_stop_it_from_every_state_of_it(self, state: State) -> None:
        for error in (ZeroDivisionError("of what was read"), Stop("not_so", "seen", "check")):
            story = self.reach(state)
            story.run._procedure = failing(error)
            story.step(**live())
            assert story.run.state is State.STOPPING

    @pytest.mark.parametrize("holds", [1, 3])
    def test_a_procedure_that_ends_while_it_holds_is_a_fault(self, holds: int) -> None:
        """Even on a stand that is open: whoever is asked would answer to nobody."""
        story = Story(asking_for(Wait(), *[ASKING] * holds))
        for _ in range(holds + 1):
            story.step()
        assert story.names("trip") == ["procedure_fault"]
        assert story.run.state is State.STOPPING

    def test_one_that_ends_as_soon_as_it_goes_on_completes(self) -> None:
        story = Story(asking_for(Wait(), ASKING, Wait()))
        for _ in range(3):
            story.step()
        assert story.names("state") == ["holding", "restarting", "running", "complete"]


def failing(error: Exception) -> Procedure[str]:
    """Return a procedure that fails in its next scan."""

    def procedure() -> Procedure[str]:
        yield Wait()
        raise error

    made = procedure()
    next(made)
    return made
