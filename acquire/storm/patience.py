"""How long a stand may take to see something and to act on it, with what is wrong with it now.

These are the delays of the trips' table on the stand's own periods, put together anew from the
plant's true state: whether a channel tells the truth, whether a way out still works. Times in s.
"""

from functools import cached_property

from acquire.clock import S
from drivers.simulated.machinery import Contactor
from drivers.simulated.stand import SimulatedStand
from drivers.simulated.tampering import Frozen, Truncated
from sequences.expected import Expected
from sequences.stopping import category_1_deadline_s

UNSEEN_S = 0.01
STALE_DEADLINE_S = 2.0
WILL_NOT_OPEN_S = 0.5
OPENING_S = 2.0  # that a stop waits for contacts before it stops the heartbeat
WRITES_OF_A_STOP = 6


class Patience:
    """What may pass before the true plant has to have changed."""

    def __init__(self, plant: SimulatedStand, expected: Expected) -> None:
        self._plant = plant
        self._expected = expected

    @cached_property
    def _instruments(self) -> dict[str, str]:
        return {c.name: i.name for i in self._plant.stand.instrument for c in i.channel}

    @cached_property
    def _timeouts(self) -> dict[str, float]:
        return {i.name: i.timeout_s for i in self._plant.stand.instrument}

    def is_believed_wrongly(self, channel: str) -> bool:
        """Return whether a channel says something plausible that is not so."""
        meter = self._plant.meters[channel]
        answers = self._plant.tampering.get(self._instruments[channel], ())
        wrong = meter.dead or meter.frozen or meter.multiplier != 1.0
        return wrong or any(isinstance(a, Frozen | Truncated) for a in answers)

    def any_believed_wrongly(self) -> bool:
        """Return whether anything that is read says something plausible that is not so."""
        if any(m.dead or m.frozen or m.multiplier != 1.0 for m in self._plant.meters.values()):
            return True
        return bool(self._plant.tampering)

    def is_mute(self, channel: str) -> bool:
        """Return whether a channel says nothing, or nothing that is taken for a value."""
        plant, name = self._plant, self._instruments[channel]
        late = plant.latencies_s.get(name, 0.0) > self._timeouts[name]
        return name in plant.silent or late or bool(plant.tampering.get(name))

    def seen_s(self, channel: str, readings: int) -> float | None:
        """Return within what time a hazard that a channel shows is seen; None: never by it.

        A mute channel is itself seen, as stale.
        """
        if self.is_believed_wrongly(channel):
            return None
        expected = self._expected
        seen = (readings + 1) * expected.periods_s[channel] + expected.latencies_s[channel]
        if self.is_mute(channel):
            seen += expected.channels[channel].stale_after_s + STALE_DEADLINE_S
            seen += expected.scan_period_s
        return seen + expected.scan_period_s

    def acted_s(self) -> float | None:
        """Return how long a stop category 0 takes to make the stand dead; None: nothing can."""
        plant = self._plant
        slow = WRITES_OF_A_STOP * plant.latencies_s.get("outputs", 0.0)
        acted = plant.truth.contactor_open_s + slow + UNSEEN_S
        if not self._needs_second_way_out():
            return acted
        if not self._has_second_way_out():
            return None
        # Told to open, seen not to, heartbeat stopped, watchdog dropped, breaker open.
        contacts = 2 * self._expected.periods_s["guard"] + self._expected.latencies_s["guard"]
        acted += WILL_NOT_OPEN_S + OPENING_S + contacts + 3 * self._expected.scan_period_s
        acted += self._expected.watchdog_drop_s + plant.truth.contactor_open_s
        return acted + self._misled_s()

    def unattended_s(self) -> float | None:
        """Return how long the stand stays live without a program; None: for ever."""
        if self._plant.watchdog.welded or not self._has_second_way_out():
            return None
        return self._expected.watchdog_drop_s + 2 * self._plant.truth.contactor_open_s + UNSEEN_S

    def critical_instruments(self, loop_closed: bool) -> frozenset[str]:
        """Return the instruments whose silence has to end a run while this is so."""
        return self._critical[loop_closed]

    @cached_property
    def _critical(self) -> dict[bool, frozenset[str]]:
        critical = [c.name for c in self._expected.channels.values() if c.critical]
        return {
            loop: frozenset(
                self._instruments[c] for c in critical if loop or not c.startswith("hv.")
            )
            for loop in (False, True)
        }

    def blind_s(self) -> float:
        """Return the longest that a critical channel may be silent until its stop acts."""
        expected = self._expected
        limits = max(ns for _name, ns in expected.critical_ns) / S
        return limits + STALE_DEADLINE_S + 3 * expected.scan_period_s

    @cached_property
    def category_1_s(self) -> float:
        """How long a stop category 1 may take before it becomes category 0."""
        return category_1_deadline_s(self._expected) + self._expected.scan_period_s

    def two_polls_s(self, channel: str) -> float:
        """Return two poll periods and the latency of a channel."""
        return self._expected.two_polls_ns(channel) / S

    def _mains(self) -> tuple[Contactor, Contactor]:
        return self._plant.lv_contactor, self._plant.loop_contactor

    def _needs_second_way_out(self) -> bool:
        stuck = any(c.welded and c.closed for c in self._mains())
        unreached = "outputs" in self._plant.silent
        timeout = self._plant.stand.outputs.timeout_s
        return stuck or unreached or self._plant.latencies_s.get("outputs", 0.0) > timeout

    def _has_second_way_out(self) -> bool:
        plant = self._plant
        if plant.watchdog.welded:
            return False
        stuck = any(c.welded and c.closed for c in self._mains())
        return not (stuck and plant.upstream_breaker.welded)

    def _misled_s(self) -> float:
        """A welded contactor whose auxiliary contact says open: voltages tell, or go to nought."""
        if not any(c.welded and c.closed and c.auxiliary is not None for c in self._mains()):
            return 0.0
        expected = self._expected
        travel = 1 / expected.lv_regulator.rate_per_s + 1 / expected.loop_regulator.rate_per_s
        return travel + 2 * expected.scan_period_s
