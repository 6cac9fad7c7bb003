"""A description that contradicts itself is refused in one line, on the line where it does."""

from pathlib import Path

import pytest

from acquire.configuration import ConfigurationError, load_description

REGISTERS = """kind = "registers"
identity = { address = 0, registers = [4711] }
value = [
  { field = "voltage", address = 10, type = "float32" },
  %s
]
"""
TEXT = """kind = "text"
identity = "%s"
query = [
  { ask = "A?", fields = ["voltage", "current"] },
  { ask = "B?", fields = ["%s"] },
]
"""
SUNSPEC = """kind = "sunspec"
models = [203]
value = [
  { field = "voltage", point = "PhV" },
  { field = "%s", point = "A" },
]
"""


def _refused(file: Path, text: str) -> ConfigurationError:
    file.write_text(text)
    with pytest.raises(ConfigurationError) as caught:
        load_description(file)
    assert "\n" not in str(caught.value)
    return caught.value


@pytest.fixture(name="file")
def _file(tmp_path: Path) -> Path:
    return tmp_path / "meter.toml"


@pytest.mark.parametrize(
    ("text", "key", "line"),
    [
        (REGISTERS % '{ field = "voltage", address = 20 },', "value[1].field", 5),
        (TEXT % ("METER", "voltage"), "query[1].fields[0]", 5),
        (TEXT % ("METER", 'x", "x'), "query[1].fields[1]", 5),
        (SUNSPEC % "voltage", "value[1].field", 5),
    ],
)
def test_two_fields_of_one_name(file: Path, text: str, key: str, line: int) -> None:
    refused = _refused(file, text)
    assert refused.key == key
    assert refused.file == f"{file}:{line}"
    assert "a name of its own" in refused.expected


@pytest.mark.parametrize(
    "field",
    [
        '{ field = "current", address = 11, type = "float32" },',
        '{ field = "current", address = 9, type = "float32" },',
        '{ field = "current", address = 11 },',
        '{ field = "current", address = 10, type = "uint32" },',
        '{ field = "current", address = 10, type = "float32", word_order = "little" },',
        '{ field = "current", address = 12, type = "int16", factor_at = 11 },',
    ],
)
def test_registers_of_two_values(file: Path, field: str) -> None:
    """Half of one can't be the other, nor its power of ten; nor the same ones another number."""
    refused = _refused(file, REGISTERS % field)
    assert refused.key.startswith("value[1]")
    assert refused.file == f"{file}:5"
    assert "voltage holding registers 10 to 11" in refused.expected


@pytest.mark.parametrize(
    "field",
    [
        '{ field = "current", address = 12, type = "float32" },',
        '{ field = "current", address = 8, type = "float32" },',
        '{ field = "current", address = 11, table = "input" },',
        '{ field = "peak", address = 10, type = "float32", scale = 1.414 },',
        '{ field = "current", address = 12, type = "int16", factor_at = 14 },\n'
        '  { field = "power", address = 13, type = "int16", factor_at = 14 },',
    ],
)
def test_registers_of_one_value_or_of_several_that_are_read_alike(file: Path, field: str) -> None:
    file.write_text(REGISTERS % field)
    load_description(file)


@pytest.mark.parametrize("identity", ["", "  "])
def test_an_identity_that_tells_nothing(file: Path, identity: str) -> None:
    refused = _refused(file, TEXT % (identity, "power"))
    assert (refused.key, refused.file) == ("identity", f"{file}:2")
