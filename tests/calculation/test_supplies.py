"""What a test will need, against the simulated pair's circuit; they share no formula."""

from cmath import rect
from math import pi

import pytest

from calculation.errors import ImpossibleReading
from calculation.nameplate import Nameplate
from calculation.supplies import (
    Span,
    StageReadings,
    Twins,
    energy,
    expected_readings,
    preferred,
    supplies,
)
from drivers.simulated.circuit import (
    PairCircuit,
    Solution,
    Supplies,
    UnitCircuit,
    WiredPair,
    Wiring,
)
from drivers.simulated.iron import CoreBranch

PLATES = {
    "3 kVA": Nameplate(3e3, 230, 1000, 50, 5.0, 6.0, 45, 110),
    "100 kVA": Nameplate(100e3, 400, 6600, 50, 4.0, 1.8, 320, 1750),
    "20 MVA": Nameplate(20e6, 20e3, 110e3, 50, 12.0, 0.3, 14e3, 82e3),
}


def wired(plate: Nameplate, mismatch: float, leads: float, aiding: bool = False) -> WiredPair:
    """The pair that the nameplate promises, its ratios apart by the mismatch."""
    n, i_0 = plate.ratio, plate.no_load_current_percent / 100 * plate.lv_current_a
    g = plate.no_load_loss_w / plate.lv_voltage_v**2
    y = i_0 / plate.lv_voltage_v
    core = CoreBranch(g, (y**2 - g**2) ** 0.5, rated_emf=plate.lv_voltage_v)
    r = plate.load_loss_w / plate.hv_current_a**2
    z = complex(r, (plate.impedance_ohm**2 - r**2) ** 0.5)

    def unit(ratio: float) -> UnitCircuit:
        return UnitCircuit(ratio, z / 2 / n**2, z / 2, core)

    a, b = unit(n * (1 + mismatch / 2)), unit(n * (1 - mismatch / 2))
    rated_lv = plate.lv_voltage_v / plate.lv_current_a
    return WiredPair(PairCircuit(a, b, leads + 0j, 0j, 0j, rated_lv), Wiring(aiding=aiding))


def state(pair: WiredPair, stage: StageReadings, angle: float) -> Solution:
    """Solve the pair at a point of the test, the loop's e.m.f. at an angle to the bus."""
    closed = stage.hv_current_a.most > 0
    emf = rect(stage.hv_voltage_v.expected, angle)
    return pair.solve(Supplies(stage.lv_voltage_v + 0j, emf, True, closed))


def seen(solution: Solution) -> dict[str, float]:
    return {
        "lv_current_a": abs(solution.lv_supply),
        "lv_power_w": solution.lv_power,
        "series_voltage_v": abs(solution.gap),
        "hv_current_a": abs(solution.loop),
        "hv_power_w": solution.hv_power,
    }


@pytest.mark.parametrize("plate", PLATES.values(), ids=PLATES.keys())
def test_without_mismatch_the_readings_are_the_expected_ones(plate: Nameplate) -> None:
    """Every meter at every stage, within what a core inside the impedance shifts."""
    leads = 0.02 * plate.lv_voltage_v / plate.lv_current_a * plate.impedance_percent / 100
    twins = Twins(plate, 0.0, leads)
    pair = wired(plate, 0.0, leads)
    # The core hangs half the impedance behind either terminal.
    shift = 1.2 * plate.impedance_percent / 100 * (plate.no_load_current_percent / 100 + 0.02)
    for stage in expected_readings(twins):
        if stage.aiding:
            continue
        for name, value in seen(state(pair, stage, 0.3)).items():
            span: Span = getattr(stage, name)
            scale = max(abs(span.expected), 1e-6 * plate.lv_voltage_v)
            assert abs(value - span.expected) <= (shift + 0.002) * scale, (stage.at, name)


def at_current(pair: WiredPair, stage: StageReadings, angle: float) -> Solution:
    """Solve with exactly the stage's loop current, at an angle to the bus: the core is linear."""
    wanted = rect(stage.hv_current_a.expected, angle)
    volts, trial = stage.lv_voltage_v + 0j, stage.hv_voltage_v.expected + 0j
    without, with_it = (pair.solve(Supplies(volts, emf, True, True)) for emf in (0j, trial))
    emf = (wanted - without.loop) * trial / (with_it.loop - without.loop)
    return pair.solve(Supplies(volts, emf, True, True))


@pytest.mark.parametrize("plate", PLATES.values(), ids=PLATES.keys())
def test_the_worst_mismatch_stays_within_the_spans(plate: Nameplate) -> None:
    """At whatever phase the loop current stands, no meter reads outside what was foretold."""
    mismatch = 0.2 * plate.impedance_percent / 100
    pair = wired(plate, mismatch, 0.0)
    shift = plate.impedance_percent / 100 * (plate.no_load_current_percent / 100 + 0.02)
    for stage in expected_readings(Twins(plate, mismatch)):
        if stage.aiding or stage.hv_current_a.expected == 0:
            continue
        for k in range(16):
            found = seen(at_current(pair, stage, k * pi / 8))
            found["hv_voltage_v"] = found["series_voltage_v"]
            for name, value in found.items():
                span: Span = getattr(stage, name)
                room = (shift + 0.002) * max(abs(span.most), abs(span.least))
                assert span.least - room <= value <= span.most + room, (stage.at, name, k)


def test_the_worst_mismatch_reaches_the_ends_of_the_spans() -> None:
    """No span is wider than it has to be: at some phase W_LV comes within 3 % of each end."""
    plate, mismatch = PLATES["100 kVA"], 0.008
    pair = wired(plate, mismatch, 0.0)
    stage = expected_readings(Twins(plate, mismatch))[-1]
    watts = [seen(at_current(pair, stage, k * pi / 16))["lv_power_w"] for k in range(32)]
    width = stage.lv_power_w.most - stage.lv_power_w.least
    assert max(watts) == pytest.approx(stage.lv_power_w.most, abs=0.03 * width)
    assert min(watts) == pytest.approx(stage.lv_power_w.least, abs=0.03 * width)


def test_the_supplies_deliver_the_worst_case() -> None:
    """100 kVA at d = 0.8 %: W_LV up to 1440 W, the loop 528 V and 52.8 V of mismatch."""
    lv, loop = supplies(Twins(PLATES["100 kVA"], 0.008))
    assert lv.voltage_v == 400
    assert lv.power_w == pytest.approx(640 + 800)
    assert lv.current_a == pytest.approx(9 + 0.008 * 250)
    assert loop.voltage_v == pytest.approx(528 + 52.8)
    assert loop.current_a == pytest.approx(100e3 / 6600)
    assert loop.apparent_va == pytest.approx(loop.voltage_v * loop.current_a)
    assert loop.power_w == pytest.approx(3500 + 800)


@pytest.mark.parametrize("plate", PLATES.values(), ids=PLATES.keys())
def test_an_aiding_pair_shows_half_of_rated_current(plate: Nameplate) -> None:
    """With LV at half the impedance voltage, on a stiff bus, as the circuit says as well."""
    stage = next(s for s in expected_readings(Twins(plate, 0.0)) if s.aiding)
    assert stage.hv_current_a.most == pytest.approx(plate.hv_current_a / 2)
    pair = wired(plate, 0.0, 0.0, aiding=True)
    bus = Supplies(stage.lv_voltage_v + 0j, 0j, lv_closed=True, loop_closed=True)
    found = seen(pair.solve(bus))
    for name in ("lv_current_a", "lv_power_w", "hv_current_a"):
        assert found[name] == pytest.approx(getattr(stage, name).most, rel=0.03), name


def test_current_at_closing_is_the_mismatch_over_the_impedance() -> None:
    """d/(2 u_k) of rated current: 10 % at the limit of r, as the circuit says as well."""
    plate = PLATES["100 kVA"]
    stage = next(s for s in expected_readings(Twins(plate, 0.008)) if s.stage == "circulate")
    assert stage.hv_current_a.most == pytest.approx(0.1 * plate.hv_current_a)
    pair = wired(plate, 0.008, 0.0)
    bus = Supplies(400 + 0j, 0j, lv_closed=True, loop_closed=True)
    assert abs(pair.solve(bus).loop) == pytest.approx(stage.hv_current_a.most, rel=0.01)


def test_energy_against_a_full_load() -> None:
    """Eight hours of 4.14 kW, and of that and 200 kW."""
    found = energy(PLATES["100 kVA"], 8.0, 0.25)
    assert found.back_to_back_kwh == pytest.approx(33.12)
    assert found.loaded_fully_kwh == pytest.approx(1633.12)
    assert found.loaded_fully_cost / found.back_to_back_cost == pytest.approx(1633.12 / 33.12)


@pytest.mark.parametrize(
    ("least", "value"), [(1.0, 1.0), (1.01, 1.25), (7.51, 10.0), (145.2, 150.0), (0.13, 0.15)]
)
def test_preferred_values(least: float, value: float) -> None:
    """The next of 10, 12.5, 15, 20, 25, 30, 40, 50, 60, 75 of any decade (IEC 61869-2, M)."""
    assert preferred(least) == pytest.approx(value)


def test_a_nameplate_that_contradicts_itself_is_refused() -> None:
    """1750 W at 100 kVA is 1.75 %: an impedance of 1 % can't hold it."""
    with pytest.raises(ImpossibleReading, match=r"load_loss_w = 1750, impedance_percent = 1"):
        supplies(Twins(Nameplate(100e3, 400, 6600, 50, 1.0, 1.8, 320, 1750), 0.0))
