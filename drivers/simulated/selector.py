"""The selector that puts the resistance meter's d.c. on windings, with the meter's interlock."""

from collections.abc import Callable
from math import inf

from drivers.simulated.machinery import SECOND


class Selector:
    """A selector of positions; 0 is open.

    Told to open or to move on, the meter first discharges its d.c. (`discharge_s` of a position),
    and only then do the contacts open: until then it reads as standing where it stood. It does not
    close under voltage (`live` says whether there is any): it stays open until it is told anew.

    For hands: `welded` keeps it from opening, `jammed` from closing, `interlocked` False takes the
    interlock against voltage away.
    """

    def __init__(
        self,
        close_s: float,
        open_s: float,
        discharge_s: Callable[[int], float],
        live: Callable[[], bool],
    ) -> None:
        self.commanded = 0
        self.welded = False
        self.jammed = False
        self.interlocked = True
        self.due: float = inf
        self._close_ns = round(close_s * SECOND)
        self._open_ns = round(open_s * SECOND)
        self._discharge_s = discharge_s
        self._live = live
        self._told = 0
        self._position = 0
        self._refused = False
        self._applied = 0

    @property
    def closed(self) -> bool:
        """Whether any winding is connected."""
        return self._position != 0

    @property
    def contact(self) -> int:
        """The position that its contacts report."""
        return self._position

    def d_c(self, t: int) -> tuple[int, float] | None:
        """Return the position that carries d.c. and for how long it has, s; None where none does.

        While it is being discharged nothing is measured.
        """
        if not self._position or self.due != inf:
            return None
        return self._position, (t - self._applied) / SECOND

    def advance(self, t: int) -> None:
        """Move on to `t`, an instant not behind `due`."""
        told = int(self.commanded)
        if told != self._told:
            self._told = told
            self._refused = False
            if self.due != inf and told == self._position:
                self._applied = t  # on again, discharged half-way
            self.due = inf
        if t >= self.due:
            self._act(t)
        held = self.welded if self._position else self.jammed
        if self.due == inf and told != self._position and not self._refused and not held:
            self.due = t + self._way_ns()

    def _act(self, t: int) -> None:
        self.due = inf
        if self._position:
            if not self.welded:
                self._position = 0
        elif not self.jammed:
            self._refused = self.interlocked and self._live()
            if not self._refused:
                self._position, self._applied = self._told, t

    def _way_ns(self) -> int:
        if not self._position:
            return self._close_ns
        return self._open_ns + round(self._discharge_s(self._position) * SECOND)
