"""One provocation of a trip on the simulated plant, and a run that is brought to it."""

from collections.abc import Callable
from typing import Literal, NamedTuple

from acquire.configuration import Scenario
from tests.stand.conftest import Watch, Watched
from tests.stand.hands import Hand
from tests.stand.held import Held, Part, Place

SETTLED_S = 14.0  # at rest for longer than any trip looks back


def unchanged(scenario: Scenario) -> Scenario:
    """Return the scenario as it is."""
    return scenario


class Provocation(NamedTuple):
    """Something that a hand does to the plant at a place of the test.

    The fault is made one millisecond after a poll of `missed`, the worst instant there is; `part`
    is what the procedure then does. Time counts from the hand, or from the first command or prompt
    that follows; `develops_s` is how long the plant, or a limit that is a time, needs from there
    to be over the limit. `ends` is how the run ends where the trip's category alone doesn't say;
    `instead` is the trip that sees what one that isn't armed does not; `changed` gives the
    scenario that it needs.
    """

    place: Place
    hand: Hand
    missed: str = "contacts"
    part: Callable[[Watched], Part] | None = None
    since: Literal["hand", "command"] = "hand"
    develops_s: float = 0.0
    ends: Literal["aborted", ""] = ""
    watch_s: float = 15.0
    instead: str = ""
    changed: Callable[[Scenario], Scenario] = unchanged


def provoked(watch: Watch, provocation: Provocation, scenario: Scenario) -> Watched:
    """Return a run that was brought to the place, the hand about to act."""
    held = Held(provocation.place)
    watched = watch(provocation.changed(scenario), procedure=held)
    watched.until(lambda _scan: held.reached)
    watched.go_on(SETTLED_S)
    watched.hand(provocation.hand, provocation.missed)
    if provocation.part is not None:
        watched.until(lambda scan: scan.now > watched.hand_t)
        held.do(provocation.part(watched))
    return watched
