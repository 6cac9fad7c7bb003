"""The register units: contacts as they are, temperatures as they are measured, outputs obeyed."""

from dataclasses import replace

import pytest

from drivers.description import RegisterDescription
from drivers.link import Block, NoAnswer, Refused
from drivers.reading import Quality
from drivers.simulated.units import PolledUnit
from tests.drivers.simulated.scenario import Bench, build, descriptions, stand_file

OUTPUTS = stand_file().outputs
CLASS_K = 0.2 + 0.005  # of the scanner, with half a step of its registers
SENSOR_K = 0.1 + 5 * 0.01  # fixed offset and noise of the shipped scenario's sensors


@pytest.fixture(name="bench")
def _bench() -> Bench:
    return build()


def _values(bench: Bench, name: str) -> dict[str, float | None]:
    return {r.channel: r.value for r in bench.instruments[name].poll()}


def test_contacts_read_as_they_are(bench: Bench) -> None:
    """Every contact reads 1 closed, healthy or picked up; positions are shares of travel."""
    bench.energise(lv=0.4322)
    assert _values(bench, "contacts") == pytest.approx(
        {
            "guard": 1.0,
            "emergency_stop": 1.0,
            "protection_contact": 1.0,
            "lv_contactor": 1.0,
            "loop_contactor": 0.0,
            "resistance_selector": 0.0,
            "watchdog": 1.0,
            "upstream_breaker": 1.0,
            "lv_regulator": 0.4322,
            "loop_regulator": 0.0,
        }
    )


@pytest.mark.parametrize("contact", ["guard", "emergency_stop", "protection_contact"])
def test_a_hand_is_seen_at_the_next_read(bench: Bench, contact: str) -> None:
    """What a hand opens reads 0 in the very next poll, and 1 again when it is shut."""
    bench.run(1)
    seen = []
    for shut in (True, False, True):
        setattr(bench.plant, contact, shut)
        seen.append(_values(bench, "contacts")[contact])
    assert seen == [1.0, 0.0, 1.0]


def test_a_contact_is_read_in_the_midst_of_travel(bench: Bench) -> None:
    """A regulator under way reads where it is at the instant of asking."""
    bench.run(1)
    bench.instruments["contacts"].open()
    bench.put("lv_regulator", 0.5)
    bench.run(5)
    assert _values(bench, "contacts")["lv_regulator"] == pytest.approx(0.2, abs=1e-4)


def test_temperatures_are_the_rooms_within_their_class(bench: Bench) -> None:
    """Everything is at room temperature: a tenth of a per cent of 200 degC, and its sensor's."""
    values = _values(bench, "temperatures")
    assert len(values) == 7
    assert all(v is not None and abs(v - 21.0) <= CLASS_K + SENSOR_K for v in values.values())
    assert len(set(values.values())) > 1


def test_a_hot_unit_reads_hot(bench: Bench) -> None:
    """A temperature laid on by hand is measured, on its own channel alone."""
    bench.plant.temperatures_c["b.top_liquid"] = 96.0
    values = _values(bench, "temperatures")
    assert values["b.top_liquid"] == pytest.approx(96.0, abs=CLASS_K)
    assert values["a.top_liquid"] == pytest.approx(21.0, abs=CLASS_K + SENSOR_K)


def test_above_its_range_a_sensor_reads_open(bench: Bench) -> None:
    """What the scanner can't hold is its mark for none: BAD, no value."""
    bench.plant.temperatures_c["a.top_liquid"] = 250.0
    reading = bench.instruments["temperatures"].poll()[0]
    assert (reading.channel, reading.quality) == ("a.top_liquid", Quality.BAD)


def test_an_input_without_a_channel_is_an_open_sensor(bench: Bench) -> None:
    """An input that the stand file leaves out reads as an open sensor."""
    scanner = next(i for i in stand_file().instrument if i.name == "temperatures")
    description = descriptions()["temperature_scanner"]
    assert isinstance(description, RegisterDescription)
    one = replace(scanner, channel=scanner.channel[:1])
    unit = PolledUnit(bench.plant, one, description)
    assert unit.read(Block(3, 6)) == (0x8000,) * 6


def test_a_polled_unit_takes_no_writes(bench: Bench) -> None:
    """Contacts can't be written, and registers that aren't there can't be read."""
    contacts = next(i for i in stand_file().instrument if i.name == "contacts")
    link = bench.links.registers(contacts)
    with pytest.raises(Refused):
        link.write(2, (0,), 0.5)
    with pytest.raises(Refused, match="illegal address"):
        link.read(Block(0, 40), 0.5)


def test_a_silent_unit_costs_its_time_out(bench: Bench) -> None:
    """Silent contacts are BAD after their time-out."""
    bench.plant.silent.add("contacts")
    before = bench.clock.t
    assert all(r.quality is Quality.BAD for r in bench.instruments["contacts"].poll())
    assert bench.clock.t == before + 150_000_000


def test_outputs_read_back_what_was_written(bench: Bench) -> None:
    """The outputs unit holds what was last written, all at once or one by one."""
    bench.outputs.write(0, (1, 1, 0, 0, 4000, 250), 0.5)
    assert bench.outputs.read(Block(0, 6), 0.5) == (1, 1, 0, 0, 4000, 250)
    assert bench.plant.lv_contactor.commanded
    assert not bench.plant.loop_contactor.commanded


def test_outputs_elsewhere_are_refused(bench: Bench) -> None:
    """A register that no output has is refused, and none of its neighbours written."""
    with pytest.raises(Refused, match="illegal address"):
        bench.outputs.write(OUTPUTS.lv_contactor.address, (1,) * 9, 0.5)
    with pytest.raises(Refused, match="illegal address"):
        bench.outputs.read(Block(5, 2), 0.5)
    assert not bench.plant.lv_contactor.commanded


def test_silent_outputs_move_nothing(bench: Bench) -> None:
    """A write that times out has not been obeyed."""
    bench.plant.silent.add("outputs")
    with pytest.raises(NoAnswer):
        bench.outputs.write(OUTPUTS.lv_contactor.address, (1,), 0.5)
    assert not bench.plant.lv_contactor.commanded


def test_writing_costs_no_time_unless_the_truth_says_so(bench: Bench) -> None:
    """A command is on the wire in the same instant; a latency can be laid on."""
    bench.outputs.write(OUTPUTS.heartbeat, (1,), 0.5)
    assert bench.clock.t == 0
    bench.plant.latencies_s["outputs"] = 0.02
    bench.outputs.write(OUTPUTS.heartbeat, (0,), 0.5)
    assert bench.clock.t == 20_000_000


def test_a_channel_that_the_stand_cannot_show_is_refused(bench: Bench) -> None:
    """A contact of another name is refused when the link is made."""
    contacts = next(i for i in stand_file().instrument if i.name == "contacts")
    odd = replace(contacts.channel[0], name="door")
    with pytest.raises(ValueError, match="door"):
        bench.links.registers(replace(contacts, channel=(odd, *contacts.channel[1:])))
