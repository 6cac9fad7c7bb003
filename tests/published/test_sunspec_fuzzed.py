"""SunSpec maps of any content: never a crash, and what is good is what the reference library reads.

pysunspec2 looks for the map, walks it and decodes it with its own code, on the same registers.
"""

import struct
from contextlib import suppress
from math import isfinite
from typing import Any, NamedTuple, get_args

import pytest
import sunspec2.device as reference
from hypothesis import given, settings
from hypothesis import strategies as st
from sunspec2.modbus.client import SunSpecModbusClientDevice

from drivers.description import (
    Channel,
    Instrument,
    SunSpecDescription,
    SunSpecPoint,
    SunSpecValue,
)
from drivers.instrument import RegisterInstrument
from drivers.reading import Quality, Reading
from drivers.sunspec import BASES, MARKER, maker_and_model, points
from tests.drivers.canned import CannedClock, CannedRegisters

METERS = (201, 202, 203, 204, 211, 212, 213, 214)
POINTS = get_args(SunSpecPoint)
LENGTHS = dict.fromkeys(METERS[:4], 105) | dict.fromkeys(METERS[4:], 124)
END = 0xFFFF

words = st.integers(0, 0xFFFF)
# Registers at the edges of what they may mean are tried far more often than chance would.
edges = st.sampled_from([0, 1, 0x7FFF, 0x8000, 0x8001, 0xFFFF, 0x7F80, 0xFF80, 0x7FC0, 0x5375])
factors = st.integers(-12, 12).map(lambda f: f % 0x10000) | edges | words


class Map(NamedTuple):
    """A unit's registers by address, and whether its map is one by the specification."""

    registers: dict[int, int]
    model: int
    is_sound: bool


@st.composite
def _model(draw: st.DrawFn, number: int) -> list[int]:
    """ID, length and registers of a meter model, with factors that are mostly factors."""
    registers = [number, LENGTHS[number]]
    registers += draw(st.lists(words | edges, min_size=LENGTHS[number], max_size=LENGTHS[number]))
    for at in {field.factor_at for field in points(number).values()} - {None}:
        registers[at or 0] = draw(factors)
    return registers


@st.composite
def _map(draw: st.DrawFn) -> Map:
    """A map at one of its places, with other models before and behind; in half of them spoiled."""
    number = draw(st.sampled_from(METERS))
    others = st.integers(0, 12).flatmap(
        lambda n: st.tuples(
            st.sampled_from([1, 64, 700, 65_000]), st.lists(words, min_size=n, max_size=n)
        )
    )
    registers = [*MARKER]
    for other, content in draw(st.lists(others, max_size=3)):
        registers += [other, len(content), *content]
    # The first of several is read.
    for _ in range(draw(st.sampled_from([1, 1, 2]))):
        registers += draw(_model(number))
    for other, content in draw(st.lists(others, max_size=2)):
        registers += [other, len(content), *content]
    registers += draw(st.sampled_from([[END, 0], [END]]))
    spoiled = draw(st.booleans())
    if spoiled:
        for _ in range(draw(st.integers(1, 3))):
            at = draw(st.integers(0, len(registers) - 1))
            registers[at] = draw(st.sampled_from([*METERS, *LENGTHS.values()]) | edges | words)
        del registers[draw(st.integers(len(registers) // 2, len(registers))) :]
    base = draw(st.sampled_from(BASES))
    return Map(dict(enumerate(registers, base)), number, not spoiled)


class Theirs(SunSpecModbusClientDevice):  # type: ignore[misc]  # the library ships no types
    """The reference library's device, on registers in memory."""

    def __init__(self, registers: dict[int, int]) -> None:
        super().__init__()
        self._registers = registers

    def read(self, addr: int, count: int) -> bytes:
        return _bytes([self._registers[addr + i] for i in range(count)])


def _bytes(registers: list[int]) -> bytes:
    return struct.pack(f">{len(registers)}H", *registers)


def _theirs(found: Map) -> dict[str, float | None] | None:
    """Return the reference library's values of the model by our names; None where it has none."""
    device = Theirs(found.registers)
    with suppress(Exception):  # it has no errors of its own for a map that breaks off
        device.scan(full_model_read=False)
    models: list[Any] = device.models.get(found.model, [])
    if not models:
        return None
    first = models[0].model_addr
    end = first + 2 + LENGTHS[found.model]
    decoded = reference.Model(model_id=found.model)
    decoded.set_mb(_bytes([found.registers[a] for a in range(first, end)]))
    values: dict[str, float | None] = {}
    for name, point in decoded.points.items():
        factor = decoded.points[point.sf].value if point.sf else 0
        ours = name.replace("PhVphAB", "PPVphAB").replace("PhVphBC", "PPVphBC")
        ours = ours.replace("PhVphCA", "PPVphCA")
        if ours not in POINTS:
            continue
        # The definition of sunssf allows -10 to 10.
        has_none = point.value is None or factor is None or abs(factor) > 10
        value = None if has_none else point.value * 10.0**factor
        values[ours] = value if value is not None and isfinite(value) else None
    return values


def _ours(found: Map) -> tuple[dict[str, Reading], bool]:
    """Return our readings by point, and whether there was a fault."""
    clock = CannedClock()
    link = CannedRegisters(clock, found.registers)
    link.refuse_unknown = True
    wanted = tuple(SunSpecValue(name, name) for name in POINTS)
    description = SunSpecDescription("sunspec", (found.model,), wanted)  # type: ignore[arg-type]  # a model found, not a literal
    channels = tuple(Channel(name, f"x.{name}", "1", 5.0) for name in POINTS)
    meter = Instrument("meter", "sunspec", "X", 1.0, 0.5, channels)
    instrument = RegisterInstrument(meter, description, link, clock)
    return {r.channel[2:]: r for r in instrument.poll()}, instrument.fault is not None


def _compare(found: Map) -> None:
    ours, fault = _ours(found)
    assert set(ours) == set(POINTS)
    assert not (fault and found.is_sound)
    if fault:
        assert all(r.quality is Quality.BAD and r.value is None for r in ours.values())
        return
    theirs = _theirs(found)
    assert theirs is not None
    for name, reading in ours.items():
        if theirs[name] is None:
            assert (reading.value, reading.quality) == (None, Quality.BAD), name
        else:
            assert reading.value == pytest.approx(theirs[name], rel=1e-12), name


@settings(max_examples=150, deadline=None)
@given(_map())
def test_what_is_good_is_what_the_reference_library_reads(found: Map) -> None:
    """Every point of every model; a map that is one is read, another is a fault and no number."""
    _compare(found)


@pytest.mark.campaign
@settings(max_examples=20_000, deadline=None)
@given(_map())
def test_what_is_good_is_what_the_reference_library_reads_in_many(found: Map) -> None:
    """The same, many times over."""
    _compare(found)


@settings(max_examples=100, deadline=None)
@given(st.lists(words | edges, min_size=66, max_size=66), st.booleans())
def test_maker_and_model_are_one_line_whatever_they_hold(content: list[int], ends: bool) -> None:
    """Text of any bytes: nothing that moves a cursor or breaks a line."""
    registers = [*MARKER, 1, 66, *content, END, *([0] if ends else [])]
    link = CannedRegisters(CannedClock(), dict(enumerate(registers, 40000)))
    link.refuse_unknown = True
    assert maker_and_model(link.block, "meter").isprintable()


def test_maker_and_model_are_the_reference_librarys() -> None:
    common = reference.Model(model_id=1)
    common.points["Mn"].value, common.points["Md"].value = "INVENTED", "METER 1"
    content = list(struct.unpack(f">{len(common.get_mb()) // 2}H", common.get_mb()))
    registers = dict(enumerate([*MARKER, *content, END, 0], 50000))
    link = CannedRegisters(CannedClock(), registers)
    link.refuse_unknown = True
    assert maker_and_model(link.block, "meter") == "INVENTED METER 1"


def test_a_map_may_end_in_an_id_alone() -> None:
    """So some meters do; whoever asks them for a length there is refused."""
    registers = [*MARKER, 203, 105, *[0] * 105, END]
    _, fault = _ours(Map(dict(enumerate(registers)), 203, is_sound=True))
    assert not fault
