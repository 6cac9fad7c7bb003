"""What hands hold on the plant, each for itself: whoever lets go lets go of its own alone."""

from collections.abc import Callable
from typing import Any, NamedTuple


class Change(NamedTuple):
    """An attribute of something, and what becomes of its value while somebody has a hand on it."""

    owner: object
    attribute: str
    to: Callable[[Any], Any]


def becoming(owner: object, attribute: str, value: object) -> Change:
    """Return the change of an attribute to a value, whatever it was."""
    return Change(owner, attribute, lambda _: value)


class Hands:
    """Changes laid over the plant, one over the other; the plant shows what they come to.

    An attribute that somebody sets past these hands is taken as what lies beneath them.
    """

    def __init__(self) -> None:
        self._held: dict[tuple[int, str], _Held] = {}

    def hold(self, by: str, change: Change) -> None:
        """Lay a change over an attribute, in the name of whoever holds it."""
        self._of(change).layers.append((by, change.to))
        self._show(change)

    def let_go(self, by: str) -> None:
        """Take away every change that was laid in this name; nothing where there is none."""
        for held in list(self._held.values()):
            held.layers = [layer for layer in held.layers if layer[0] != by]
            self._show(held.change)

    def alter(self, change: Change) -> None:
        """Change for good what lies beneath everything that is held."""
        held = self._of(change)
        held.beneath = change.to(held.beneath)
        self._show(change)

    def _of(self, change: Change) -> "_Held":
        key = (id(change.owner), change.attribute)
        if key not in self._held:
            self._held[key] = _Held(change)
        held = self._held[key]
        now = getattr(change.owner, change.attribute)
        if now != held.shown:
            held.beneath = now
        return held

    def _show(self, change: Change) -> None:
        held = self._of(change)
        held.shown = held.beneath
        for _by, to in held.layers:
            held.shown = to(held.shown)
        setattr(change.owner, change.attribute, held.shown)
        if not held.layers:
            del self._held[id(change.owner), change.attribute]


class _Held:
    """One attribute: what lies beneath, the layers over it, and what they showed last."""

    def __init__(self, change: Change) -> None:
        self.change = change
        self.beneath = self.shown = getattr(change.owner, change.attribute)
        self.layers: list[tuple[str, Callable[[Any], Any]]] = []
