"""Descriptions of instruments: every shipped one is well formed, and no file gets past unread."""

import tomllib
from importlib import resources
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.configuration import _description
from acquire.files import ConfigurationError, File
from drivers.description import (
    Channel,
    Description,
    Instrument,
    TextDescription,
)
from drivers.instrument import RegisterInstrument, TextInstrument
from tests.drivers.canned import CannedClock, CannedRegisters, CannedText

SHIPPED = {
    f.name.removesuffix(".toml"): f.read_text("utf-8")
    for f in resources.files("drivers.descriptions").iterdir()
    if f.name.endswith(".toml")
}


def _read(text: str) -> Description:
    return _description(File("x.toml", text, tomllib.loads(text)))


def _fields(description: Description) -> list[str]:
    if isinstance(description, TextDescription):
        return [field for query in description.query for field in query.fields]
    return [value.field for value in description.value]


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_every_shipped_description_makes_an_instrument(name: str) -> None:
    """Its fields have names of their own and are readable; a comment says what it is."""
    description = _read(SHIPPED[name])
    fields = _fields(description)
    assert len(set(fields)) == len(fields)
    assert SHIPPED[name].startswith("# A") or SHIPPED[name].startswith(("# Eight", "# Status"))
    channels = tuple(Channel(f, f"x.{f}", "1", 5.0) for f in fields)
    instrument, clock = Instrument("x", name, "X", 1.0, 0.5, channels), CannedClock()
    if isinstance(description, TextDescription):
        TextInstrument(instrument, description, CannedText(clock), clock)
    else:
        RegisterInstrument(instrument, description, CannedRegisters(clock, {}), clock)


VALUES: Any = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 70_000) | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=6,
)
KEYS = ["field", "address", "type", "scale", "not_implemented", "open_sensor", "word_order"]
KEYS += ["table", "factor_at", "sensor", "registers", "ask", "fields", "point"]
ENTRIES = st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=6)
TABLES = st.fixed_dictionaries(
    {"kind": st.sampled_from(["text", "registers", "sunspec"]) | VALUES},
    optional={
        "identity": VALUES | ENTRIES,
        "value": VALUES | st.lists(ENTRIES, max_size=3),
        "query": VALUES | st.lists(ENTRIES, max_size=3),
        "models": VALUES,
        "set_up": VALUES,
        "gaps": VALUES,
    },
)


@given(TABLES)
def test_any_file_is_a_description_or_refused_in_one_line(tables: dict[str, Any]) -> None:
    """Never a crash, and what is taken has fields that can be read."""
    said = ""
    try:
        assert _fields(_description(File("x.toml", "", tables)))
    except ConfigurationError as refused:
        said = str(refused)
    assert "\n" not in said


@given(st.sampled_from(sorted(SHIPPED)), st.data())
def test_a_shipped_description_with_a_wrong_value_in_it_is_refused(
    name: str, data: st.DataObject
) -> None:
    """One entry replaced by something else: refused, or still a description."""
    tables = tomllib.loads(SHIPPED[name])
    entries = tables.get("value") or tables["query"]
    entry = data.draw(st.sampled_from(entries))
    entry[data.draw(st.sampled_from([*entry, *KEYS]))] = data.draw(VALUES)
    said = ""
    try:
        assert _fields(_description(File("x.toml", "", tables)))
    except ConfigurationError as refused:
        said = str(refused)
    assert "\n" not in said
