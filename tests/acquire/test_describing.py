"""`twinload describe`: a description checked, and asked of an instrument."""

import json
from collections.abc import Mapping
from pathlib import Path

import pytest

from acquire import describing
from acquire.configuration import ConfigurationError
from acquire.describing import described
from drivers.link import Block, NoAnswer

TEXT = """
kind = "text"
identity = "METER"
[[query]]
ask = "MEAS?"
fields = ["voltage", "current"]
"""
REGISTERS = """
kind = "registers"
identity = { address = 0, registers = [21328] }
value = [{ field = "guard", address = 1 }, { field = "level", address = 9, scale = 0.1 }]
"""


class Lines:
    """A text instrument with answers by question; what is not among them is not answered."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self.answers = answers
        self.closed = False

    def query(self, message: str, timeout_s: float) -> str:
        if message not in self.answers:
            raise NoAnswer("x", message, f"no answer within {timeout_s:g} s")
        return self.answers[message]

    def reopen(self) -> None: ...

    def close(self) -> None:
        self.closed = True


class Registers:
    """A unit whose register at an address is what a test gives it."""

    def __init__(self, registers: Mapping[int, int]) -> None:
        self.registers = registers

    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        assert timeout_s > 0
        return tuple(self.registers[block.address + i] for i in range(block.count))

    def reopen(self) -> None: ...

    def close(self) -> None: ...


@pytest.fixture(name="file")
def _file(tmp_path: Path) -> Path:
    return tmp_path / "meter.toml"


def asked(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    file: Path,
    link: Lines | Registers,
) -> tuple[int, list[dict[str, object]]]:
    kind = "text_link" if isinstance(link, Lines) else "register_link"
    monkeypatch.setattr(describing, kind, lambda _resource, _name: link)
    code = described(file, "somewhere", True)
    return code, json.loads(capsys.readouterr().out)["exchanges"]


def test_each_answer_is_shown_raw_and_as_it_is_read(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], file: Path
) -> None:
    file.write_text(TEXT)
    lines = Lines({"*IDN?": "MAKER, METER,1,2", "MEAS?": "2.305E+02,9.91E+37"})
    code, exchanges = asked(monkeypatch, capsys, file, lines)
    assert code == 0
    assert exchanges[1]["raw"] == "2.305E+02,9.91E+37"
    assert exchanges[1]["values"] == {"voltage": 230.5, "current": None}
    assert lines.closed


@pytest.mark.parametrize(
    ("answers", "wrong"),
    [
        ({"*IDN?": "MAKER,OTHER,1,2", "MEAS?": "1,2"}, "doesn't name 'METER'"),
        ({"*IDN?": "MAKER,METER,1,2", "MEAS?": "1"}, "1 values where 2 belong"),
        ({"*IDN?": "MAKER,METER,1,2", "MEAS?": "one,two"}, "not a list of numbers"),
        ({"*IDN?": "MAKER,METER,1,2"}, "no answer within"),
        ({}, "no answer within"),
    ],
)
def test_what_is_no_answer_to_the_description_is_said(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    file: Path,
    answers: dict[str, str],
    wrong: str,
) -> None:
    file.write_text(TEXT)
    code, exchanges = asked(monkeypatch, capsys, file, Lines(answers))
    assert code == 4
    assert any(wrong in str(e["wrong"]) for e in exchanges)


@pytest.mark.parametrize(("identity", "code"), [(21328, 0), (21329, 4)])
def test_registers_are_shown_raw_and_as_values_and_prove_the_unit(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    file: Path,
    identity: int,
    code: int,
) -> None:
    file.write_text(REGISTERS)
    unit = Registers({0: identity, 1: 1, 9: 215})
    got, exchanges = asked(monkeypatch, capsys, file, unit)
    assert got == code
    assert exchanges[0]["raw"] == f"{identity:04x} 0001"
    assert exchanges[-1]["values"] == {"guard": 1.0, "level": 21.5}


@pytest.mark.parametrize("text", [TEXT, REGISTERS])
def test_without_an_instrument_it_says_what_would_be_asked(
    capsys: pytest.CaptureFixture[str], file: Path, text: str
) -> None:
    file.write_text(text)
    assert described(file, "", False) == 0
    told = capsys.readouterr().out
    assert ("MEAS?" in told) if text == TEXT else ("registers 0 to 1" in told)


def test_a_wrong_description_is_refused_in_a_line(file: Path) -> None:
    file.write_text(TEXT.replace("fields", "field"))
    with pytest.raises(ConfigurationError, match="fields"):
        described(file, "", False)
