"""Cheap pairs: the shipped one in every state, right or wrong, on stands stiff and weak."""

from dataclasses import replace
from random import Random
from typing import NamedTuple

from acquire.configuration import Scenario
from drivers.simulated.circuit import Wiring
from drivers.simulated.hands import Hands, becoming
from drivers.simulated.stand import SimulatedStand
from drivers.simulated.truth import TrueSupply

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
MISMATCH_PERCENT = (0.0, 0.1, -0.1, 0.5, 0.75, -0.75, 1.0, -1.0)
LOW_FLUX = (1.0, 4.0, 10.0)
ANGLES_DEGREE = (0.0, 60.0, 90.0, 180.0, 270.0)
LATENCIES_S = (0.04, 0.06, 0.3, 0.75)
LATEST_PHASE_S = 0.95


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

    def wire(self, stand: SimulatedStand, hands: Hands) -> None:
        """Wire the stand and spoil its voltmeter beneath whatever else hands hold."""
        hands.alter(becoming(stand, "wiring", self.wiring))
        hands.alter(becoming(stand.series_voltmeter, "dead", self.voltmeter_dead))
        hands.alter(becoming(stand.series_voltmeter, "multiplier", self.voltmeter_multiplier))

    def spoil(self, stand: SimulatedStand) -> None:
        """Wire the stand and spoil its voltmeter."""
        stand.wiring = self.wiring
        stand.series_voltmeter.dead = self.voltmeter_dead
        stand.series_voltmeter.multiplier = self.voltmeter_multiplier


def draw_plant(d: Random) -> Plant:
    """Draw any pair, right or wrong, on any stand; two of three voltmeters are right."""
    phases = [d.uniform(0.0, LATEST_PHASE_S) for _ in range(3)]
    latencies = [d.choice(LATENCIES_S) for _ in range(3)]
    dead, multiplier = d.choice(((False, 1.0),) * 4 + ((True, 1.0), (False, d.choice(MULTIPLIERS))))
    return Plant(
        seed=d.randint(0, 2**16),
        wiring=d.choice((*WIRINGS, *WIRINGS[:1] * 5, *WIRINGS[1:2] * 2)),
        voltmeter_dead=dead,
        voltmeter_multiplier=multiplier,
        mismatch_percent=d.choice(MISMATCH_PERCENT),
        low_flux=(d.choice(LOW_FLUX), d.choice(LOW_FLUX)),
        lv_supply=d.choice(LV_SUPPLIES),
        loop_supply=d.choice(LOOP_SUPPLIES),
        loop_angle_degree=d.choice(ANGLES_DEGREE),
        phases_s=(phases[0], phases[1], phases[2]),
        latencies_s=(latencies[0], latencies[1], latencies[2]),
    )
