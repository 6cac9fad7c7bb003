"""SunSpec meters: checks h2 to h4, and the same registers read by the reference library.

Offsets, types and marks are those of the published model definitions, as pysunspec2 ships them;
the marker, the end of the map and its places are from memory.
"""

import struct
from math import isnan
from typing import Any, get_args

import pytest
import sunspec2.device as reference
from sunspec2 import mb

from drivers.description import (
    Channel,
    Instrument,
    RegisterField,
    SunSpecDescription,
    SunSpecPoint,
    SunSpecValue,
)
from drivers.instrument import NO_VALUE, RegisterInstrument
from drivers.link import BadAnswer, Block, NoAnswer, Refused
from drivers.reading import Quality
from drivers.registers import decode
from drivers.sunspec import MARKER, located, models, points
from tests.drivers.canned import CannedClock, CannedRegisters

MODELS = (201, 202, 203, 204, 211, 212, 213, 214)
POINTS = get_args(SunSpecPoint)
SIZES = {"int16": 1, "uint32": 2, "float32": 2}


def _definition(model: int) -> dict[str, tuple[int, str, str | None]]:
    """Return offset, type and scale factor of every point, from the published definition."""
    found, offset = {}, 0
    for point in reference.get_model_def(model)["group"]["points"]:
        # The phase-to-phase voltages go by PhVphAB in 202 to 204 and 212, by PPVphAB elsewhere.
        name = point["name"]
        if name in ("PhVphAB", "PhVphBC", "PhVphCA"):
            name = name.replace("PhV", "PPV")
        found[name] = (offset, point["type"], point.get("sf"))
        offset += point["size"]
    return found


@pytest.mark.parametrize("model", MODELS)
def test_points_stand_where_the_definitions_have_them(model: int) -> None:
    """h2: address, width, signedness and scale factor of every point, of all eight models."""
    published = _definition(model)
    ours = points(model)
    assert set(ours) == set(POINTS)
    for name, field in ours.items():
        offset, kind, factor = published[name]
        assert field.address == offset, name
        assert field.type == {"acc32": "uint32"}.get(kind, kind), name
        assert field.factor_at == (None if factor is None else published[factor][0]), name


@pytest.mark.parametrize("model", MODELS)
def test_lengths_are_published(model: int) -> None:
    """h2: 105 registers behind ID and L with scale factors, 124 with floats."""
    sizes = [point["size"] for point in reference.get_model_def(model)["group"]["points"]]
    assert sum(sizes) - 2 == (124 if model > 210 else 105)


@pytest.mark.parametrize(
    ("kind", "mark"),
    [
        ("int16", 0x8000),
        ("uint16", 0xFFFF),
        ("int32", 0x80000000),
        ("uint32", 0xFFFFFFFF),
        ("float32", 0x7FC00000),
        ("acc32", 0),
    ],
)
def test_marks_are_the_reference_librarys(kind: str, mark: int) -> None:
    """h3: what the library writes for not implemented has no value here."""
    written = mb.create_unimpl_value(kind, len=2 if kind.endswith("16") else 4)
    assert int.from_bytes(written, "big") == mark
    ours: Any = "uint32" if kind == "acc32" else kind
    field = RegisterField("x", 0, ours, not_implemented=None if kind == "float32" else mark)
    assert isnan(decode(field, mark))


VECTOR = {2: 1234, 4: 0x8000, 6: 0xFFFE, 7: 2301, 15: 0xFFFF, 16: 4998, 17: 0xFFFE}
VECTOR |= {18: 0xFA24, 22: 1, 33: 0x8000, 37: 0xFFFE, 23: 500, 27: 0x8000}


def _decoded(name: str) -> float:
    field = points(201)[name]
    assert field.factor_at is not None
    return decode(field, VECTOR[field.address], VECTOR[field.factor_at])


def test_the_decode_vector() -> None:
    """h4: constructed there from the definitions; to the last digit, as written in decimals."""
    assert _decoded("A") == 12.34
    assert isnan(_decoded("AphB"))
    assert _decoded("PhV") == 230.1
    assert _decoded("Hz") == 49.98
    assert _decoded("W") == -15000.0
    assert isnan(_decoded("PF"))
    assert isnan(_decoded("VA"))


def test_a_scale_factor_beyond_ten_is_none() -> None:
    """The definition of sunssf allows -10 to 10; anything else is no factor."""
    field = points(201)["A"]
    for factor in (11, 0x8000, 0xFFF5, 0x7FFF):
        assert isnan(decode(field, 1234, factor))
    assert decode(field, 1234, 0xFFF6) == 1234 / 1e10


def _registers(data: bytes) -> list[int]:
    return list(struct.unpack(f">{len(data) // 2}H", data))


def _image(model: int, values: dict[str, float | int], base: int) -> dict[int, int]:
    """Return a map with the common model and a meter model that the reference library encoded."""
    meter = reference.Model(model_id=model)
    for name, value in values.items():
        meter.points[name].value = value
    words = [*MARKER, *_registers(_common()), *_registers(meter.get_mb()), 0xFFFF, 0]
    return dict(enumerate(words, base))


def _common() -> bytes:
    common = reference.Model(model_id=1)
    for name, text in (("Mn", "INVENTED"), ("Md", "METER"), ("SN", "1")):
        common.points[name].value = text
    data: bytes = common.get_mb()
    return data


def _unit(image: dict[int, int]) -> CannedRegisters:
    link = CannedRegisters(CannedClock(), image)
    link.refuse_unknown = True
    return link


def _ours(model: int) -> SunSpecDescription:
    wanted = tuple(SunSpecValue(name, name) for name in POINTS)
    return SunSpecDescription("sunspec", (model,), wanted)  # type: ignore[arg-type]  # a model drawn, not a literal


INTEGERS: dict[str, float | int] = {
    "A": 1234, "AphA": -5, "A_SF": -2, "PhV": 2301, "PhVphC": 2299, "V_SF": -1,
    "Hz": 4998, "Hz_SF": -2, "W": -1500, "WphB": 32767, "W_SF": 1, "VA": 77,
    "VAR": -3, "VAR_SF": 0, "TotWhImp": 123456, "TotWhExp": 0, "TotWh_SF": 3,
}  # fmt: skip
FLOATS: dict[str, float | int] = {
    "A": 12.34, "AphA": -0.05, "PhV": 230.1, "Hz": 49.98, "W": -15000.0, "WphB": 1e-3, "VA": 1e9,
    "TotWhImp": 123456.5,
}  # fmt: skip


@pytest.mark.parametrize("base", [0, 40000, 50000])
@pytest.mark.parametrize("model", MODELS)
def test_the_reference_library_reads_the_same(model: int, base: int) -> None:
    """One image, two readers: every point equal, none where the other has none."""
    image = _image(model, FLOATS if model > 210 else INTEGERS, base)
    link = _unit(image)
    fields = tuple(Channel(name, f"x.{name}", "1", 5.0) for name in POINTS)
    meter = Instrument("meter", "sunspec", "X", 1.0, 0.5, fields)
    instrument = RegisterInstrument(meter, _ours(model), link, CannedClock())
    read = {r.channel[2:]: r for r in instrument.poll()}
    assert instrument.fault is None

    theirs = reference.Model(model_id=model)
    first = base + 2 + len(_common()) // 2
    words = [image[a] for a in range(first, max(image) - 1)]
    theirs.set_mb(struct.pack(f">{len(words)}H", *words))
    compared = 0
    for name, point in theirs.points.items():
        ours = name.replace("PhVphAB", "PPVphAB").replace("PhVphBC", "PPVphBC")
        ours = ours.replace("PhVphCA", "PPVphCA")
        if ours not in read:
            continue
        factor = theirs.points[point.sf].value if point.sf else 0
        if point.value is None or factor is None:
            assert (read[ours].quality, read[ours].reason) == (Quality.BAD, NO_VALUE), name
        else:
            assert read[ours].value == pytest.approx(point.value * 10**factor, rel=1e-12), name
            compared += 1
    assert compared >= 8


def test_a_poll_of_a_meter_is_one_read() -> None:
    """ID and length are in it, so that a map which moved is noticed at once."""
    image = _image(203, INTEGERS, 40000)
    link = _unit(image)
    meter = Instrument("meter", "sunspec", "X", 1.0, 0.5, (Channel("W", "x", "W", 5.0),))
    instrument = RegisterInstrument(meter, _ours(203), link, CannedClock())
    instrument.poll()
    link.asked.clear()
    assert instrument.poll()[0].value == -15000.0
    assert len(link.asked) == 1
    link.registers = {a + 1: r for a, r in image.items()} | {40000: 0}
    assert instrument.poll()[0].quality is Quality.BAD
    assert isinstance(instrument.fault, BadAnswer)


def test_the_first_model_asked_for_that_is_there_is_read() -> None:
    """A description names both forms; a meter has one of them."""
    image = _image(203, INTEGERS, 0)
    description = SunSpecDescription("sunspec", (213, 203), (SunSpecValue("power", "W"),))
    found = located(description, _unit(image).block, "meter")
    assert found.identity.registers == (203, 105)
    assert found.value[0].field == "power"


@pytest.mark.parametrize(
    "image",
    [
        dict.fromkeys((0, 1, 40000, 40001, 50000, 50001), 7),
        _image(201, INTEGERS, 0),
        {0: 0x5375, 1: 0x6E53} | dict.fromkeys(range(2, 400), 0),
        {0: 0x5375, 1: 0x6E53, 2: 203, 3: 20, 24: 0xFFFF, 25: 0},
    ],
    ids=["no marker", "another model", "no end", "too short a model"],
)
def test_a_map_without_the_model_is_a_bad_answer(image: dict[int, int]) -> None:
    """Nothing is read from where it isn't; constructed maps."""
    link = _unit(image)
    with pytest.raises(BadAnswer):
        located(_ours(203), link.block, "meter")


def test_a_refused_base_is_passed_over_and_silence_is_not() -> None:
    """Illegal address means no map there; no answer means no unit."""

    def read(block: Block) -> tuple[int, ...]:
        if block.address == 40000:
            raise Refused("meter", str(block), "illegal address")
        raise NoAnswer("meter", str(block), "no answer")

    with pytest.raises(NoAnswer):
        list(models(read, "meter"))
