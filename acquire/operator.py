"""The operator of a rehearsal: answers prompts by the same path as a person, after a while."""

from collections.abc import Callable
from dataclasses import replace

from acquire.clock import Order, S, VirtualClock
from drivers.simulated.stand import SimulatedStand
from sequences.prompt import INTERCHANGE, Answer, Prompt

REPLY_S = 4.0
GUARD_OPEN_S = 20.0
INTERCHANGED_S = 300.0
GUARD_SHUT_S = 360.0


class RehearsedOperator:
    """Says yes, and does what it says: the interchange happens behind an opened guard."""

    def __init__(self, stand: SimulatedStand, clock: VirtualClock) -> None:
        self._stand = stand
        self._clock = clock
        self._answers: list[Answer] = []

    def put(self, prompt: Prompt, t: int) -> None:
        """Hear a prompt; the answer comes later."""
        reply_s = REPLY_S
        if prompt.id == INTERCHANGE[0]:
            self._do(GUARD_OPEN_S, self._open_guard)
            self._do(INTERCHANGED_S, self._interchange)
            self._do(GUARD_SHUT_S, self._shut_guard)
            reply_s += GUARD_SHUT_S
        self._do(reply_s, lambda: self._say_yes(prompt, t))

    def answers(self) -> list[Answer]:
        """Return what was answered since the last call."""
        answers, self._answers = self._answers, []
        return answers

    def _do(self, after_s: float, action: Callable[[], None]) -> None:
        self._clock.at(self._clock.now() + round(after_s * S), Order.PUBLICATION, action)

    def _say_yes(self, prompt: Prompt, put: int) -> None:
        answer = Answer(prompt.id, prompt.who, "rehearsed", self._clock.now(), True, put)
        self._answers.append(answer)

    def _open_guard(self) -> None:
        self._stand.guard = False

    def _shut_guard(self) -> None:
        self._stand.guard = True

    def _interchange(self) -> None:
        wiring = self._stand.wiring
        self._stand.wiring = replace(wiring, aiding=not wiring.aiding)
