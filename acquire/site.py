"""Where a rehearsal takes place: all that is still there when the program has ended."""

from collections.abc import Mapping, Sequence

from acquire.clock import Utc, VirtualClock
from acquire.configuration import Scenario
from acquire.disk import Disk
from acquire.fault_schedule import FaultSchedule, timed_fault
from acquire.faults import catalogue
from acquire.operator import RehearsedOperator
from drivers.simulated.circuit import WIRINGS
from drivers.simulated.hands import Hands
from drivers.simulated.stand import SimulatedStand


class Site:
    """Plant, people, disk and time of a rehearsal, and the faults that are to come.

    `faults` are words as `fault_schedule` reads them, `begin` the stand time at which anybody
    comes, ns. Raises FaultRefused for a fault that is none.
    """

    def __init__(
        self,
        scenario: Scenario,
        *,
        seed: int,
        connection: str = "opposition",
        voltmeter: str = "live",
        faults: Sequence[str] = (),
        begin: int = 0,
    ) -> None:
        self.seed, self.connection, self.voltmeter = seed, connection, voltmeter
        self.clock = VirtualClock(begin)
        self.utc = Utc(begin)
        self.disk = Disk()
        self.hands = Hands()
        self.stand = SimulatedStand(
            scenario.stand, scenario.pair.nameplate, scenario.truth, seed, WIRINGS[connection]
        )
        self.stand.advance(begin)
        self.stand.series_voltmeter.dead = voltmeter == "dead"
        self.operator = RehearsedOperator(self.stand, self.clock, self.hands)
        known = catalogue(scenario)
        self.faults = FaultSchedule([timed_fault(word, known) for word in faults], known)

    def found_as(self, read_c: Mapping[str, float]) -> None:
        """Have the plant be as warm as somebody has read it, degC by channel."""
        if self.stand.thermal is not None:
            self.stand.thermal.begin_at(read_c)
