"""Where an instrument is, as the stand file writes it, and which resources are one link."""

import re
from ipaddress import ip_address
from os.path import realpath
from typing import NamedTuple

# Modbus over serial line 1.02, 2.2: addresses of units. Over TCP the byte is free to a gateway.
SERIAL_UNITS = range(1, 248)
TCP_UNITS = range(256)
# Modbus over serial line 1.02, 2.5.1: what a device has to offer where nothing else is said.
BAUD = 19_200
PARITY = "E"

MODBUS_FORMS = "'modbus-tcp:HOST:PORT/UNIT' or 'modbus-rtu:DEVICE[,BAUD[,N|E|O]]/UNIT'"
TEXT_FORMS = (
    "'TCPIP::HOST::PORT::SOCKET', 'TCPIP::HOST::INSTR', 'TCPIP::HOST::hislip0::INSTR',"
    " 'ASRL/dev/ttyUSB0::INSTR[,BAUD[,N|E|O]]', 'USB::VENDOR::PRODUCT::SERIAL::INSTR' or"
    " 'GPIB::ADDRESS::INSTR'"
)

_TCP = re.compile(r"modbus-tcp:([^\s/]+):(\d{1,5})/(\d{1,3})(?:/coils)?")
_RTU = re.compile(r"modbus-rtu:([^\s,]+?)(?:,(\d{3,7})(?:,([NEO]))?)?/(\d{1,3})(?:/coils)?")
_SOCKET = re.compile(r"tcpip\d*::([^\s:]+)::(\d{1,5})::socket", re.IGNORECASE)
_SERIAL = re.compile(r"asrl([^\s:,]+)::instr(?:,\d+(?:,[NEO])?)?", re.IGNORECASE)
# VXI-11 by its device, HiSLIP by its sub-address; a port may stand behind host or sub-address.
_LAN = re.compile(r"tcpip\d*::([^\s:,]+)(?:,(\d{1,5}))?(?:::([^\s:]+))?::instr", re.IGNORECASE)
_USB = re.compile(r"usb\d*::(\w+)::(\w+)::([^\s:]+)(?:::(\d+))?::instr", re.IGNORECASE)
_GPIB = re.compile(r"gpib\d*::\d+(?:::\d+)?::instr", re.IGNORECASE)
_CLASS = re.compile(r"::(instr|socket)$", re.IGNORECASE)
# IVI-6.1 (from memory).
HISLIP_PORT = 4880


class TcpUnit(NamedTuple):
    """A unit of registers, or of coils, over Modbus TCP."""

    host: str
    port: int
    unit: int


class RtuUnit(NamedTuple):
    """A unit of registers on a serial line that it may share; `parity` is N, E or O."""

    device: str
    baud: int
    parity: str
    unit: int


class Socket(NamedTuple):
    """An instrument asked in lines of text on a TCP socket."""

    host: str
    port: int


class Serial(NamedTuple):
    """An instrument asked in lines of text on a serial line of its own."""

    device: str


def register_unit(resource: str) -> TcpUnit | RtuUnit | None:
    """Read the resource of a register unit; None where it is none on a wire."""
    if (tcp := _TCP.fullmatch(resource)) and int(tcp[2]) < 65536 and int(tcp[3]) in TCP_UNITS:
        return TcpUnit(tcp[1].strip("[]"), int(tcp[2]), int(tcp[3]))
    if (rtu := _RTU.fullmatch(resource)) and int(rtu[4]) in SERIAL_UNITS:
        return RtuUnit(rtu[1], int(rtu[2] or BAUD), rtu[3] or PARITY, int(rtu[4]))
    return None


def text_place(resource: str) -> Socket | Serial | None:
    """Read the VISA name of a socket or a serial line; None for any other."""
    if (socket := _SOCKET.fullmatch(resource)) and int(socket[2]) < 65536:
        return Socket(socket[1], int(socket[2]))
    if serial := _SERIAL.fullmatch(resource):
        return Serial(serial[1])
    return None


def visa_name(resource: str) -> str:
    """Return a resource of text as pyvisa takes it.

    Without a serial line's speed and parity, and with its class in capitals.
    """
    name = resource.partition(",")[0] if _SERIAL.fullmatch(resource) else resource
    return _CLASS.sub(lambda last: last[0].upper(), name)


def is_text(resource: str) -> bool:
    """Whether a resource is one of TEXT_FORMS, an instrument that is asked in lines of text."""
    if text_place(resource) is not None:
        return True
    return any(form.fullmatch(resource) for form in (_LAN, _USB, _GPIB))


def host_of(resource: str) -> str | None:
    """Return the host on which a resource is; None where it is on a line or a bus."""
    match register_unit(resource) or text_place(resource):
        case TcpUnit(host) | Socket(host):
            return host
        case _:
            lan = _LAN.fullmatch(resource)
            return lan[1] if lan else None


def is_here(host: str) -> bool:
    """Whether a host is this computer, by one of its addresses that lead nowhere else."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host.casefold() == "localhost"


def device_of(device: str) -> str:
    """Return the one name of a serial device that may go by several (/dev/serial/by-id/…)."""
    return realpath(device) if device.startswith("/") else device


def link_of(resource: str) -> str:
    """Return one spelling for all resources that share a link: a host's port, or a device."""
    place = register_unit(resource) or text_place(resource)
    match place:
        case TcpUnit() | Socket():
            return f"{_host(place.host)}:{place.port}"
        case RtuUnit() | Serial():
            return device_of(place.device)
        case None:
            return _link_of_instrument(resource.strip().casefold())


def _host(host: str) -> str:
    return "127.0.0.1" if host.casefold() == "localhost" else host.casefold()


def _link_of_instrument(resource: str) -> str:
    """Return one spelling of a VISA name, in small letters, of an instrument that is one link."""
    if lan := _LAN.fullmatch(resource):
        device = lan[3] or "inst0"
        if device.startswith("hislip"):
            device, _, port = device.partition(",")
            return f"{_host(lan[1])}:{port or HISLIP_PORT}/{device}"
        return f"{_host(lan[1])}:{lan[2] or 'vxi-11'}/{device}"
    if usb := _USB.fullmatch(resource):
        try:
            vendor, product = int(usb[1], 0), int(usb[2], 0)
        except ValueError:
            return resource
        return f"usb:{vendor:04x}:{product:04x}:{usb[3]}:{int(usb[4] or 0)}"
    # To VISA, GPIB:: is GPIB0::.
    return re.sub(r"^([a-z]+)::", r"\g<1>0::", resource)


def unit_of(resource: str) -> int:
    """Return which unit of its link a resource is; 0 where a link has but one."""
    place = register_unit(resource)
    return place.unit if place else 0
