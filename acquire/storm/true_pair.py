"""What a pair and its voltmeter truly are, as far as a judge has to know it."""

from drivers.simulated.circuit import Supplies, WiredPair, Wiring
from drivers.simulated.stand import SimulatedStand

# A multiplier outside can't be taken for a right one.
VOLTMETER_FROM, VOLTMETER_TO = 0.74, 1.26
METERS = 1.01  # what a class may hide


class TruePair:
    """The pair of a plant, as it is wired now: people may have interchanged a secondary."""

    def __init__(self, plant: SimulatedStand) -> None:
        self._plant = plant
        self._ratios: dict[Wiring, float] = {}

    def sound(self) -> bool:
        """Return whether twins stand in opposition, nothing open, shorted or linked."""
        w = self._plant.wiring
        wrong = w.aiding or w.hv_lead_open or w.lv_lead_open or w.link_left_on
        return not wrong and w.shorted_turn_percent is None

    def opposed(self, ratio_limit: float) -> bool:
        """Return whether the pair truly is in opposition with r within its limit."""
        return self.sound() and self.ratio() <= 1.06 * ratio_limit

    def voltmeter_live(self) -> bool:
        """Return whether the series voltmeter reads what is there."""
        meter = self._plant.series_voltmeter
        return not meter.dead and VOLTMETER_FROM < meter.multiplier < VOLTMETER_TO

    def ratio(self) -> float:
        """Return the true r at rated voltage."""
        wiring = self._plant.wiring
        if wiring not in self._ratios:
            self._ratios[wiring] = self._ratio(wiring)
        return self._ratios[wiring]

    def _ratio(self, wiring: Wiring) -> float:
        plate = self._plant.nameplate
        rated = Supplies(complex(plate.lv_voltage_v), None, True, False)
        solved = WiredPair(self._plant.pair, wiring).solve(rated)
        return abs(solved.gap) / (2 * plate.ratio * abs(solved.bus))
