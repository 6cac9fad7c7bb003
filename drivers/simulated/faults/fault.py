"""What a fault is: a name, what it changes, and what the stand must do about it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Literal, Protocol, TypeVar

from drivers.simulated.hands import Change
from drivers.simulated.stand import SimulatedStand

Kind = Literal["instrument", "stand", "wiring", "process", "operator"]

STAGES = (
    "prepare",
    "prove",
    "energise",
    "no_load_readings",
    "circulate",
    "load_readings",
    "soak",
    "overload",
    "shut_down",
    "cool",
    "make_safe",
)
# Those that only a heat run has.
OF_HEAT = ("soak", "overload", "cool")
# States of a run in which a stop is under way: a fault may begin there too.
STOPS = ("stopping", "aborting")
LIVE = STAGES[1 : STAGES.index("cool")]


class HasStand(Protocol):
    """Whatever has a simulated stand."""

    @property
    def stand(self) -> SimulatedStand:
        """The simulated plant."""
        ...


At_contra = TypeVar("At_contra", contravariant=True)


@dataclass(frozen=True, slots=True)
class Fault(Generic[At_contra]):
    """One entry of the catalogue.

    `changes` says what is held while the fault is there; letting go of it is its end. `must` is
    what the stand must do about it, in words, `stages` those in which it makes a difference.
    `behind_guard`: hands have to reach a terminal for it, so that the guard opens before and is
    shut after. `ends`: whether it can end at all. `ends_process`: the program is no more.
    """

    name: str
    kind: Kind
    must: str
    changes: Callable[[At_contra], tuple[Change, ...]]
    stages: tuple[str, ...] = STAGES
    behind_guard: bool = False
    ends: bool = True
    ends_process: bool = False


PlantFault = Fault[HasStand]
