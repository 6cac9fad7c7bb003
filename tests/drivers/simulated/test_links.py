"""The simulated links: the same seam, the same time, the same faults as real ones."""

from dataclasses import replace
from math import isnan
from pathlib import Path

import pytest
import pyvisa
from pyvisa.rname import to_canonical_name
from pyvisa_sim.component import Property
from pyvisa_sim.highlevel import SimVisaLibrary
from pyvisa_sim.parser import get_devices

from drivers.description import Instrument, Query, TextDescription
from drivers.instrument import TextInstrument
from drivers.link import BadAnswer, ConnectionLost, NoAnswer
from drivers.reading import OVER_RANGE, Quality
from drivers.replies import read_numbers
from drivers.simulated.links import SimulatedDevices, SimulatedLinks, SimulatedTextLink
from drivers.simulated.wire import Wire
from tests.drivers.simulated.scenario import DRY, FOLDER, Bench, build, descriptions, stand_file

METERS = FOLDER / "meters.yaml"
LV = str(to_canonical_name("TCPIP::127.0.0.1::5025::SOCKET"))


@pytest.fixture(name="bench")
def _bench() -> Bench:
    return build()


def _instrument(name: str) -> Instrument:
    return next(i for i in stand_file().instrument if i.name == name)


def _values(bench: Bench, name: str) -> dict[str, float | None]:
    return {r.channel: r.value for r in bench.instruments[name].poll()}


def test_the_private_names_are_still_there() -> None:
    """Canary: a pyvisa-sim that renames what links.py touches is found here first."""
    device = get_devices(METERS, False)[LV]
    assert device._getters[b"FETC?"] == ("values", "{}")
    assert type(device._properties["values"]) is Property
    assert device.read() == (b"", False)
    device.write(b"*IDN?\n")
    assert len(device._output_buffers) == 1
    assert device._output_buffers[0] == b"INVENTED,POWER ANALYSER,LV-0001,1.0\n"


@pytest.mark.parametrize("name", [i.name for i in stand_file().instrument])
def test_every_instrument_of_the_stand_is_who_it_should_be(bench: Bench, name: str) -> None:
    """Every instrument of the shipped stand opens, identifies itself and reads good values.

    The resistance meter reads only windings that its selector connects.
    """
    bench.put("resistance_selector", 1)
    bench.run(60)
    bench.instruments[name].open()
    assert all(r.quality is Quality.GOOD for r in bench.instruments[name].poll())


def test_an_answer_that_nobody_read_is_gone_once_the_link_is_opened_afresh() -> None:
    """It would be taken for the answer to the next question, and every one after it."""
    devices = SimulatedDevices(METERS)
    devices.open(LV, "lv").write("FETC?")
    assert devices.open(LV, "lv").query("*IDN?").startswith("INVENTED,POWER ANALYSER")


def test_meters_read_the_truth_within_their_class(bench: Bench) -> None:
    """With everything energised each reading is the true value to class and noise."""
    bench.energise(lv=0.872, loop=0.78)
    s = bench.plant.solution()
    read = _values(bench, "lv_analyser") | _values(bench, "hv_analyser")
    read |= _values(bench, "series_voltmeter")
    true = {
        "lv.voltage.1": abs(s.bus),
        "lv.voltage_mean.1": abs(s.bus),
        "lv.current.1": abs(s.lv_supply),
        "lv.power.1": s.lv_power,
        "frequency": 50.0,
        "hv.voltage.1": abs(s.hv_voltage),
        "hv.voltage_mean.1": abs(s.hv_voltage),
        "hv.current.1": abs(s.loop),
        "hv.power.1": s.hv_power,
        "hv.frequency": 50.0,
        "series.voltage.1": abs(s.gap),
    }
    assert read.keys() == true.keys()
    channels = stand_file().channels()
    for name, value in read.items():
        accuracy = channels[name].accuracy
        assert accuracy is not None
        assert value is not None
        allowed = true[name] * (accuracy.reading_percent + 5 * 0.01) / 100
        allowed += accuracy.range_percent / 100 * channels[name].ranges[-1]
        assert abs(value - true[name]) <= allowed + 1e-5 * true[name], name


def test_an_exchange_takes_the_instruments_time(bench: Bench) -> None:
    """A question spends the latency on the clock; the plant stays where it was asked."""
    link = bench.links.text(_instrument("lv_analyser"))
    link.reopen()
    bench.clock.t = 5_000_000_000
    link.query("FETC?", 0.8)
    assert (bench.clock.t, bench.plant.t) == (5_060_000_000, 5_000_000_000)


def test_a_value_is_of_the_instant_of_asking(bench: Bench) -> None:
    """What moves while the answer is under way isn't in it."""
    bench.run(2)
    bench.put("lv_contactor", 1)
    bench.run(1)
    bench.instruments["lv_analyser"].open()
    bench.put("lv_regulator", 1.0)
    asked = bench.clock.t
    volts = _values(bench, "lv_analyser")["lv.voltage.1"]
    assert volts is not None
    assert volts < 0.7  # nothing but the meter's own zero: the regulator had only just been told
    bench.clock.t = asked + 1_000_000_000
    moved = _values(bench, "lv_analyser")["lv.voltage.1"]
    assert moved == pytest.approx(0.04 * 460, rel=0.05)


@pytest.mark.parametrize("how", ["silent", "slow"])
def test_no_answer_costs_the_time_out(bench: Bench, how: str) -> None:
    """A silent instrument, or one slower than its time-out, costs the time-out: NoAnswer."""
    link = bench.links.text(_instrument("lv_analyser"))
    link.reopen()
    if how == "silent":
        bench.plant.silent.add("lv_analyser")
    else:
        bench.plant.latencies_s["lv_analyser"] = 0.9
    with pytest.raises(NoAnswer, match=r"within 0\.8 s"):
        link.query("FETC?", 0.8)
    assert bench.clock.t == 800_000_000


def test_a_silent_instrument_is_bad_and_comes_back(bench: Bench) -> None:
    """While it is silent every channel is BAD; once it answers it proves itself and is good."""
    voltmeter = bench.instruments["series_voltmeter"]
    bench.plant.silent.add("series_voltmeter")
    assert voltmeter.poll()[0].quality is Quality.BAD
    assert isinstance(voltmeter.fault, NoAnswer)
    bench.plant.silent.clear()
    assert voltmeter.poll()[0].quality is Quality.GOOD


def test_a_resource_that_is_not_there_is_refused(bench: Bench) -> None:
    """pyvisa-sim opens what it doesn't know without a word; the link does not."""
    lost = replace(_instrument("lv_analyser"), resource="TCPIP::127.0.0.1::9::SOCKET")
    description = descriptions()["power_analyser"]
    assert isinstance(description, TextDescription)
    analyser = TextInstrument(lost, description, bench.links.text(lost), bench.clock)
    with pytest.raises(ConnectionLost, match="no such resource"):
        analyser.open()
    assert all(r.quality is Quality.BAD for r in analyser.poll())


def test_a_link_must_be_opened(bench: Bench) -> None:
    """A question on a link that was never opened, or was closed, is a lost connection."""
    link = bench.links.text(_instrument("lv_analyser"))
    with pytest.raises(ConnectionLost, match="not open"):
        link.query("*IDN?", 0.8)
    link.reopen()
    link.close()
    with pytest.raises(ConnectionLost, match="not open"):
        link.write("*RST", 0.8)


def test_what_a_device_does_not_know_it_says(bench: Bench) -> None:
    """A message that the device doesn't know is answered at once, and is no number."""
    link = bench.links.text(_instrument("lv_analyser"))
    link.reopen()
    assert link.query("VOLT?", 0.8) == "ERROR"


def test_stands_share_nothing() -> None:
    """Two stands of one process, even interleaved and reopened, each read their own plant."""
    first, second = build(seed=1), build(seed=2)
    first.energise(lv=0.5)
    second.energise(lv=0.25)
    for bench in (first, second):
        bench.instruments["lv_analyser"].open()
    volts = [_values(b, "lv_analyser")["lv.voltage.1"] for b in (first, second, first)]
    first.instruments["lv_analyser"].open()
    volts.append(_values(first, "lv_analyser")["lv.voltage.1"])
    expected = [230, 115, 230, 230]
    assert volts == pytest.approx(expected, rel=0.02)


def test_the_same_seed_says_the_same() -> None:
    """Two stands of one seed answer alike, digit for digit, whatever else there was before."""

    def said(seed: int) -> list[dict[str, float | None]]:
        bench = build(seed)
        bench.energise(lv=0.872, loop=0.5)
        return [_values(bench, name) for name in bench.instruments]

    first, _, again = said(3), said(4), said(3)
    assert first == again
    assert first != said(4)


def test_over_range_is_bad(bench: Bench) -> None:
    """A current above the ammeter's last range is BAD, over range; the rest is good."""
    bench.plant.wiring = replace(bench.plant.wiring, link_left_on=True)
    bench.energise(lv=0.1)
    readings = {r.channel: r for r in bench.instruments["lv_analyser"].poll()}
    assert readings["lv.current.1"].reason == OVER_RANGE
    assert readings["lv.voltage.1"].quality is Quality.GOOD


def test_dead_and_wrongly_multiplied_voltmeters(bench: Bench) -> None:
    """A dead voltmeter reads a perfect nought, a forgotten multiplier a hundredth."""
    bench.energise(lv=0.02, loop=0.78)
    live = _values(bench, "series_voltmeter")["series.voltage.1"]
    bench.plant.series_multiplier = 0.01
    hundredth = _values(bench, "series_voltmeter")["series.voltage.1"]
    bench.plant.series_voltmeter.dead = True
    assert live is not None
    assert hundredth == pytest.approx(live / 100, abs=3.1)
    assert _values(bench, "series_voltmeter")["series.voltage.1"] == 0.0


def test_frequency_is_what_the_supply_has(bench: Bench) -> None:
    """Both analysers read the supply's frequency."""
    bench.plant.frequency_hz = 49.2
    assert _values(bench, "lv_analyser")["frequency"] == pytest.approx(49.2, rel=1e-3)
    assert _values(bench, "hv_analyser")["hv.frequency"] == pytest.approx(49.2, rel=1e-3)


def test_a_field_without_a_channel_says_that_it_has_none(bench: Bench) -> None:
    """A field that the stand file leaves out is answered with SCPI's not-a-number."""
    analyser = _instrument("lv_analyser")
    link = bench.links.text(replace(analyser, channel=analyser.channel[:1]))
    link.reopen()
    numbers = read_numbers(link.query("FETC?", 0.8), 5)
    assert [isnan(n) for n in numbers] == [False, True, True, True, True]


def test_files_that_do_not_fit_are_refused(bench: Bench) -> None:
    """A query that the device lacks, or a channel that the stand can't show, is said by name."""
    analyser = _instrument("lv_analyser")
    described = TextDescription("text", "POWER ANALYSER", (Query("READ?", ("voltage",)),))
    links = SimulatedLinks(bench.plant, {"power_analyser": described}, METERS, bench.clock)
    with pytest.raises(ValueError, match="READ"):
        links.text(analyser)
    odd = replace(analyser.channel[0], name="lv.voltage.2")
    bench.plant.meters["lv.voltage.2"] = bench.plant.meters["lv.voltage.1"]
    with pytest.raises(ValueError, match=r"lv\.voltage\.2"):
        bench.links.text(replace(analyser, channel=(odd,)))


def test_a_bug_in_the_plant_is_no_silence() -> None:
    """An AttributeError in a live answer, which pyvisa-sim would swallow, comes out."""
    devices = SimulatedDevices(METERS)

    def broken() -> str:
        raise AttributeError("no such thing")

    devices.make_live(LV, "FETC?", broken)
    opened = devices.open(LV, "lv_analyser")
    with pytest.raises(RuntimeError, match="no such thing"):
        opened.query("FETC?")
    opened.close()


def test_foreign_errors_are_translated(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """What pyvisa raises becomes a lost connection, with what was asked."""
    link = bench.links.text(_instrument("lv_analyser"))
    link.reopen()

    def gone(*_: object) -> str:
        raise pyvisa.VisaIOError(pyvisa.constants.StatusCode.error_connection_lost)

    monkeypatch.setattr(SimVisaLibrary, "read", gone)
    with pytest.raises(ConnectionLost) as lost:
        link.query("FETC?", 0.8)
    assert (lost.value.instrument, lost.value.asked) == ("lv_analyser", "FETC?")


def test_what_is_not_ascii_is_no_answer(bench: Bench) -> None:
    """An answer in other characters than an instrument has is a bad one, and a fault."""
    devices = SimulatedDevices(METERS)
    devices.make_live(LV, "FETC?", lambda: "４00")
    link = SimulatedTextLink(devices, LV, "lv_analyser", Wire(bench.plant, bench.clock, "x"))
    link.reopen()
    with pytest.raises(BadAnswer, match="not ASCII"):
        link.query("FETC?", 0.8)


@pytest.mark.parametrize("folder", [FOLDER, DRY])
def test_the_meters_file_is_beside_its_stand(folder: Path) -> None:
    """Every text resource of a shipped stand is a device of the meters.yaml beside it."""
    devices = SimulatedDevices(folder / "meters.yaml")
    texts = [i.resource for i in stand_file(folder).instrument if i.resource.startswith("TCPIP")]
    assert len(texts) == 4
    assert all(str(to_canonical_name(r)) in devices for r in texts)
