"""What the random runs are drawn from: pairs and stands in every state, and acts of any kind."""

from dataclasses import replace
from typing import NamedTuple

from hypothesis import strategies as st

from acquire.configuration import Scenario
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from drivers.simulated.circuit import Wiring
from drivers.simulated.stand import SimulatedStand
from drivers.simulated.truth import TrueSupply
from sequences.scan import Close, Move, Open, Request, Wait, WithholdHeartbeat
from tests.stand.wild import (
    Act,
    Climb,
    Creep,
    EmergencyStop,
    FalsePrompts,
    Greed,
    Guard,
    Hands,
    Honest,
    Insist,
    Interchange,
    Push,
    Reckless,
    Series,
    nonsense,
)

WIRINGS = (
    Wiring(),
    Wiring(aiding=True),
    Wiring(hv_lead_open=True),
    Wiring(lv_lead_open="a"),
    Wiring(lv_lead_open="b"),
    Wiring(aiding=True, lv_lead_open="b"),
    Wiring(link_left_on=True),
    Wiring(tap_steps=1),
    Wiring(tap_steps=4),
    Wiring(tap_steps=-2),
    Wiring(shorted_turn_percent=5.0),
    Wiring(shorted_turn_percent=60.0),
)
MULTIPLIERS = (0.1, 0.577, 1.732, 10.0)
# Source impedances in ohm: as the shipped one, d.c. stiff, weak.
LV_SUPPLIES = (TrueSupply(0.05, 0.20), TrueSupply(1e-4, 1e-4), TrueSupply(0.25, 1.0))
LOOP_SUPPLIES = (TrueSupply(0.4, 1.2), TrueSupply(1e-3, 1e-3), TrueSupply(3.0, 6.0))
# Positions of the shipped regulators that matter: nothing, next to it, half the impedance voltage
# and around, a quarter, rated, the ends of travel; likewise for loop current.
LV_TARGETS = (
    *(0.0, 0.0002, 0.002, 0.0096, 0.0122, 0.0173, 0.0177, 0.018, 0.03),
    *(0.1, 0.2174, 0.83, 0.873, 0.885, 0.92, 0.957, 1.0),
)
LOOP_TARGETS = (0.0, 0.0002, 0.0019, 0.03, 0.05, 0.19, 0.225, 0.23, 0.45, 0.78, 0.9, 0.95, 1.0)

# What lies near every hole that was ever found, in pieces: on which pair and after what is drawn.
RECIPES = (
    # The watchdog seen to act, and not a prompt answered.
    Series((Insist(WithholdHeartbeat(), 6), Insist(Wait(), 3), Push(LV, 1))),
    Series((Climb(LV_REGULATOR, 0.0), Insist(Open(LV), 2), Push(SELECTOR, 2), Push(LV, 1))),
    Series((Climb(LV_REGULATOR, 0.0), Insist(Open(LV), 2), Push(LOOP, 3))),
    Series((Climb(LV_REGULATOR, 0.0173), Push(LOOP, 3), Climb(LV_REGULATOR, 0.873))),
    Series((Insist(Open(LV), 2), Push(LV, 2))),
    Series((Insist(Open(LOOP), 2), Climb(LOOP_REGULATOR, 0.2), Push(LOOP, 2))),
    Series((Climb(LV_REGULATOR, 0.873), Push(LOOP, 3), Climb(LOOP_REGULATOR, 0.78))),
    Series((Insist(Move(LV_REGULATOR, 0.3), 1), Insist(Move(LV_REGULATOR, 0.0173), 1))),
)


class Plant(NamedTuple):
    """A pair and its stand as they truly are."""

    seed: int
    wiring: Wiring
    voltmeter_dead: bool
    voltmeter_multiplier: float
    mismatch_percent: float
    low_flux: tuple[float, float]
    lv_supply: TrueSupply
    loop_supply: TrueSupply
    loop_angle_degree: float
    phases_s: tuple[float, float, float]
    latencies_s: tuple[float, float, float]

    def scenario(self, quick: Scenario) -> Scenario:
        """Return the scenario of this plant."""
        truth = quick.truth
        meters = ("lv_analyser", "hv_analyser", "series_voltmeter")
        late = dict(zip(meters, self.latencies_s, strict=True))
        phase = dict(zip(meters, self.phases_s, strict=True))
        truth = replace(
            truth,
            ratio_mismatch_percent=self.mismatch_percent,
            a=replace(truth.a, low_flux_factor=self.low_flux[0]),
            b=replace(truth.b, low_flux_factor=self.low_flux[1]),
            lv_supply=self.lv_supply,
            loop_supply=replace(self.loop_supply, angle_degree=self.loop_angle_degree),
            instrument=truth.instrument
            | {m: replace(truth.instrument[m], latency_s=late[m]) for m in meters},
        )
        instruments = tuple(
            replace(i, phase_s=phase.get(i.name, i.phase_s)) for i in quick.stand.instrument
        )
        return replace(quick, truth=truth, stand=replace(quick.stand, instrument=instruments))

    def spoil(self, stand: SimulatedStand) -> None:
        """Wire the stand and spoil its voltmeter."""
        stand.wiring = self.wiring
        stand.series_voltmeter.dead = self.voltmeter_dead
        stand.series_voltmeter.multiplier = self.voltmeter_multiplier


def plants() -> st.SearchStrategy[Plant]:
    """Return any pair, right or wrong, on any stand; half of the voltmeters are right."""
    factor = st.sampled_from((1.0, 4.0, 10.0))
    phase = st.floats(0.0, 0.95)
    latency = st.sampled_from((0.04, 0.06, 0.3, 0.75))
    live = st.just((False, 1.0))
    wrong = st.tuples(st.just(False), st.sampled_from(MULTIPLIERS)) | st.just((True, 1.0))
    return st.builds(
        lambda voltmeter, *rest: Plant(rest[0], rest[1], *voltmeter, *rest[2:]),
        live | live | wrong,
        st.integers(0, 2**16),
        st.sampled_from((*WIRINGS, *WIRINGS[:1] * 5, *WIRINGS[1:2] * 2)),
        st.sampled_from((0.0, 0.1, -0.1, 0.5, 0.75, -0.75, 1.0, -1.0)),
        st.tuples(factor, factor),
        st.sampled_from(LV_SUPPLIES),
        st.sampled_from(LOOP_SUPPLIES),
        st.sampled_from((0.0, 60.0, 90.0, 180.0, 270.0)),
        st.tuples(phase, phase, phase),
        st.tuples(latency, latency, latency),
    )


def honest_scans() -> st.SearchStrategy[int]:
    """Return how many honest scans come first: none to all, more often where stages change."""
    return st.integers(0, 330) | st.integers(45, 80) | st.integers(110, 270)


def _targets(regulator: str) -> st.SearchStrategy[float]:
    special = LV_TARGETS if regulator == LV_REGULATOR else LOOP_TARGETS
    return st.sampled_from(special) | st.floats(0.0, 1.0) | st.floats(0.0, 0.05)


def _regulators() -> st.SearchStrategy[str]:
    return st.sampled_from((LV_REGULATOR, LOOP_REGULATOR))


def _contactors() -> st.SearchStrategy[str]:
    return st.sampled_from((LOOP, LV, SELECTOR))


def requests() -> st.SearchStrategy[Request]:
    """Return any request; a nonsensical one ends the run, and so comes seldom."""
    seldom = st.sampled_from(nonsense())
    often: st.SearchStrategy[Request] = st.one_of(
        st.builds(Close, _contactors()),
        st.builds(Open, _contactors()),
        _regulators().flatmap(lambda r: st.builds(Move, st.just(r), _targets(r))),
        st.just(Wait()),
        st.just(WithholdHeartbeat()),
    )
    return st.integers(0, 15).flatmap(lambda n: seldom if n == 0 else often)


def acts() -> st.SearchStrategy[Act]:
    """Return anything that the wild procedure does, or people around it."""
    push = st.builds(Push, _contactors(), st.integers(0, 3))
    climb = _regulators().flatmap(lambda r: st.builds(Climb, st.just(r), _targets(r)))
    greed = st.builds(Greed, _regulators(), st.sampled_from((5, 12)), st.integers(0, 2))
    honest = st.builds(Honest, st.integers(1, 40))
    people: st.SearchStrategy[Act] = st.one_of(
        st.builds(Guard, st.floats(0.0, 3.0), st.sampled_from((0.3, 0.5, 0.9, 2.0, 5.0))),
        st.builds(
            Hands, st.floats(0.0, 1.0), st.sampled_from((0.25, 0.6, 3.0, 20.0)), st.booleans()
        ),
        st.builds(Interchange, st.booleans()),
        st.just(EmergencyStop()),
        st.just(FalsePrompts()),
    )
    return st.one_of(
        push,
        push,
        climb,
        climb,
        greed,
        greed,
        st.builds(Creep, _regulators(), st.sampled_from((0.0005, 0.01, 0.05)), st.integers(2, 20)),
        st.builds(Reckless, st.integers(1, 11)),
        st.builds(Insist, requests(), st.integers(1, 4)),
        st.builds(Insist, requests(), st.integers(1, 4)),
        honest,
        people,
        st.sampled_from(RECIPES),
        st.sampled_from(RECIPES),
    )
