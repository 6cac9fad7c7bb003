"""The outputs of a stand: two contactors, a selector, two regulators and the heartbeat.

Openings and moves towards zero are never held back here; who may close or raise is decided
elsewhere, before it comes this far.
"""

from collections.abc import Iterable
from typing import NamedTuple

from drivers.description import OutputWiring, Regulator
from drivers.link import Clock, InstrumentFault, RegisterLink
from drivers.reading import Quality, Reading

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


class Outputs:
    """Writes commands on the outputs' own link and folds back what contacts and positions say."""

    def __init__(self, wiring: OutputWiring, link: RegisterLink, clock: Clock) -> None:
        self._wiring = wiring
        self._link = link
        self._clock = clock
        self._beat = 0
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
        regulator = self._regulator(output)
        register = round(min(max(to, 0.0), 1.0) / regulator.scale)
        target = register * regulator.scale
        was = self._states[output].commanded
        travel = int(abs(target - was) / regulator.rate_per_s * S)
        self._command(output, target, travel, regulator.address, register)

    def heartbeat(self) -> None:
        """Toggle the heartbeat; a fault on the outputs' link withholds it for good."""
        if self.fault is None:
            self._beat ^= 1
            self._write(self._wiring.heartbeat, self._beat)

    def follow(self, arrived: Iterable[Reading]) -> None:
        """Note which outputs the contacts and positions among these readings show at rest."""
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
            if abs(reading.value - state.commanded) <= self._band(reading.channel):
                self._states[reading.channel] = state._replace(at_rest_since=reading.began)

    def _regulator(self, output: str) -> Regulator:
        wiring = self._wiring
        return wiring.lv_regulator if output == LV_REGULATOR else wiring.loop_regulator

    def _band(self, output: str) -> float:
        return 1.01 * self._regulator(output).resolution if output in REGULATORS else 0.5

    def _contactor(self, output: str, word: int) -> None:
        wiring = self._wiring
        address = {
            LV: wiring.lv_contactor.address,
            LOOP: wiring.loop_contactor.address,
            SELECTOR: wiring.resistance_selector.address,
        }[output]
        self._command(output, float(word), 0, address, word)

    def _command(self, output: str, target: float, travel: int, address: int, word: int) -> None:
        state = self._states[output]
        if state.commanded == target:
            self._write(address, word)
            return
        since = self._clock.now()
        self._states[output] = OutputState(target, since, since + travel, None)
        self._write(address, word)
        # The write may have waited: what travels has not begun before it was told.
        due = self._clock.now() + travel
        self._states[output] = self._states[output]._replace(due=due)

    def _write(self, address: int, word: int) -> None:
        try:
            self._link.write(address, (word,), self._wiring.timeout_s)
        except InstrumentFault as fault:
            self.fault = fault
