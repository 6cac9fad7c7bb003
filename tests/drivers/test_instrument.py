"""Instruments: one poll, one reading of every channel, whatever the wire does."""

import pytest

from drivers.description import (
    Channel,
    Instrument,
    Query,
    RegisterDescription,
    RegisterField,
    TextDescription,
)
from drivers.instrument import NO_VALUE, RegisterInstrument, TextInstrument
from drivers.link import BadAnswer, Block, ConnectionLost, InstrumentFault, NoAnswer
from drivers.reading import OVER_RANGE, Quality, Reading
from drivers.wiring import RegisterIdentity
from tests.drivers.canned import LATENCY, Answer, CannedClock, CannedRegisters, CannedText

IDN = "INVENTED,ANALYSER,1,0"
ANALYSER = TextDescription("text", "ANALYSER", (Query("FETC?", ("voltage", "spare", "current")),))


def _channel(field: str, name: str, **more: object) -> Channel:
    return Channel(field=field, name=name, unit="V", stale_after_s=5.0, **more)  # type: ignore[arg-type]  # passed on as given


CURRENT = _channel("current", "lv.current.1", ranges=(5.0, 20.0), ratio=10.0)
VOLTAGE = _channel("voltage", "lv.voltage.1")


def _analyser(*replies: Answer, idn: str = IDN) -> tuple[TextInstrument, CannedText, CannedClock]:
    clock = CannedClock()
    link = CannedText(clock, idn=[idn], fetc=list(replies) or ["400,9.91E37,0.5"])
    instrument = Instrument("lv", "analyser", "X", 1.0, 0.8, (CURRENT, VOLTAGE))
    return TextInstrument(instrument, ANALYSER, link, clock), link, clock


def test_a_poll_reads_every_channel() -> None:
    """Values are the instrument's times the channel's ratio; unlisted fields are left out."""
    analyser, _, _ = _analyser("400,9.91E37,0.5")
    values = {r.channel: (r.value, r.quality, r.reason) for r in analyser.poll()}
    assert values == {
        "lv.current.1": (5.0, Quality.GOOD, ""),
        "lv.voltage.1": (400.0, Quality.GOOD, ""),
    }
    assert analyser.fault is None


def test_readings_are_stamped_round_the_exchange() -> None:
    """`began` is when the question was asked, not when the link was opened; `t` is half-way."""
    analyser, _, clock = _analyser()
    analyser.open()
    asked = clock.t
    reading = analyser.poll()[0]
    assert (reading.began, reading.t) == (asked, asked + LATENCY // 2)


def test_opening_in_a_poll_is_before_the_question() -> None:
    """A poll that first had to open began with its question: the opening is no evidence."""
    analyser, _, clock = _analyser()
    start = clock.t
    assert analyser.poll()[0].began == start + LATENCY


@pytest.mark.parametrize("current", ["2.0001", "9.9E37", "-9.9E37", "-2.0001"])
def test_above_the_last_range_is_over_range(current: str) -> None:
    """What the instrument or the channel's last range cannot hold is BAD, over range."""
    analyser, _, _ = _analyser(f"400,0,{current}")
    reading = analyser.poll()[0]
    assert (reading.value, reading.quality, reading.reason) == (None, Quality.BAD, OVER_RANGE)


def test_over_range_without_ranges() -> None:
    """A channel without ranges is over range when its instrument says so."""
    analyser, _, _ = _analyser("9.9E37,0,1")
    assert analyser.poll()[1].reason == OVER_RANGE


def test_the_last_range_itself_is_good() -> None:
    """A reading at the very end of the last range still counts."""
    analyser, _, _ = _analyser("400,0,2")
    assert analyser.poll()[0].value == 20.0


def test_not_a_number_is_bad_and_no_fault() -> None:
    """A value that the instrument hasn't got spoils its own channel alone."""
    analyser, _, _ = _analyser("400,0,9.91E37")
    current, voltage = analyser.poll()
    assert (current.value, current.quality, current.reason) == (None, Quality.BAD, NO_VALUE)
    assert voltage.value == 400.0
    assert analyser.fault is None


FAULTS: list[Answer] = [
    NoAnswer("lv", "FETC?", "no answer within 0.8 s"),
    ConnectionLost("lv", "FETC?", "closed by the other end"),
    "400,0",
    "",
    "ERROR",
    "400,0,nan",
]


@pytest.mark.parametrize("answer", FAULTS, ids=str)
def test_a_fault_spoils_every_channel(answer: Answer) -> None:
    """No answer, or none to this question: every channel BAD with the reason, and the fault."""
    analyser, _, _ = _analyser(answer)
    readings = analyser.poll()
    assert [r.channel for r in readings] == ["lv.current.1", "lv.voltage.1"]
    assert all(r.value is None and r.quality is Quality.BAD for r in readings)
    assert isinstance(analyser.fault, InstrumentFault)
    assert all(r.reason == str(analyser.fault) for r in readings)


@pytest.mark.parametrize("answer", FAULTS, ids=str)
def test_after_a_fault_the_instrument_proves_itself_again(answer: Answer) -> None:
    """The next poll opens and identifies before it asks, and is good again."""
    analyser, link, _ = _analyser("400,0,1", answer, "401,0,1")
    analyser.poll()
    analyser.poll()
    link.asked.clear()
    assert analyser.poll()[1].value == 401.0
    assert link.asked == ["reopen", "*IDN?", "FETC?"]
    assert analyser.fault is None


def test_a_good_poll_asks_once() -> None:
    """Once identified, a poll is one question."""
    analyser, link, _ = _analyser()
    analyser.open()
    link.asked.clear()
    analyser.poll()
    assert link.asked == ["FETC?"]


@pytest.mark.parametrize("idn", ["INVENTED,METER,1,0", "", "INVENTED,ANALYSER2,1,0", "ERROR"])
def test_a_stranger_is_refused(idn: str) -> None:
    """An instrument that isn't the one described is refused at opening, and never polled."""
    analyser, link, _ = _analyser(idn=idn)
    with pytest.raises(BadAnswer):
        analyser.open()
    assert all(r.quality is Quality.BAD for r in analyser.poll())
    assert "FETC?" not in link.asked


def test_identity_stands_in_fields() -> None:
    """Blanks round the fields of an identity don't matter."""
    analyser, _, _ = _analyser(idn="INVENTED, ANALYSER ,1,0")
    analyser.open()


def test_an_unknown_field_is_refused_at_once() -> None:
    """A channel that no query answers is found when the instrument is made, by name."""
    clock = CannedClock()
    instrument = Instrument("lv", "analyser", "X", 1.0, 0.8, (_channel("power", "lv.power.1"),))
    with pytest.raises(ValueError, match=r"lv: .*'power'"):
        TextInstrument(instrument, ANALYSER, CannedText(clock), clock)


def test_every_query_has_its_own_stamp() -> None:
    """With two queries each reading carries the instant of its own question."""
    clock = CannedClock()
    described = TextDescription(
        "text", "ANALYSER", (Query("VOLT?", ("voltage",)), Query("CURR?", ("current",)))
    )
    link = CannedText(clock, idn=[IDN], volt=["400"], curr=["0.5"])
    instrument = Instrument("lv", "analyser", "X", 1.0, 0.8, (CURRENT, VOLTAGE))
    analyser = TextInstrument(instrument, described, link, clock)
    analyser.open()
    start = clock.t
    assert [(r.channel, r.value, r.began) for r in analyser.poll()] == [
        ("lv.voltage.1", 400.0, start),
        ("lv.current.1", 5.0, start + LATENCY),
    ]


UNIT = RegisterDescription(
    "registers",
    RegisterIdentity(0, (0x5453, 1)),
    (
        RegisterField("one", 2, "int16", 0.01, 0x8000),
        RegisterField("two", 3, "int16", 0.01, 0x8000),
        RegisterField("far", 9),
    ),
)


def _unit() -> tuple[RegisterInstrument, CannedRegisters, CannedClock]:
    clock = CannedClock()
    link = CannedRegisters(clock, {0: 0x5453, 1: 1, 2: 2100, 3: 0x8000, 9: 7})
    channels = (_channel("one", "a.top_liquid", ranges=(200.0,)), _channel("two", "b.top_liquid"))
    instrument = Instrument("temperatures", "scanner", "X", 5.0, 0.5, channels)
    return RegisterInstrument(instrument, UNIT, link, clock), link, clock


def test_a_unit_is_read_block_by_block() -> None:
    """One read a block; values decoded, a missing one BAD, stamps round the exchange."""
    unit, link, clock = _unit()
    unit.open()
    start = clock.t
    link.asked.clear()
    t = start + LATENCY
    assert unit.poll() == (
        Reading("a.top_liquid", t, start, 21.0),
        Reading("b.top_liquid", t, start, None, Quality.BAD, NO_VALUE),
    )
    assert link.asked == [Block(0, 4), Block(9, 1)]


def test_a_temperature_above_its_range_is_over_range() -> None:
    """The channel's last range holds for registers too."""
    unit, link, _ = _unit()
    link.registers[2] = 20001
    assert unit.poll()[0].reason == OVER_RANGE


def test_a_unit_is_identified_in_every_poll() -> None:
    """A unit that turns into another between two polls is found at once."""
    unit, link, _ = _unit()
    unit.open()
    link.registers[0] = 0x1234
    readings = unit.poll()
    assert all(r.quality is Quality.BAD for r in readings)
    assert isinstance(unit.fault, BadAnswer)
    with pytest.raises(BadAnswer, match="0x1234"):
        unit.open()


def test_a_silent_unit_is_bad_and_comes_back() -> None:
    """A fault spoils every channel; the next poll opens afresh and reads."""
    unit, link, _ = _unit()
    link.fault = NoAnswer("temperatures", "read", "no answer within 0.5 s")
    assert all(r.quality is Quality.BAD and "no answer" in r.reason for r in unit.poll())
    link.fault = None
    link.asked.clear()
    assert unit.poll()[0].value == 21.0
    assert link.asked[0] == "reopen"


def test_too_few_registers_are_no_answer() -> None:
    """A short answer is refused whole."""
    unit, link, _ = _unit()
    link.short = 1
    unit.poll()
    assert isinstance(unit.fault, BadAnswer)


def test_a_unit_lacks_no_field_silently() -> None:
    """A channel whose field the unit hasn't got is refused when it is made."""
    clock = CannedClock()
    instrument = Instrument("t", "scanner", "X", 5.0, 0.5, (_channel("nine", "ambient.1"),))
    with pytest.raises(ValueError, match="'nine'"):
        RegisterInstrument(instrument, UNIT, CannedRegisters(clock, {}), clock)
