"""A run goes through the states of its table and no others, and holds its procedure to them."""

from inspect import GEN_CLOSED, getgeneratorstate
from math import nan

import pytest

from drivers.outputs import LOOP, LV, LV_REGULATOR
from sequences.run import ENDED, TRANSITIONS, Happening, State
from sequences.scan import Close, Move, Open, Procedure, Request, Stop, Wait
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
