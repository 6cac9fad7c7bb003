"""Random stands that just suit a pair: meters that keep the rule and use it up, sized supplies."""

from collections.abc import Mapping
from dataclasses import replace
from math import cos, hypot, radians, sin, sqrt
from random import Random
from typing import NamedTuple

from acquire.storm.twins import Twins, between, limit_of_r, low_flux_times, most_mismatch
from calculation.nameplate import Nameplate
from drivers.description import Accuracy, Channel, Instrument, Stand
from drivers.simulated.truth import TrueInstrument, TrueSupply
from drivers.wiring import Regulator

MOST_LATENCY_S = 0.9
MOST_SAG_AT_RATED = 0.08  # of LV voltage, by what two unloaded units draw
MOST_SAG_IN_PROVE = 0.25
MOST_LEADS = 0.12  # of the load loss
READING_PERCENT = (0.02, 0.2)
PERCENT_AT_MOST = 0.5  # range error of any class
LV_ZERO_V = 20.0  # of range error, on the range in use at nought


class Supplies(NamedTuple):
    """Both supplies as the stand file has them and as they are."""

    lv: Regulator
    loop: Regulator
    true_lv: TrueSupply
    true_loop: TrueSupply


class Span(NamedTuple):
    """A channel's ranges and the range part of its class, percent."""

    ranges: tuple[float, ...]
    range_percent: float


def suited_stand(
    d: Random, shipped: Stand, twins: Twins
) -> tuple[Stand, Supplies, dict[str, TrueInstrument]]:
    """Draw a stand for this pair, its supplies and how its instruments truly behave."""
    plate = twins.pair.nameplate
    branch = d.uniform(0, MOST_LEADS) * plate.load_loss_w / plate.lv_current_a**2
    loop_ohm = _loop_impedance(plate, branch)
    supplies = _supplies(d, shipped, twins, loop_ohm)
    behaviour = _behaviour(d, shipped)
    spans = _spans(d, plate, loop_ohm)
    stand = replace(
        shipped,
        scan_period_s=d.choice((1.0,) * 6 + (0.5, 0.2)),
        averaging_s=d.uniform(0.0, 0.5),
        lv_branch_ohm=branch,
        outputs=replace(shipped.outputs, lv_regulator=supplies.lv, loop_regulator=supplies.loop),
        instrument=tuple(_instrument(d, i, spans, behaviour[i.name]) for i in shipped.instrument),
    )
    return stand, supplies, behaviour


def _loop_impedance(plate: Nameplate, branch_ohm: float) -> float:
    """Return |2 Z_e| of the nameplate with both leads, ohm, HV side."""
    r = plate.load_loss_w / plate.hv_current_a**2
    x = sqrt(plate.impedance_ohm**2 - r**2)
    return 2 * hypot(r + branch_ohm * plate.ratio**2, x)


def _supplies(d: Random, shipped: Stand, twins: Twins, loop_ohm: float) -> Supplies:
    """Draw supplies from stiff to weak.

    The LV supply sags by at most 8 % under two unloaded units with the worst exchange between
    them, and by at most a quarter in the prove stage; the loop supply's impedance is 1 to 100 % of
    the loop's.
    """
    plate, units = twins.pair.nameplate, (twins.a, twins.b)
    rated = sum(u.no_load_current_percent for u in units) / 100
    proving = sum(u.no_load_current_percent * low_flux_times(u, plate) for u in units) / 100
    most = min(MOST_SAG_AT_RATED / (rated + most_mismatch(plate)), MOST_SAG_IN_PROVE / proving)
    lv_ohm = most * between(d, 0.02, 1.0) * plate.lv_voltage_v / plate.lv_current_a
    loop_source = loop_ohm * between(d, 0.01, 1.0)
    needed = (1.1 * loop_ohm + loop_source) * plate.hv_current_a
    needed += 2 * limit_of_r(plate) * plate.hv_voltage_v
    lv, loop = shipped.outputs.lv_regulator, shipped.outputs.loop_regulator
    return Supplies(
        _regulator(d, lv, plate.lv_voltage_v * d.uniform(1.15, 1.5), lv_ohm),
        _regulator(d, loop, needed * d.uniform(1.05, 2.0), loop_source),
        _true_supply(d, lv_ohm, 0.0),
        _true_supply(d, loop_source, d.uniform(0, 360)),
    )


def _regulator(d: Random, shipped: Regulator, full_v: float, source_ohm: float) -> Regulator:
    resolution = d.choice((1e-4, 2e-4, 5e-4, 1e-3))
    return replace(
        shipped,
        full_voltage_v=full_v,
        source_ohm=source_ohm * d.uniform(0.9, 1.1),
        rate_per_s=between(d, 0.02, 0.1),
        resolution=resolution,
        zero_band=max(0.002, 2 * resolution),
    )


def _true_supply(d: Random, ohm: float, angle: float) -> TrueSupply:
    own = radians(d.uniform(10, 85))
    return TrueSupply(ohm * cos(own), ohm * sin(own), angle)


def _behaviour(d: Random, shipped: Stand) -> dict[str, TrueInstrument]:
    return {
        i.name: TrueInstrument(
            latency_s=between(d, 0.005, 0.1) if i.name == "contacts" else _latency(d),
            noise_percent=between(d, 0.003, 0.05),
        )
        for i in shipped.instrument
    }


def _latency(d: Random) -> float:
    """A third of the instruments are as slow as they may be."""
    return d.choice((between(d, 0.02, MOST_LATENCY_S),) * 2 + (MOST_LATENCY_S,))


def _instrument(
    d: Random, shipped: Instrument, spans: Mapping[str, Span], behaviour: TrueInstrument
) -> Instrument:
    """Any poll phase, a time-out above the latency, and no period shorter than the time-out."""
    if shipped.name == "contacts":
        period, timeout = d.uniform(0.15, 0.2), 0.15
    else:
        timeout = behaviour.latency_s + d.uniform(0.05, 0.5)
        slow = shipped.name == "temperatures"
        period = 5.0 if slow else max(timeout, d.uniform(0.5, 2.0))
    stale = max(3.0, 3 * period)
    return replace(
        shipped,
        period_s=period,
        timeout_s=timeout,
        phase_s=d.uniform(0, period),
        channel=tuple(_channel(d, c, spans, stale) for c in shipped.channel),
    )


def _channel(d: Random, shipped: Channel, spans: Mapping[str, Span], stale_s: float) -> Channel:
    span = spans.get(shipped.name)
    if span is None:
        return shipped
    return replace(
        shipped,
        ranges=span.ranges,
        accuracy=Accuracy(between(d, *READING_PERCENT), span.range_percent),
        stale_after_s=stale_s,
    )


def _spans(d: Random, plate: Nameplate, loop_ohm: float) -> dict[str, Span]:
    hv_v = loop_ohm * plate.hv_current_a
    lv, mean = _lv_voltage(d, plate), "lv.voltage_mean.1"
    hv_voltage, hv_current = _hv_analyser(d, plate, hv_v)
    lv_current = _lv_current(d, plate, lv.ranges[-1])
    return {
        "lv.voltage.1": lv,
        mean: lv,
        "lv.current.1": lv_current,
        "lv.power.1": Span((lv.ranges[-1] * lv_current.ranges[-1],), lv_current.range_percent),
        "series.voltage.1": _series(d, plate, hv_voltage),
        "hv.voltage.1": hv_voltage,
        "hv.voltage_mean.1": hv_voltage,
        "hv.current.1": hv_current,
        "hv.power.1": _hv_power(d, plate, hv_voltage.ranges[-1] * hv_current.ranges[-1]),
    }


def _used_up(d: Random, ranges: tuple[float, ...], most: float) -> Span:
    """A class with a third to all of the range error that is allowed, percent."""
    return Span(ranges, min(PERCENT_AT_MOST, 100 * most * d.uniform(0.3, 1.0)))


def _lv_voltage(d: Random, plate: Nameplate) -> Span:
    top = plate.lv_voltage_v * d.uniform(1.25, 2.0)
    low = 0.5 * plate.impedance_percent / 100 * plate.lv_voltage_v
    return _used_up(d, (top,), min(0.25 * low, LV_ZERO_V) / top)


def _lv_current(d: Random, plate: Nameplate, voltage_range: float) -> Span:
    top = plate.no_load_current_percent / 100 * plate.lv_current_a * d.uniform(4.0, 8.0)
    return _used_up(d, (top,), 0.75 * 2 * plate.no_load_loss_w / 16 / (voltage_range * top))


def _series(d: Random, plate: Nameplate, hv_voltage: Span) -> Span:
    """One range, or two.

    The lower can then be proven by this HV analyser, and what lies above it is never read as
    within the limit of r.
    """
    hv = plate.hv_voltage_v
    gap = limit_of_r(plate) * 2 * hv
    top = hv * d.uniform(2.2, 4.0)
    proven = 0.15 * 2 * plate.impedance_percent / 100 * hv / top
    one_will_do = 0.0002 * top <= min(gap / 4, LV_ZERO_V)
    if one_will_do and d.random() < 0.5:
        return _used_up(d, (top,), min(gap / 4 / top, proven, LV_ZERO_V / top))
    shown = 8.5 * hv_voltage.range_percent / 100 * hv_voltage.ranges[-1]
    low = between(d, max(1.3 * gap, shown), hv)
    above = ((1 - READING_PERCENT[1] / 100) * low - 1.25 * gap) / top
    return _used_up(d, (low, top), min(gap / 4 / low, proven, LV_ZERO_V / low, above))


def _hv_analyser(d: Random, plate: Nameplate, hv_v: float) -> tuple[Span, Span]:
    """Both range errors together use up to 10 % at a quarter of rated current."""
    voltage, current = hv_v * d.uniform(1.3, 3.0), plate.hv_current_a * d.uniform(1.3, 3.0)
    part = d.uniform(0.2, 0.8)
    of_voltage = min(0.1 * part * 0.25 * hv_v, LV_ZERO_V)
    of_current = 0.1 * (1 - part) * 0.25 * plate.hv_current_a
    return (
        _used_up(d, (voltage,), of_voltage / voltage),
        _used_up(d, (current,), of_current / current),
    )


def _hv_power(d: Random, plate: Nameplate, span: float) -> Span:
    """A wattmeter that is off by at most a tenth of what it is there to read."""
    return _used_up(d, (span,), 0.1 * 2 * plate.load_loss_w / span)
