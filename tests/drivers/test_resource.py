"""Where instruments are: what a resource means, and which share a link."""

from pathlib import Path

import pytest

from drivers.resource import (
    RtuUnit,
    Serial,
    Socket,
    TcpUnit,
    is_text,
    link_of,
    register_unit,
    text_place,
    unit_of,
    visa_name,
)


@pytest.mark.parametrize(
    ("resource", "unit"),
    [
        ("modbus-tcp:10.0.0.7:502/3", TcpUnit("10.0.0.7", 502, 3)),
        ("modbus-tcp:meter.lab:1502/255", TcpUnit("meter.lab", 1502, 255)),
        ("modbus-tcp:h:502/1/coils", TcpUnit("h", 502, 1)),
        ("modbus-tcp:[::1]:502/1", TcpUnit("::1", 502, 1)),
        ("modbus-rtu:/dev/ttyUSB0/7", RtuUnit("/dev/ttyUSB0", 19200, "E", 7)),
        ("modbus-rtu:/dev/ttyUSB0,9600/7", RtuUnit("/dev/ttyUSB0", 9600, "E", 7)),
        ("modbus-rtu:COM3,9600,N/247", RtuUnit("COM3", 9600, "N", 247)),
        ("modbus-tcp:h:502", None),
        ("modbus-tcp:h:70000/1", None),
        ("modbus-tcp:h:502/256", None),
        ("modbus-tcp:h /x:502/1", None),
        ("modbus-rtu:/dev/x/0", None),
        ("modbus-rtu:/dev/x,9600,X/1", None),
        ("registers:contacts", None),
        ("TCPIP::h::5025::SOCKET", None),
    ],
)
def test_register_units(resource: str, unit: TcpUnit | RtuUnit | None) -> None:
    """Host, port and unit, or device, speed, parity and unit; anything else is none."""
    assert register_unit(resource) == unit


@pytest.mark.parametrize(
    ("resource", "place"),
    [
        ("TCPIP::h::5025::SOCKET", Socket("h", 5025)),
        ("tcpip0::h::5025::socket", Socket("h", 5025)),
        ("ASRL/dev/ttyS1::INSTR", Serial("/dev/ttyS1")),
        ("ASRL/dev/ttyS1::INSTR,9600", Serial("/dev/ttyS1")),
        ("ASRL/dev/ttyS1::INSTR,19200,E", Serial("/dev/ttyS1")),
        ("TCPIP::h::inst0::INSTR", None),
        ("TCPIP::h::hislip0::INSTR", None),
        ("TCPIP::h::99999::SOCKET", None),
        ("modbus-tcp:h:502/1", None),
    ],
)
def test_places_of_text(resource: str, place: Socket | Serial | None) -> None:
    """Sockets and serial lines are told from what else VISA names."""
    assert text_place(resource) == place


@pytest.mark.parametrize(
    ("one", "same"),
    [
        ("TCPIP::H::502::SOCKET", "modbus-tcp:h:502/9"),
        ("modbus-rtu:/dev/x,9600/1", "modbus-rtu:/dev/x/2"),
        ("modbus-rtu:/dev/x/1", "ASRL/dev/x::INSTR,9600,N"),
        ("TCPIP::h::INSTR", "tcpip0::H::inst0::instr"),
        ("TCPIP::h,1024::INSTR", "TCPIP0::h,1024::inst0::INSTR"),
        ("TCPIP::h::hislip0::INSTR", "TCPIP::h::HiSLIP0,4880::INSTR"),
        ("USB::1::2::3::INSTR", "usb0::1::2::3::instr"),
        ("USB::0x1234::0xABCD::X::INSTR", "USB0::4660::43981::x::0::INSTR"),
        ("GPIB::5::INSTR", "GPIB0::5::INSTR"),
        ("modbus-tcp:localhost:502/1", "modbus-tcp:127.0.0.1:502/1"),
        ("TCPIP::LOCALHOST::INSTR", "TCPIP::127.0.0.1::INSTR"),
        ("TCPIP::localhost::hislip0::INSTR", "TCPIP::127.0.0.1::hislip0::INSTR"),
    ],
)
def test_one_link_whatever_it_is_called(one: str, same: str) -> None:
    """A port is one link to all protocols, a serial line one to all its units."""
    assert link_of(one) == link_of(same)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("modbus-tcp:h:502/1", "modbus-tcp:h:503/1"),
        ("registers:a", "registers:b"),
        ("TCPIP::h::INSTR", "TCPIP::g::INSTR"),
        ("TCPIP::h::gpib0,5::INSTR", "TCPIP::h::gpib0,6::INSTR"),
        ("TCPIP::h,1024::INSTR", "TCPIP::h,1025::INSTR"),
        ("TCPIP::h::hislip0,4881::INSTR", "TCPIP::h::hislip0::INSTR"),
        ("USB::1::2::3::INSTR", "USB::1::2::4::INSTR"),
        ("USB::x::2::3::INSTR", "USB::y::2::3::INSTR"),
        ("modbus-tcp:127.0.0.1:502/1", "modbus-tcp:127.0.0.2:502/1"),
    ],
)
def test_links_of_their_own(one: str, other: str) -> None:
    """What differs in host, port, device, product or serial number."""
    assert link_of(one) != link_of(other)


def test_a_device_is_one_by_all_its_names(tmp_path: Path) -> None:
    """As /dev/serial/by-id/… leads to /dev/ttyUSB0."""
    device, by_id = tmp_path / "ttyUSB0", tmp_path / "by-id"
    device.touch()
    by_id.symlink_to(device)
    assert link_of(f"modbus-rtu:{by_id}/1") == link_of(f"ASRL{device}::INSTR,9600,N")
    assert link_of("modbus-rtu:COM3/1") == link_of("ASRLCOM3::INSTR") == "COM3"


@pytest.mark.parametrize(
    ("resource", "text"),
    [
        ("TCPIP::h::5025::SOCKET", True),
        ("TCPIP::h::INSTR", True),
        ("TCPIP::h::hislip0::INSTR", True),
        ("ASRL/dev/ttyS1::INSTR,9600,N", True),
        ("USB::0x1234::0x5678::SERIAL::INSTR", True),
        ("GPIB::5::INSTR", True),
        ("TCPIP::h::99999::SOCKET", False),
        ("TCPIP::::INSTR", False),
        ("modbus-tcp:h:502/1", False),
        ("registers:a", False),
        ("nonsense", False),
        ("", False),
    ],
)
def test_what_is_asked_in_text(resource: str, text: bool) -> None:
    """The forms that a message names, and nothing else."""
    assert is_text(resource) is text


@pytest.mark.parametrize(
    ("resource", "name"),
    [
        ("ASRL/dev/ttyS1::INSTR,9600,N", "ASRL/dev/ttyS1::INSTR"),
        ("asrl/dev/ttyS1::instr", "asrl/dev/ttyS1::INSTR"),
        ("tcpip::h::5025::socket", "tcpip::h::5025::SOCKET"),
        ("TCPIP::h,1024::INSTR", "TCPIP::h,1024::INSTR"),
    ],
)
def test_what_pyvisa_is_told(resource: str, name: str) -> None:
    """No speed of a line, which is ours to write there, and its class in capitals."""
    assert visa_name(resource) == name


def test_units_of_a_link() -> None:
    """A unit's number is its own on its link."""
    assert (unit_of("modbus-tcp:h:502/9"), unit_of("registers:a")) == (9, 0)
