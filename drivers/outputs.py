"""The outputs of a stand: two contactors, a selector, two regulators and the heartbeat.

Openings and moves towards zero are never held back here; who may close or raise is decided
elsewhere, before it comes this far.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from typing import NamedTuple, Protocol

from drivers.link import Clock, InstrumentFault, RegisterLink
from drivers.motor import Motor
from drivers.reading import Quality, Reading
from drivers.wiring import OutputWiring

LV = "lv_contactor"
LOOP = "loop_contactor"
SELECTOR = "resistance_selector"
LV_REGULATOR = "lv_regulator"
LOOP_REGULATOR = "loop_regulator"
CONTACTORS = (LV, LOOP, SELECTOR)
REGULATORS = (LV_REGULATOR, LOOP_REGULATOR)

S = 1_000_000_000


class OutputState(NamedTuple):
    """What an output was told and how far it has come.

    `commanded` is 1.0 or 0.0 for a contactor, the position for the selector (0.0 is open), the
    target position for a regulator; `since` the instant of that command, `due` when a healthy
    output has followed it, `at_rest_since` the instant at which the question was asked whose answer
    first showed it there (None: not yet).
    """

    commanded: float
    since: int
    due: int
    at_rest_since: int | None


class Settable(Protocol):
    """A source that serves as a regulator."""

    def to(self, position: float) -> None:
        """Set its voltage in shares of its full one. Raises InstrumentFault."""
        ...


class Outputs:
    """Writes commands on the outputs' own links and folds back what contacts and positions say.

    `sources` are those of the regulators that a source drives, by their names. A command that a
    source doesn't take is a fault like any other: the heartbeat is withheld for good.
    """

    def __init__(
        self,
        wiring: OutputWiring,
        link: RegisterLink,
        clock: Clock,
        sources: Mapping[str, Settable] | None = None,
    ) -> None:
        self._wiring = wiring
        self._link = link
        self._clock = clock
        self._sources = sources or {}
        self._regulators = wiring.regulators()
        self._motors = {
            name: Motor(name, regulator, regulator.motor, partial(self._write, name))
            for name, regulator in self._regulators.items()
            if regulator.motor is not None
        }
        self._beat = 0
        self._beaten = clock.now()
        self.claimed = False
        self.fault: InstrumentFault | None = None
        now = clock.now()
        self._states = {o: OutputState(0.0, now, now, None) for o in (*CONTACTORS, *REGULATORS)}

    def states(self) -> dict[str, OutputState]:
        """Return the state of every output as it stands now."""
        return dict(self._states)

    def claim(self) -> None:
        """Take the outputs over: everything open and at zero. Only with both contactors open."""
        self.open_all()
        self.claimed = True

    def open(self, output: str) -> None:
        """Open a contactor; with the LV contactor the loop contactor opens, and opens first."""
        if output == LV:
            self._contactor(LOOP, 0)
        self._contactor(output, 0)

    def open_all(self) -> None:
        """Stop category 0: loop, LV and selector open, in that order, and regulators to zero."""
        for output in (LOOP, LV, SELECTOR):
            self._contactor(output, 0)
        for output in REGULATORS:
            self.move(output, 0.0)

    def close(self, output: str, onto: int = 1) -> None:
        """Close a contactor, or the selector onto one of its positions, counted from 1."""
        self._contactor(output, onto if output == SELECTOR else 1)

    def move(self, output: str, to: float) -> None:
        """Send a regulator to an absolute position, 0 to 1 of its travel."""
        regulator = self._regulators[output]
        register = round(min(max(to, 0.0), 1.0) / regulator.scale)
        target = register * regulator.scale
        was = self._states[output].commanded
        travel = int(abs(target - was) / regulator.rate_per_s * S)
        with self._told(output, target, travel):
            if output in self._motors:
                self._motors[output].to(target, self._clock.now())
            elif output in self._sources:
                self._try(output, lambda: self._sources[output].to(target))
            elif regulator.address is not None:
                self._write(output, regulator.address, register)

    def go_on(self) -> None:
        """Switch the motors of regulators on their way; once a scan, after what it commands.

        Before the outputs are claimed nothing runs.
        """
        if not self.claimed:
            return
        for motor in self._motors.values():
            motor.go_on(self._clock.now())

    def heartbeat(self, drop_ns: int) -> None:
        """Toggle the heartbeat; a fault on the outputs' link withholds it for good.

        A relay that has had the time to drop, `drop_ns`, isn't picked up under a main contactor
        that is still told to close: it would close again by itself. The clock is asked here, just
        before the write, since whatever held the scan up may have done so within it.
        """
        if self.fault is not None:
            return
        now = self._clock.now()
        told_closed = self._states[LV].commanded or self._states[LOOP].commanded
        if not told_closed or now - self._beaten < drop_ns:
            self._beaten = now
            self._beat ^= 1
            self._write("heartbeat", self._wiring.heartbeat, self._beat)

    def follow(self, arrived: Iterable[Reading]) -> None:
        """Note which outputs the contacts and positions among these readings show at rest."""
        if self._motors:
            arrived = list(arrived)
            for reading in arrived:
                for motor in self._motors.values():
                    motor.take(reading)
        if all(state.at_rest_since is not None for state in self._states.values()):
            return
        for reading in arrived:
            state = self._states.get(reading.channel)
            if (
                state is None
                or state.at_rest_since is not None
                or reading.quality is not Quality.GOOD
                or reading.began < state.since
                or reading.value is None
            ):
                continue
            if self._shows_rest(reading, state.commanded, reading.value):
                self._states[reading.channel] = state._replace(at_rest_since=reading.began)

    def _shows_rest(self, reading: Reading, commanded: float, value: float) -> bool:
        output = reading.channel
        if output in self._motors:
            return self._motors[output].rests(reading)
        band = 1.01 * self._regulators[output].resolution if output in REGULATORS else 0.5
        return abs(value - commanded) <= band

    def _contactor(self, output: str, word: int) -> None:
        wiring = self._wiring
        address = {
            LV: wiring.lv_contactor.address,
            LOOP: wiring.loop_contactor.address,
            SELECTOR: wiring.resistance_selector.address,
        }[output]
        with self._told(output, float(word), 0):
            self._write(output, address, word)

    @contextmanager
    def _told(self, output: str, target: float, travel: int) -> Iterator[None]:
        """Note a command that is being written; the same one again is none."""
        if self._states[output].commanded == target:
            yield
            return
        since = self._clock.now()
        self._states[output] = OutputState(target, since, since + travel, None)
        yield
        # The write may have waited: what travels has not begun before it was told.
        due = self._clock.now() + travel
        self._states[output] = self._states[output]._replace(due=due)

    def _write(self, output: str, address: int, word: int) -> None:
        self._try(output, lambda: self._link.write(address, (word,), self._wiring.timeout_s))

    def _try(self, output: str, command: Callable[[], None]) -> None:
        try:
            command()
        except InstrumentFault as fault:
            asked = f"{fault.asked}, {output}"
            self.fault = self.fault or type(fault)(fault.instrument, asked, fault.came_back)
