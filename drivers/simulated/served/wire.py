"""The wire to one instrument that is served: when an answer leaves, and what becomes of it.

All that is served runs on one thread: nobody else touches the plant while an answer is made.
"""

import asyncio
from collections.abc import Callable
from typing import TypeVar

from drivers.simulated.stand import SimulatedStand
from drivers.simulated.tampering import Tampering

# A late answer leaves when whoever asked has given up, in shares of the instrument's time-out.
LATE = 1.2

Answer = TypeVar("Answer")


class ServedWire:
    """What lies between a simulated instrument and all who ask it.

    `move_on` brings the plant to the present, whose clock runs `speed` times as fast as the wall's.
    """

    def __init__(
        self,
        plant: SimulatedStand,
        name: str,
        timeout_s: float,
        move_on: Callable[[], None],
        speed: float,
    ) -> None:
        self._plant = plant
        self._name = name
        self._timeout_s = timeout_s
        self._move_on = move_on
        self._speed = speed

    def hears(self) -> bool:
        """Move the plant on to now; return whether the instrument takes a question at all."""
        self._move_on()
        return self._name not in self._plant.silent

    async def carry(
        self, answer: Answer, change: Callable[[Tampering, Answer], Answer | None]
    ) -> Answer:
        """Return what arrives of an answer, when it is due. Raises ConnectionLost."""
        due_s = self._plant.latencies_s.get(self._name, 0.0)
        for tampering in self._plant.tampering.get(self._name, ()):
            changed = change(tampering, answer)
            if changed is None:
                # It waits here, not there: whoever asks next meets it on the wire.
                tampering.reopened()
                due_s += LATE * self._timeout_s
            else:
                answer = changed
        await asyncio.sleep(due_s / self._speed)
        return answer

    def opened(self) -> None:
        """Somebody has opened the link: what was on its way is gone."""
        for tampering in self._plant.tampering.get(self._name, ()):
            tampering.reopened()
