"""VXI-11, HiSLIP and USB from the stand file on: `check`, `describe`, shared links.

The instruments are those of `tests/drivers`, asked by the libraries' own code.
"""

import gc
import json
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from acquire.checking import checked
from acquire.clock import WallClock
from acquire.configuration import ConfigurationError, load_stand
from acquire.describing import described
from acquire.wires import Wires
from drivers import descriptions
from drivers.description import Instrument, Stand
from drivers.link import RegisterLink, TextLink
from tests.acquire.wired import WiredStand, unhurried
from tests.drivers.hislip_instrument import DATA_END, HislipInstrument, frame
from tests.drivers.linked import eventually, leaves_a_socket
from tests.drivers.listening import listening
from tests.drivers.usbtmc_instrument import RESOURCE, UsbtmcInstrument, plug_in
from tests.drivers.vxi11_instrument import Vxi11Instrument

OF = {"lv_analyser": "::5025::", "hv_analyser": "::5026::", "series_voltmeter": "::5027::"}
ANALYSER = Path(descriptions.__file__).parent / "power_analyser.toml"
FETCHED = (230.0, 229.0, 4.5, 320.5, 50.0)


def _analyser(message: bytes) -> bytes:
    return {
        b"*IDN?\n": b"INVENTED,POWER ANALYSER,1,0\n",
        b"FETC?\n": ",".join(map(str, FETCHED)).encode() + b"\n",
    }[message]


def _voltmeter(message: bytes) -> bytes:
    return b"INVENTED,VOLTMETER,1,0\n" if message == b"*IDN?\n" else b"0.25\n"


def _on_hislip(connection: socket.socket, number: int, message: bytes) -> None:
    connection.sendall(frame(DATA_END, number, _analyser(message)))


class Instruments:
    """One of each kind, with a stand file that leads to them."""

    def __init__(self, vxi11: Vxi11Instrument, hislip: HislipInstrument, folder: Path) -> None:
        self.usb = UsbtmcInstrument(_voltmeter)
        self.vxi11 = vxi11
        self.hislip = hislip
        self.resources = dict(zip(OF, (vxi11.resource, hislip.resource, RESOURCE), strict=True))
        self.folder = folder
        self.written(self.resources)

    def written(self, resources: dict[str, str]) -> str:
        """Write the stand file with these resources; return its folder."""
        text = (unhurried().folder / "stand.toml").read_text()
        for name, resource in resources.items():
            text = text.replace(f"TCPIP::127.0.0.1{OF[name]}SOCKET", resource)
        # What is on USB may be real.
        text = text.replace("scan_period_s = 1.0", "scan_period_s = 0.2")
        (self.folder / "stand.toml").write_text(text)
        return str(self.folder)


class Connecting:
    """The instruments of text by their addresses, all else in memory."""

    def __init__(self, stand: Stand) -> None:
        self._wires = Wires(stand)
        self._wired = WiredStand(unhurried(), WallClock())

    def text(self, instrument: Instrument) -> TextLink:
        of = self._wires if instrument.name in OF else self._wired
        return of.text(instrument)

    def registers(self, instrument: Instrument) -> RegisterLink:
        return self._wired.registers(instrument)

    def outputs(self) -> RegisterLink:
        return self._wired.outputs()

    def source(self, output: str) -> TextLink:
        return self._wires.source(output)


@pytest.fixture(name="instruments")
def _instruments(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Instruments]:
    with (
        listening(Vxi11Instrument(_analyser)) as vxi11,
        listening(HislipInstrument(_on_hislip)) as hislip,
    ):
        instruments = Instruments(vxi11, hislip, tmp_path)
        plug_in(instruments.usb, monkeypatch)
        yield instruments


def test_a_stand_with_one_of_each_kind_is_checked(
    instruments: Instruments, capsys: pytest.CaptureFixture[str]
) -> None:
    assert checked(str(instruments.folder), True, Connecting) == 0
    told = json.loads(capsys.readouterr().out)
    values = {c["channel"]: c["value"] for i in told["instruments"] for c in i["channels"]}
    channels = load_stand(str(instruments.folder))[0].channels()
    for name, number in (
        ("lv.voltage.1", FETCHED[0]),
        ("hv.current.1", FETCHED[2]),
        ("series.voltage.1", 0.25),
    ):
        assert values[name] == number * channels[name].ratio
    assert [i["wrong"] for i in told["instruments"]] == [None] * len(told["instruments"])


@leaves_a_socket
def test_what_is_not_there_is_told_in_a_line_each_with_what_to_do(
    instruments: Instruments, capsys: pytest.CaptureFixture[str]
) -> None:
    instruments.vxi11.close()
    instruments.hislip.close()
    instruments.usb.plugged = False
    assert checked(str(instruments.folder), True, Connecting) == 4
    told = json.loads(capsys.readouterr().out)
    wrong = {i["instrument"]: i["wrong"] for i in told["instruments"] if i["wrong"]}
    assert wrong.keys() == OF.keys()
    assert all("\n" not in line and "asked 'open'" in line for line in wrong.values())
    assert "Connection refused" in wrong["lv_analyser"]
    assert "Connection refused" in wrong["hv_analyser"]
    assert "no such USB instrument" in wrong["series_voltmeter"]
    assert all("address" in i["to_do"] for i in told["instruments"] if i["wrong"])
    # pyvisa-py leaves the connection of a failed opening to it.
    gc.collect()


@pytest.mark.parametrize("name", ["lv_analyser", "hv_analyser"])
def test_a_description_is_asked_by_every_kind_of_name(
    instruments: Instruments, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    assert described(ANALYSER, instruments.resources[name], True) == 0
    told = json.loads(capsys.readouterr().out)["exchanges"]
    assert [e["asked"] for e in told] == ["*IDN?", "FETC?"]
    assert tuple(told[1]["values"].values()) == FETCHED


def test_a_description_is_asked_over_usb(
    instruments: Instruments, capsys: pytest.CaptureFixture[str]
) -> None:
    voltmeter = ANALYSER.with_name("voltmeter.toml")
    assert described(voltmeter, RESOURCE, False) == 0
    assert "INVENTED,VOLTMETER,1,0" in capsys.readouterr().out
    assert eventually(lambda: instruments.usb.open_handles == 0)


@pytest.mark.parametrize(
    ("one", "same"),
    [
        ("TCPIP::h::INSTR", "tcpip0::H::inst0::instr"),
        ("TCPIP::h::hislip0::INSTR", "TCPIP0::h::hislip0,4880::INSTR"),
        ("USB::0x1234::0x5678::X::INSTR", "usb0::4660::22136::x::0::instr"),
    ],
)
def test_two_instruments_at_one_address_are_refused(
    instruments: Instruments, one: str, same: str
) -> None:
    folder = instruments.written({"lv_analyser": one, "hv_analyser": same})
    with pytest.raises(ConfigurationError, match="a link of its own; lv_analyser has this one"):
        load_stand(folder)
