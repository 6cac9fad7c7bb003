"""What moves on the stand: contactors, motor regulators, the watchdog relay.

Each part is told the time and moves on by itself; `due` is when it next changes, so that whoever
runs the plant can stop at every change on the way to an instant. Times are stand time in ns.
"""

from math import inf

from drivers import wiring

SECOND = 1_000_000_000


class Contactor:
    """A contactor with its auxiliary contact; `closed` is whether its main contacts are.

    For hands: `welded` keeps the main contacts as they close, `jammed` keeps them from closing,
    `fallen_out` opens them although the coil is energised, `auxiliary` is what the auxiliary
    contact says instead of the truth.
    """

    def __init__(self, close_s: float, open_s: float) -> None:
        self.commanded = False
        self.welded = False
        self.jammed = False
        self.fallen_out = False
        self.auxiliary: bool | None = None
        self._close_ns = round(close_s * SECOND)
        self._open_ns = round(open_s * SECOND)
        self._energised = False
        self.closed = False
        self.due: float = inf

    @property
    def contact(self) -> bool:
        """What the auxiliary contact says."""
        return self.closed if self.auxiliary is None else self.auxiliary

    def advance(self, t: int, supplied: bool) -> None:
        """Move on to `t`, at which the coil circuit is supplied or not."""
        energised = self.commanded and supplied and not self.fallen_out
        if energised == self._energised == self.closed and self.due == inf:
            return
        if energised != self._energised:
            self._energised = energised
            self.due = t + (self._close_ns if energised else self._open_ns)
        if t >= self.due:
            self.due = inf
            if self._energised:
                self.closed = self.closed or not self.jammed
            elif not self.welded:
                self.closed = False
        elif self.due == inf and self._held_against_coil():
            self.closed = self._energised

    def _held_against_coil(self) -> bool:
        """Whether a fault that kept the contacts from following the coil has gone."""
        if self._energised:
            return not self.closed and not self.jammed
        return self.closed and not self.welded


class Regulator:
    """A motor regulator: its position travels to a target at its rate, in steps.

    `position` is the true one, 0 to 1 of travel, a whole number of steps. Its limit contacts are
    made at the ends of its travel.
    For hands: `stuck` stops the motor, `drift_per_s` moves it by itself, `feedback` is what the
    position transmitter says instead of the truth, `output` the share of full voltage that it
    gives instead of what its position promises.
    """

    def __init__(self, wired: wiring.Regulator) -> None:
        self.stuck = False
        self.drift_per_s = 0.0
        self.feedback: float | None = None
        self.output: float | None = None
        self._rate = wired.rate_per_s / SECOND
        self._resolution = wired.resolution
        self._target = 0.0
        self._relays = {"raise": False, "lower": False}
        self._travelled = 0.0
        self._t = 0
        self.position = 0.0

    @property
    def target(self) -> float:
        """The position that it was told to be at, 0 to 1."""
        return self._target

    @property
    def reported(self) -> float:
        """What the position transmitter says."""
        return self.position if self.feedback is None else self.feedback

    @property
    def share(self) -> float:
        """The share of full voltage that it gives."""
        return self.position if self.output is None else self.output

    def command(self, position: float) -> None:
        """Send it to a position; what lies outside its travel is brought to the end of it."""
        self._target = min(max(position, 0.0), 1.0)

    @property
    def limits(self) -> tuple[bool, bool]:
        """Whether its lower and its upper limit contact are made."""
        return self._travelled <= 0.0, self._travelled >= 1.0

    def relay(self, which: str, energised: bool) -> None:
        """Take its "raise" or its "lower" relay: one of them alone runs the motor."""
        self._relays[which] = energised
        up, down = self._relays["raise"], self._relays["lower"]
        self._target = self._travelled if up == down else float(up)

    def advance(self, t: int) -> None:
        """Move on to `t`."""
        elapsed, self._t = t - self._t, t
        if self.drift_per_s:
            moved = self._travelled + self.drift_per_s * elapsed / SECOND
            self._stand_at(min(max(moved, 0.0), 1.0))
        elif self._travelled != self._target and not self.stuck:
            reach = self._rate * elapsed
            way = self._target - self._travelled
            self._stand_at(
                self._target
                if abs(way) <= reach
                else (self._travelled + (reach if way > 0 else -reach))
            )

    def _stand_at(self, travelled: float) -> None:
        self._travelled = travelled
        self.position = round(travelled / self._resolution) * self._resolution


class Watchdog:
    """The hardware relay that holds while the heartbeat toggles.

    For hands: `welded` keeps it picked up once it has been.
    """

    def __init__(self, drop_s: float) -> None:
        self.welded = False
        self.picked_up = False
        self._drop_ns = round(drop_s * SECOND)
        self._beat = 0
        self._drops_at: float = inf

    @property
    def due(self) -> float:
        """When it drops, ns."""
        return inf if self.welded else self._drops_at

    def beat(self, t: int, value: int) -> None:
        """Take the heartbeat's level; a change of it picks the relay up and holds it."""
        if value != self._beat:
            self._beat = value
            self.picked_up = True
            self._drops_at = t + self._drop_ns

    def advance(self, t: int) -> None:
        """Move on to `t`."""
        if t >= self.due:
            self.picked_up = False
            self._drops_at = inf
