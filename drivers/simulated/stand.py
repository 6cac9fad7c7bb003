"""The simulated stand: the plant in time.

The plant is only moved on at instants at which somebody asks or writes. Between them nothing is
computed; on the way every contact that opens or closes does so at its own instant. The circuit is
solved afresh only when something that it depends on has changed.
"""

from cmath import rect
from collections.abc import Callable
from math import inf, radians

from calculation.nameplate import Nameplate
from drivers.description import Stand
from drivers.simulated.circuit import OPPOSITION, Solution, Supplies, WiredPair, Wiring
from drivers.simulated.machinery import Contactor, Regulator, Watchdog
from drivers.simulated.meters import Meter, stand_meters
from drivers.simulated.pair import (
    Windings,
    direct_resistances,
    heated_pair_circuit,
    pair_circuit,
)
from drivers.simulated.selector import Selector
from drivers.simulated.tampering import Tampering
from drivers.simulated.thermal.pair import ThermalPair, load_of
from drivers.simulated.thermal.unit import Cooling
from drivers.simulated.true_state import TrueState, true_state
from drivers.simulated.truth import TrueUnit, Truth
from drivers.simulated.winding import DISCHARGED_AFTER, WINDINGS, settling

# Any more on a winding and the resistance meter's interlock keeps its d.c. off.
LIVE_V = 50.0


class SimulatedStand:
    """One stand with its pair.

    For people's hands, read when next asked: `guard`, `emergency_stop` and `protection_contact`
    (True is shut, closed, healthy, as their contacts read), `wiring`, `resistance_selector` and
    the other machinery with its own faults, `lv_supply_lost`, `loop_supply_lost`, `frequency_hz`,
    `temperatures_c` (by channel, instead of what its sensor shows), `out_of_pocket` (channels whose
    sensor hangs in the room), `cooling_a` and `cooling_b`, `silent` (names of instruments,
    "outputs" among them, that don't answer), `latencies_s` (by instrument), `tampering` (by
    instrument, what becomes of its answers on their way), `meters` (by channel, each with its own
    faults) and among them `series_voltmeter`, whose `dead` is a voltmeter that reads a perfect
    nought. For whoever looks on: `moved` is called whenever the plant has moved on, `written` with
    output and value before a command is taken. Emergency stop and watchdog drop the coils of both
    contactors in hardware; the watchdog also drops the upstream breaker. The emergency stop's relay
    holds what a press has cut until both contactors are told to open: to reset it permits a new
    start and makes none (ISO 13850, 4.1.4; clause from memory). Its contact is what reads.
    """

    def __init__(
        self,
        stand: Stand,
        nameplate: Nameplate,
        truth: Truth,
        seed: int,
        wiring: Wiring = OPPOSITION,
    ) -> None:
        self.stand = stand
        self.nameplate = nameplate
        self.truth = truth
        self.seed = seed
        self.wiring = wiring
        self.guard = self.emergency_stop = self.protection_contact = True
        self.lv_supply_lost = self.loop_supply_lost = False
        self.frequency_hz = nameplate.frequency_hz
        self.temperatures_c: dict[str, float] = {}
        self.out_of_pocket: set[str] = set()
        heat = truth.thermal
        self.cooling_a = Cooling(heat.a.fan_factor if heat else 1.0)
        self.cooling_b = Cooling(heat.b.fan_factor if heat else 1.0)
        self.silent: set[str] = set()
        self.latencies_s = {name: i.latency_s for name, i in truth.instrument.items()}
        self.tampering: dict[str, tuple[Tampering, ...]] = {}
        wired = stand.outputs
        self._contactors = {
            name: Contactor(truth.contactor_close_s, truth.contactor_open_s)
            for name in ("lv_contactor", "loop_contactor", "upstream_breaker")
        }
        self._regulators = {
            "lv_regulator": Regulator(wired.lv_regulator),
            "loop_regulator": Regulator(wired.loop_regulator),
        }
        self._relays = {
            f"{name}.{which}": (regulator, which)
            for name, regulator in self._regulators.items()
            for which in ("raise", "lower")
        }
        self.lv_contactor, self.loop_contactor, self.upstream_breaker = self._contactors.values()
        self.resistance_selector = Selector(
            truth.contactor_close_s,
            truth.contactor_open_s,
            self._discharge_s,
            self._winding_live,
        )
        self._positions = stand.selector_positions()
        self.lv_regulator, self.loop_regulator = self._regulators.values()
        self.upstream_breaker.commanded = True
        self.watchdog = Watchdog(stand.watchdog.drop_s)
        self.emergency_relay = True
        self.pair = pair_circuit(nameplate, truth, stand.lv_branch_ohm)
        self.meters: dict[str, Meter] = stand_meters(stand, truth, seed)
        self.series_voltmeter = self.meters["series.voltage.1"]
        self.t = 0
        self.moved: Callable[[], None] = _unwatched
        self.written: Callable[[str, float], None] = _unwatched
        self._full_lv = wired.lv_regulator.full_voltage_v
        self._full_loop = rect(
            wired.loop_regulator.full_voltage_v, radians(truth.loop_supply.angle_degree)
        )
        self._wired = WiredPair(self.pair, wiring)
        self._solved_for: tuple[object, ...] | None = None
        self._solution: Solution
        self._carried: Solution | None = None
        self._switched = self._switches()
        coolings = {"a": self.cooling_a, "b": self.cooling_b}
        self._thermal = ThermalPair(truth, heat, nameplate, coolings, seed) if heat else None

    @property
    def series_multiplier(self) -> float:
        """What the series voltmeter's answer is multiplied by; 1 where it is set rightly."""
        return self.series_voltmeter.multiplier

    @series_multiplier.setter
    def series_multiplier(self, multiplier: float) -> None:
        self.series_voltmeter.multiplier = multiplier

    def advance(self, t: int) -> None:
        """Move the plant on to stand time `t`, ns; an instant already past changes nothing."""
        t = max(t, self.t)
        while (due := self._next_change()) < t:
            self._settle(int(due))
        self._settle(t)

    def write(self, output: str, value: float) -> None:
        """Take what is written to the outputs unit at the instant last advanced to.

        `output` is named as in the stand file: "heartbeat", a contactor, whose 1 closes and 0
        opens, the selector with its position, a regulator, whose value is its position, 0 to 1, or
        a regulator's relay, "loop_regulator.raise".
        """
        self.written(output, value)
        if output == "heartbeat":
            self.watchdog.beat(self.t, int(value))
        elif output in self._regulators:
            self._regulators[output].command(value)
        elif output in self._relays:
            regulator, which = self._relays[output]
            regulator.relay(which, value == 1)
        elif output == "resistance_selector":
            self.resistance_selector.commanded = int(value)
        else:
            self._contactors[output].commanded = value == 1
        self._settle(self.t)

    def solution(self) -> Solution:
        """Return the true circuit at the instant last advanced to."""
        now = (*self._switches(), self.lv_regulator.share, self.loop_regulator.share)
        if now != self._solved_for:
            if self._wired.wiring != self.wiring:
                self._wired = WiredPair(self.pair, self.wiring)
            self._solution = self._wired.solve(self._supplies())
            self._solved_for = now
        return self._solution

    def electrical(self, t: int) -> Solution:
        """Move on to `t` and return the true circuit there."""
        self.advance(t)
        return self.solution()

    def true_state(self) -> TrueState:
        """Return the truth against rated values at the instant last advanced to."""
        return true_state(self.nameplate, self.solution())

    def status(self) -> tuple[float, ...]:
        """Return what the contacts unit sees, in the order of STATUS."""
        return (
            self.guard,
            self.emergency_relay and self.emergency_stop,
            self.protection_contact,
            self.lv_contactor.contact,
            self.loop_contactor.contact,
            self.resistance_selector.contact,
            self.watchdog.picked_up,
            self.upstream_breaker.contact,
            self.lv_regulator.reported,
            self.loop_regulator.reported,
            *self.lv_regulator.limits,
            *self.loop_regulator.limits,
        )

    @property
    def thermal(self) -> ThermalPair | None:
        """The heat of pair and room at the instant last advanced to; None: nothing ever warms."""
        if self._thermal is not None:
            self._warm(self._thermal)
        return self._thermal

    def temperature(self, channel: str) -> float:
        """Return what the sensor behind a channel shows, degC."""
        laid_on = self.temperatures_c.get(channel)
        if laid_on is not None:
            return laid_on
        thermal = self.thermal
        if thermal is None:
            return self.truth.room_temperature_c
        true = None if channel in self.out_of_pocket else thermal.true_c(channel)
        return thermal.sensed(channel, thermal.room.temperature_c if true is None else true)

    def resistance(self, channel: str) -> float | None:
        """Return what the resistance meter's d.c. finds behind a channel, ohm.

        None where the winding is not connected, or is live.
        """
        applied = self.resistance_selector.d_c(self.t)
        if applied is None or channel not in self._windings(applied[0]) or self._winding_live():
            return None
        unit, side = WINDINGS[channel]
        settling_s = getattr(self._unit(unit), f"{side}_settling_s")
        return settling(self.true_resistance(channel), applied[1], settling_s)

    def true_resistance(self, channel: str) -> float:
        """Return the d.c. resistance of a winding as it is now, ohm."""
        unit, side = WINDINGS[channel]
        both = direct_resistances(self.nameplate, self._unit(unit), self.winding_c(unit))
        return float(getattr(both, side))

    def winding_c(self, unit: str) -> Windings:
        """Return the true mean temperatures of a unit's windings, degC."""
        thermal = self.thermal
        if thermal is None:
            return Windings(self.truth.room_temperature_c, self.truth.room_temperature_c)
        return thermal.windings_c(unit)

    def _unit(self, unit: str) -> TrueUnit:
        return self.truth.a if unit == "a" else self.truth.b

    def _windings(self, position: int) -> tuple[str, ...]:
        return self._positions[position - 1] if position <= len(self._positions) else ()

    def _discharge_s(self, position: int) -> float:
        windings = [WINDINGS[channel] for channel in self._windings(position)]
        constants = [getattr(self._unit(w.unit), f"{w.side}_settling_s") for w in windings]
        return DISCHARGED_AFTER * max(constants, default=0.0)

    def _winding_live(self) -> bool:
        solution = self.solution()
        n = self.nameplate.ratio
        highest = max(abs(solution.bus), n * abs(solution.e_a), n * abs(solution.e_b))
        return max(highest, abs(solution.gap)) > LIVE_V

    def _supplies(self) -> Supplies:
        upstream = self.upstream_breaker.closed
        lv_there = upstream and not self.lv_supply_lost
        loop_there = upstream and not self.loop_supply_lost
        return Supplies(
            self._full_lv * self.lv_regulator.share + 0j if lv_there else None,
            self._full_loop * self.loop_regulator.share if loop_there else None,
            self.lv_contactor.closed,
            self.loop_contactor.closed,
        )

    def _next_change(self) -> float:
        return min(
            self.watchdog.due,
            self.lv_contactor.due,
            self.loop_contactor.due,
            self.upstream_breaker.due,
            self.resistance_selector.due,
            inf if self._thermal is None else self._thermal.due,
        )

    def _settle(self, t: int) -> None:
        self.watchdog.advance(t)
        picked_up = self.watchdog.picked_up
        told_closed = self.lv_contactor.commanded or self.loop_contactor.commanded
        self.emergency_relay = self.emergency_stop and (self.emergency_relay or not told_closed)
        coils = picked_up and self.emergency_relay
        self.upstream_breaker.advance(t, picked_up)
        self.lv_contactor.advance(t, coils)
        self.loop_contactor.advance(t, coils)
        self.resistance_selector.advance(t)
        self.lv_regulator.advance(t)
        self.loop_regulator.advance(t)
        self.t = t
        if self._thermal is not None:
            switches = self._switches()
            switched = switches != self._switched
            if switched or t >= self._thermal.due:
                self._switched = switches
                self._warm(self._thermal, switched)
        self.moved()

    def _switches(self) -> tuple[object, ...]:
        """Return what changes the circuit at one instant; regulators travel."""
        return (
            self.lv_contactor.closed,
            self.loop_contactor.closed,
            self.upstream_breaker.closed,
            self.lv_supply_lost,
            self.loop_supply_lost,
            self.wiring,
        )

    def _warm(self, thermal: ThermalPair, switched: bool = False) -> None:
        """Have heat follow: what the circuit carried until now is a straight way or a jump."""
        solution = self.solution()
        if solution is self._carried:
            thermal.to(self.t)
        else:
            self._carried = solution
            load = load_of(solution, self.pair.z_branch.real)
            if not switched:
                thermal.carry(thermal.load.halfway(load))
            thermal.to(self.t)
            thermal.carry(load)
        if not thermal.followed():
            self.pair = heated_pair_circuit(
                self.nameplate,
                self.truth,
                self.stand.lv_branch_ohm,
                thermal.windings_c("a"),
                thermal.windings_c("b"),
            )
            self._wired = WiredPair(self.pair, self.wiring)
            self._solved_for = None


def _unwatched(*_: object) -> None:
    """Nobody looks on."""


STATUS = (
    "guard",
    "emergency_stop",
    "protection_contact",
    "lv_contactor",
    "loop_contactor",
    "resistance_selector",
    "watchdog",
    "upstream_breaker",
    "lv_regulator",
    "loop_regulator",
    "lv_regulator.lower_limit",
    "lv_regulator.upper_limit",
    "loop_regulator.lower_limit",
    "loop_regulator.upper_limit",
)
