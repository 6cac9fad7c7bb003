"""What nameplate, stand and schedule lead one to expect of every reading."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from math import hypot, sqrt

from calculation.correction import (
    WindingLoss,
    load_loss_at_reference,
    resistance_at,
    temperature_constant,
)
from calculation.nameplate import Nameplate, Resistances, ThermalPlate
from drivers.description import Channel
from drivers.outputs import LV_REGULATOR
from drivers.wiring import Regulator
from sequences.scan import LIQUID, UNITS, WINDINGS, S
from sequences.schedule import Schedule, Soak

OVERSHOOT_OF_PREDICTION = 1.15
AIDING_QUOTIENT = 0.2
HALF_IMPEDANCE_MARGIN = 1.02


@dataclass(frozen=True)
class Expected:
    """Everything that checks, permissives and trips compare readings with.

    Currents named `share` are of the pair: two no-load currents of the nameplate. Impedances are
    of the loop (both units), HV side, branch leads included, at the nameplate's temperature.
    `selector_positions` are the resistance channels that the meter reads at each position of the
    selector; where there is none, people connect the meter.
    """

    nameplate: Nameplate
    resistances: Resistances
    channels: Mapping[str, Channel]
    periods_s: Mapping[str, float]
    latencies_s: Mapping[str, float]
    lv_regulator: Regulator
    loop_regulator: Regulator
    schedule: Schedule
    lv_branch_ohm: float
    averaging_s: float
    scan_period_s: float
    commit_interval_s: float
    watchdog_drop_s: float
    thermal: ThermalPlate | None = None
    selector_positions: tuple[tuple[str, ...], ...] = ()

    @cached_property
    def u_k(self) -> float:
        """Impedance voltage of the nameplate, per unit."""
        return self.nameplate.impedance_percent / 100

    @cached_property
    def loop_resistance_ohm(self) -> float:
        """2 R_e of the nameplate with the branch leads, ohm, HV side."""
        plate = self.nameplate
        lead = self.lv_branch_ohm * plate.ratio**2
        return 2 * (plate.load_loss_w / plate.hv_current_a**2 + lead)

    @cached_property
    def loop_impedance_ohm(self) -> float:
        """|2 Z_e| of the nameplate with the branch leads, ohm, HV side."""
        plate = self.nameplate
        z = plate.impedance_ohm
        r = plate.load_loss_w / plate.hv_current_a**2
        return hypot(self.loop_resistance_ohm, 2 * sqrt(max(z * z - r * r, 0.0)))

    def loop_impedance_at(self, winding_c: float) -> float:
        """Return |2 Z_e| of the nameplate with its windings at this temperature, ohm, HV side.

        A small pair's impedance is half resistance: cold it is a tenth below the nameplate's.
        To the next half kelvin: asked in every scan, and 0.5 K is 0.1 %.
        """
        half_kelvins = round(2 * winding_c)
        known = self._loop_impedances.get(half_kelvins)
        if known is None:
            known = self._loop_impedances[half_kelvins] = self._loop_impedance(half_kelvins / 2)
        return known

    @cached_property
    def _loop_impedances(self) -> dict[int, float]:
        return {}

    def _loop_impedance(self, winding_c: float) -> float:
        plate = self.nameplate
        reference_c = plate.reference_temperature_c
        ohmic = self.winding_losses(reference_c)
        # Resistances above what the nameplate's loss allows leave no additional loss.
        part = min(1.0, plate.load_loss_w / sum(w.i2r_w for w in ohmic))
        ohmic = [WindingLoss(part * w.i2r_w, w.constant_k) for w in ohmic]
        loss = load_loss_at_reference(plate.load_loss_w, ohmic, reference_c, winding_c)
        fewer = 2 * (loss - plate.load_loss_w) / plate.hv_current_a**2
        reactance = sqrt(self.loop_impedance_ohm**2 - self.loop_resistance_ohm**2)
        return hypot(self.loop_resistance_ohm + fewer, reactance)

    def winding_losses(self, at_c: float) -> list[WindingLoss[float]]:
        """Return I²R of both windings at rated current and this temperature, W a unit."""
        plate, known = self.nameplate, self.resistances
        losses = []
        for ohm, current, material in (
            (known.lv_ohm, plate.lv_current_a, plate.material_lv),
            (known.hv_ohm, plate.hv_current_a, plate.material_hv),
        ):
            constant = temperature_constant(material)
            warm = resistance_at(ohm, known.temperature_c, at_c, constant)
            losses.append(WindingLoss(warm * current**2, constant))
        return losses

    @cached_property
    def half_impedance_voltage_v(self) -> float:
        """Half the impedance voltage on the LV side, V: where nothing wrong can do damage."""
        return 0.5 * self.u_k * self.nameplate.lv_voltage_v

    @cached_property
    def ratio_limit(self) -> float:
        """Limit of r at rated voltage: circulating current stays within 10 % of rated."""
        return min(0.005, 0.1 * self.u_k, self.nameplate.tap_step_percent / 400)

    @cached_property
    def gap_limit_v(self) -> float:
        """The series voltage at rated voltage that `ratio_limit` stands for, V."""
        return self.ratio_limit * 2 * self.nameplate.hv_voltage_v

    @cached_property
    def averaging_ns(self) -> int:
        """The meters' own averaging time, ns."""
        return int(self.averaging_s * S)

    @cached_property
    def warmth(self) -> Mapping[str, tuple[str, ...]]:
        """Channels of each unit that have its windings' temperature in balance."""
        found = {}
        for unit in UNITS:
            liquid = tuple(f"{unit}.{place}" for place in LIQUID)
            windings = tuple(f"{unit}.{place}" for place in WINDINGS)
            found[unit] = liquid if liquid[0] in self.channels else windings
        return found

    @cached_property
    def watched_warmth(self) -> tuple[str, ...]:
        """The same channels of both units, in one row."""
        return tuple(c for unit in UNITS for c in self.warmth[unit])

    @cached_property
    def ambients(self) -> tuple[str, ...]:
        """Channels of the cooling air around the units."""
        return tuple(c for c in self.channels if c.startswith("ambient."))

    @property
    def soak(self) -> Soak:
        """The heat run's part of the schedule; only a heat run asks for it."""
        if self.schedule.soak is None:
            raise ValueError("this schedule has no soak")
        return self.schedule.soak

    @cached_property
    def most_loop_current_a(self) -> float:
        """The largest loop current that the schedule sets, A."""
        return self.schedule.most_current * self.nameplate.hv_current_a

    @cached_property
    def critical_ns(self) -> tuple[tuple[str, int], ...]:
        """The critical channels, each with the age at which it is stale, ns."""
        critical = (c for c in self.channels.values() if c.critical)
        return tuple((c.name, int(c.stale_after_s * S)) for c in critical)

    def current_share_a(self, lv_voltage_v: float) -> float:
        """Return the pair's no-load current of linear iron at this LV voltage, A."""
        plate = self.nameplate
        i0 = plate.no_load_current_percent / 100 * plate.lv_current_a
        return 2 * i0 * lv_voltage_v / plate.lv_voltage_v

    def power_share_w(self, lv_voltage_v: float) -> float:
        """Return the pair's no-load loss at this LV voltage, square law, W."""
        plate = self.nameplate
        return 2 * plate.no_load_loss_w * (lv_voltage_v / plate.lv_voltage_v) ** 2

    def ratio_of(self, series_voltage_v: float, lv_voltage_v: float) -> float:
        """Return r = U_series / (2 n U_LV), a ratio."""
        return series_voltage_v / (2 * self.nameplate.ratio * lv_voltage_v)

    def regulator(self, output: str) -> Regulator:
        """Return a regulator of the stand by its output's name."""
        return self.lv_regulator if output == LV_REGULATOR else self.loop_regulator

    def promised_v(self, output: str, position: float) -> float:
        """Return the open-circuit voltage that a regulator's position promises, V."""
        return position * self.regulator(output).full_voltage_v

    def is_low(self, lv_position: float) -> bool:
        """Return whether this LV regulator position promises at most half the impedance voltage."""
        limit = HALF_IMPEDANCE_MARGIN * self.half_impedance_voltage_v
        return self.promised_v(LV_REGULATOR, lv_position) <= limit

    def loop_cap_v(self, loop_impedance_ohm: float, current_a: float, gap_v: float) -> float:
        """Return the most that the loop supply may promise for a wanted current, V."""
        drop = OVERSHOOT_OF_PREDICTION * loop_impedance_ohm + self.loop_regulator.source_ohm
        return drop * current_a + gap_v

    def range_of(self, channel: str, value: float) -> float:
        """Return the range on which a value of a channel is read: the lowest that holds it."""
        ranges = self.channels[channel].ranges
        return next((r for r in ranges if abs(value) <= r), ranges[-1])

    def error_of(self, channel: str, value: float) -> float:
        """Return the limit of error of a value of a channel, in its unit."""
        accuracy = self.channels[channel].accuracy
        if accuracy is None:
            return 0.0
        of_range = accuracy.range_percent * self.range_of(channel, value)
        return (accuracy.reading_percent * abs(value) + of_range) / 100

    @cached_property
    def judging_ranges(self) -> frozenset[float]:
        """The series voltmeter's ranges on which r may be judged: each has to be proven."""
        ranges = self.channels["series.voltage.1"].ranges
        highest = self.range_of("series.voltage.1", 1.25 * self.gap_limit_v)
        return frozenset(r for r in ranges if r <= highest)

    def next_answer_ns(self, channel: str) -> int:
        """Return how long after a poll began the answer to the next is there at the latest, ns."""
        return int((self.periods_s[channel] + self.latencies_s[channel]) * S)

    def two_polls_ns(self, channel: str) -> int:
        """Return two poll periods of a channel plus its latency, ns."""
        return int((2 * self.periods_s[channel] + self.latencies_s[channel]) * S)
