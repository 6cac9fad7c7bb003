"""The operator of a rehearsal: answers prompts by the same path as a person, after a while."""

from collections.abc import Callable
from typing import NamedTuple

from acquire.clock import Order, S, VirtualClock
from drivers.simulated.circuit import Wiring
from drivers.simulated.hands import Change, Hands, becoming
from drivers.simulated.stand import SimulatedStand
from sequences.prompt import (
    CONNECTED_COLD,
    CONNECTED_HOT,
    DISCONNECTED,
    INTERCHANGE,
    OPERATOR_HOLD,
    Answer,
    Prompt,
)

CONNECTS = (CONNECTED_COLD[0], CONNECTED_HOT[0])
DISCONNECTS = ("dc_discharged", DISCONNECTED[0])
REPLY_S = 4.0
GUARD_OPEN_S = 20.0
INTERCHANGED_S = 300.0
GUARD_SHUT_S = 360.0
SLOW = 2 / 3  # of the time that a prompt may stand open
AGAIN_S = 1.5
BEFORE_S = 1.0


class Asked(NamedTuple):
    """A prompt, and the stand time (ns) at which it was put."""

    prompt: Prompt
    put: int


class RehearsedOperator:
    """Says yes, and does what it says: the interchange happens behind an opened guard.

    Where people connect the resistance meter it is on all windings once they say so, and off again
    once they say that its d.c. is discharged.

    For hands: `slow` (takes two thirds of a prompt's time), `absent` (hears and says nothing until
    back), `twice` (says everything a second time), `stale` (answers what it saw before the prompt
    was put, and rightly only once that is over), `says` (what it answers), `wants_hold` (asks once
    for a hold, unasked).
    """

    def __init__(self, stand: SimulatedStand, clock: VirtualClock, hands: Hands) -> None:
        self.slow = self.absent = self.twice = self.stale = False
        self.says = True
        self.wants_hold = self._asked_to_hold = False
        self._stand = stand
        self._clock = clock
        self._hands = hands
        self._answers: list[Answer] = []
        self._connected = False
        self._unheard: Asked | None = None
        self._unanswered: Asked | None = None

    def put(self, prompt: Prompt, t: int) -> None:
        """Hear a prompt; the answer comes later. What was asked before no longer matters."""
        self._unanswered = None
        self._unheard = Asked(prompt, t)
        self._hear()

    def answers(self) -> list[Answer]:
        """Return what was answered since the last call."""
        if self._unheard is not None:
            self._hear()
        if self._unanswered is not None and not (self.absent or self.stale):
            asked, self._unanswered = self._unanswered, None
            self._reply(asked, REPLY_S)
        if self.wants_hold != self._asked_to_hold:
            self._asked_to_hold = self.wants_hold
            if self.wants_hold:
                now = self._clock.now()
                said = Answer(OPERATOR_HOLD, "the operator", "rehearsed", now, True, now)
                self._answers.append(said)
        answers, self._answers = self._answers, []
        return answers

    def forget(self) -> None:
        """The program that asked has ended: nothing that it asked is answered any more."""
        self._unheard = self._unanswered = None
        self._answers = []

    def _hear(self) -> None:
        if self.absent or self._unheard is None:
            return
        asked, self._unheard = self._unheard, None
        prompt = asked.prompt
        after_s = SLOW * prompt.expires_s if self.slow else REPLY_S
        if prompt.id == INTERCHANGE[0] and self.says:
            self._do(GUARD_OPEN_S, self._open_guard)
            self._do(INTERCHANGED_S, self._interchange)
            self._do(GUARD_SHUT_S, self._shut_guard)
            after_s += GUARD_SHUT_S
        if prompt.id in CONNECTS and self.says:
            self._do(after_s / 2, self._connect)
        if prompt.id in DISCONNECTS and self.says and self._connected:
            self._do(after_s / 2, self._disconnect)
        self._reply(asked, after_s)

    def _reply(self, asked: Asked, after_s: float) -> None:
        self._do(after_s, lambda: self._say(asked), Order.PUBLICATION)

    def _say(self, asked: Asked) -> None:
        if self.absent:
            self._unanswered = asked
            return
        saw = asked.put
        if self.stale:
            self._unanswered = asked
            saw -= round(BEFORE_S * S)
        who, says = asked.prompt.who, self.says
        self._answers.append(
            Answer(asked.prompt.id, who, "rehearsed", self._clock.now(), says, saw)
        )
        if self.twice:
            self._do(AGAIN_S, lambda: self._say_again(asked, saw), Order.PUBLICATION)

    def _say_again(self, asked: Asked, saw: int) -> None:
        t, says = self._clock.now(), self.says
        self._answers.append(Answer(asked.prompt.id, asked.prompt.who, "rehearsed", t, says, saw))

    def _do(self, after_s: float, action: Callable[[], None], order: Order = Order.HANDS) -> None:
        self._clock.at(self._clock.now() + round(after_s * S), order, action)

    def _open_guard(self) -> None:
        self._hands.hold("operator", becoming(self._stand, "guard", False))

    def _shut_guard(self) -> None:
        self._hands.let_go("operator")

    def _connect(self) -> None:
        self._connected = True
        self._stand.resistance_selector.commanded = 1

    def _disconnect(self) -> None:
        self._connected = False
        self._stand.resistance_selector.commanded = 0

    def _interchange(self) -> None:
        self._hands.alter(Change(self._stand, "wiring", Wiring.interchanged))
