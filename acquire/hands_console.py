"""People's hands on a stand that is served: one line each, and what it did."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from acquire.clock import S
from acquire.fault_schedule import FaultRefused, timed_fault
from acquire.site import Site
from drivers.simulated.circuit import Wiring
from drivers.simulated.hands import Change, becoming
from drivers.simulated.stand import STATUS

if TYPE_CHECKING:
    from acquire.faults import SiteFault

WORDS = (
    "fault NAME[:SECONDS], clear NAME, interchange, guard open|shut, selector N|open, state, quit"
)
HAND = "by hand"


class HandsConsole:
    """Takes lines for a site whose plant has been moved on to now.

    `known` are the faults that a stand can have without a program in it.
    """

    def __init__(self, site: Site, known: dict[str, SiteFault]) -> None:
        self.ended = False
        self._site = site
        self._known = known
        self._faults = 0

    def do(self, line: str) -> list[str]:
        """Do what a line says and return what is to be told of it."""
        word, _, rest = line.strip().partition(" ")
        deeds: dict[str, Callable[[str], list[str]]] = {
            "fault": self._fault,
            "clear": self._clear,
            "interchange": self._interchange,
            "guard": self._guard,
            "selector": self._selector,
            "state": self._state,
            "quit": self._quit,
        }
        if not word:
            return []
        if word not in deeds:
            return [f"{word!r} is none of: {WORDS}"]
        return deeds[word](rest.strip())

    def _fault(self, word: str) -> list[str]:
        try:
            fault = timed_fault(word, self._known, self._site.faults.known)
        except FaultRefused as refused:
            return [str(refused)]
        if "@" in word:
            return ["a fault given here begins now: fault NAME[:SECONDS]"]
        self._faults += 1
        self._site.faults.begin(fault, f"{HAND} {self._faults}")
        return []

    def _clear(self, name: str) -> list[str]:
        if self._site.faults.end(name):
            return []
        there = ", ".join(self._site.faults.now_held) or "none"
        return [f"there is no fault {name!r} to clear; there are: {there}"]

    def _interchange(self, _rest: str) -> list[str]:
        plant = self._site.stand
        if plant.guard:
            return ["nobody reaches a terminal behind a shut guard: guard open"]
        self._site.hands.alter(Change(plant, "wiring", Wiring.interchanged))
        return [f"one secondary interchanged: the pair is {_connection(plant.wiring)}"]

    def _guard(self, to: str) -> list[str]:
        if to not in {"open", "shut"}:
            return ["guard open, or guard shut"]
        self._site.hands.let_go(HAND)
        if to == "open":
            self._site.hands.hold(HAND, becoming(self._site.stand, "guard", False))
        self._site.stand.advance(self._site.clock.now())
        return [f"the guard is {'shut' if self._site.stand.guard else 'open'}"]

    def _selector(self, to: str) -> list[str]:
        plant = self._site.stand
        if not plant.stand.outputs.resistance_selector.by_hand:
            return ["the program turns the selector of this stand: its file has no by_hand"]
        last = len(plant.stand.selector_positions())
        turned = {"open": 0} | {str(position): position for position in range(1, last + 1)}
        if to not in turned:
            return [f"selector open, or selector 1 to {last}"]
        plant.resistance_selector.commanded = turned[to]
        plant.advance(self._site.clock.now())
        return [f"the selector is turned: {'open' if to == 'open' else f'to position {to}'}"]

    def _state(self, _rest: str) -> list[str]:
        plant = self._site.stand
        solution = plant.solution()
        status = ", ".join(
            f"{name} {value:.4f}" if name.endswith("regulator") else f"{name} {value:g}"
            for name, value in zip(STATUS, map(float, plant.status()), strict=True)
        )
        return [
            f"{plant.t / S:.2f} s: {status}",
            f"true: LV bus {abs(solution.bus):.2f} V, LV supply {abs(solution.lv_supply):.3f} A,"
            f" gap {abs(solution.gap):.2f} V, loop {abs(solution.loop):.3f} A;"
            f" {_connection(plant.wiring)}",
            f"faults: {', '.join(self._site.faults.now_held) or 'none'}",
        ]

    def _quit(self, _rest: str) -> list[str]:
        self.ended = True
        return []


def _connection(wiring: Wiring) -> str:
    return "aiding" if wiring.aiding else "in opposition"
