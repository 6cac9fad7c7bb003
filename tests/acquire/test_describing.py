"""`twinload describe`: a description checked, and asked of an instrument."""

import json
from collections.abc import Mapping
from pathlib import Path

import pytest

from acquire import describing
from acquire.configuration import ConfigurationError
from acquire.describing import WrongAddress, described
from drivers.link import Block, NoAnswer

TEXT = """
kind = "text"
identity = "METER"
[[query]]
ask = "MEAS?"
fields = ["voltage", "current"]
"""
SET_UP = TEXT.replace(
    "[[query]]",
    """
set_up = ["CONF:VOLT:AC", "CONF:FILTER ON"]
[[query]]""",
)
SOURCE = (
    SET_UP
    + """
[drive]
set_up = ["FREQ {hertz}", "SLEW {slew}"]
level = "VOLT {volts}"
read_back = "VOLT?"
let_go = ["OUTP OFF"]
"""
)
REGISTERS = """
kind = "registers"
identity = { address = 0, registers = [21328] }
value = [{ field = "guard", address = 1 }, { field = "level", address = 9, scale = 0.1 }]
"""


class Lines:
    """A text instrument with answers by question; what is not among them is not answered."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self.answers = answers
        self.asked: list[str] = []
        self.closed = False

    def write(self, message: str, timeout_s: float) -> None:
        assert timeout_s > 0
        self.asked.append(message)

    def query(self, message: str, timeout_s: float) -> str:
        self.asked.append(message)
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
    somewhere = "TCPIP::h::5::SOCKET" if isinstance(link, Lines) else "modbus-tcp:h:502/1"
    code = described(file, somewhere, True)
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
    assert exchanges[1]["without_value"] == {"current": "no value"}
    assert lines.closed


def test_marks_for_no_value_are_shown_in_words(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], file: Path
) -> None:
    file.write_text(TEXT)
    lines = Lines({"*IDN?": "MAKER,METER,1,2", "MEAS?": "-9.9E+37,9.91E+37"})
    monkeypatch.setattr(describing, "text_link", lambda _resource, _name: lines)
    assert described(file, "TCPIP::h::5::SOCKET", False) == 0
    told = capsys.readouterr().out
    assert "voltage over range" in told
    assert "current no value" in told
    assert not {"inf", "-inf", "nan"} & set(told.split())


def test_what_sets_it_up_is_sent_before_it_is_asked(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], file: Path
) -> None:
    file.write_text(SET_UP)
    lines = Lines({"*IDN?": "M,METER,1,2", "MEAS?": "1,2", "SYST:ERR?": '0,"No error"'})
    code, exchanges = asked(monkeypatch, capsys, file, lines)
    assert code == 0
    assert lines.asked == ["*IDN?", "CONF:VOLT:AC", "CONF:FILTER ON", "SYST:ERR?", "MEAS?"]
    assert [e["asked"] for e in exchanges] == lines.asked
    assert exchanges[3]["raw"] == '0,"No error"'


def test_a_set_up_that_is_not_understood_is_said_and_nothing_is_asked(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], file: Path
) -> None:
    file.write_text(SET_UP)
    error = '-113,"Undefined header"'
    lines = Lines({"*IDN?": "M,METER,1,2", "MEAS?": "1,2", "SYST:ERR?": error})
    code, exchanges = asked(monkeypatch, capsys, file, lines)
    assert code == 4
    assert error in str(exchanges[-1]["wrong"])
    assert "MEAS?" not in lines.asked


def test_nothing_is_set_up_in_another_instrument(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], file: Path
) -> None:
    file.write_text(SET_UP)
    lines = Lines({"*IDN?": "M,OTHER,1,2", "MEAS?": "1,2", "SYST:ERR?": "0"})
    code, _ = asked(monkeypatch, capsys, file, lines)
    assert code == 4
    assert lines.asked == ["*IDN?"]


def test_all_that_would_be_sent_is_listed(capsys: pytest.CaptureFixture[str], file: Path) -> None:
    file.write_text(SOURCE)
    assert described(file, "", True) == 0
    told = {e["asked"]: e["raw"] for e in json.loads(capsys.readouterr().out)["exchanges"]}
    assert list(told)[:4] == ["*IDN?", "CONF:VOLT:AC", "CONF:FILTER ON", "SYST:ERR?"]
    for message in ("FREQ {hertz}", "SLEW {slew}", "VOLT {volts}", "VOLT?", "OUTP OFF"):
        assert told[message].startswith("drive.")


@pytest.mark.parametrize(
    ("text", "resource", "forms"),
    [
        (TEXT, "modbus-tcp:h:502/1", "TCPIP::HOST::PORT::SOCKET"),
        (TEXT, "nonsense", "TCPIP::HOST::PORT::SOCKET"),
        (TEXT, "TCPIP::h::99999::SOCKET", "TCPIP::HOST::PORT::SOCKET"),
        (REGISTERS, "TCPIP::h::5025::SOCKET", "modbus-tcp:HOST:PORT/UNIT"),
        (REGISTERS, "modbus-tcp:h:502", "modbus-tcp:HOST:PORT/UNIT"),
        (REGISTERS, "registers:contacts", "modbus-tcp:HOST:PORT/UNIT"),
    ],
)
def test_an_address_of_another_kind_or_none_is_refused_in_a_line(
    file: Path, text: str, resource: str, forms: str
) -> None:
    file.write_text(text)
    with pytest.raises(WrongAddress, match=forms) as refused:
        described(file, resource, False)
    assert resource in str(refused.value)
    assert "\n" not in str(refused.value)
    assert refused.value.exit_code == 2


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
