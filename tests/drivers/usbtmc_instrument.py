"""A USB instrument as a backend of pyusb's: one device that speaks USBTMC, and no bus beneath it.

USB Test and Measurement Class 1.0 with its USB488 subclass, and the descriptors of USB 2.0, from
memory. Everything of pyusb and pyvisa-py runs above it; of libusb nothing does.
"""

import errno
import struct
from array import array
from collections.abc import Callable, Iterator
from threading import Condition
from types import SimpleNamespace
from typing import Any

import pytest
import usb.backend
import usb.backend.libusb1
from pyvisa.constants import InterfaceType
from pyvisa_py.sessions import Session
from usb.core import USBError, USBTimeoutError

VENDOR, PRODUCT, SERIAL = 0x1234, 0x5678, "INVENTED-1"
RESOURCE = f"USB::{VENDOR:#x}::{PRODUCT:#x}::{SERIAL}::INSTR"
BULK_OUT, BULK_IN, PACKET = 0x01, 0x82, 64
MESSAGE_OUT, REQUEST_IN = 1, 2
INITIATE_ABORT_IN, CHECK_ABORT_IN, INITIATE_CLEAR, CHECK_CLEAR = 3, 4, 5, 6
GET_CAPABILITIES, REMOTE = 7, 160

# What a backend of pyusb's is handed: a device, a handle, an array to fill.
Bytes = Any


class UsbtmcInstrument(usb.backend.IBackend):  # type: ignore[misc]  # pyusb has no types
    """`answer` returns what a message is answered with; answers wait until read or cleared.

    `most` bytes come in one transfer, `truncated` bytes of it are kept back. To a request `replies`
    come first; a `refused` one is stalled.
    """

    def __init__(self, answer: Callable[[bytes], bytes]) -> None:
        self.answer = answer
        self.asked: list[bytes] = []
        self.requests: list[int] = []
        self.open_handles = 0
        self.most = 1 << 20
        self.truncated = 0
        self.plugged = True
        self.permitted = True
        self.before_read: Callable[[], None] = lambda: None
        self.refused: set[int] = set()
        self.replies: dict[int, list[bytes]] = {}
        self._message = b""
        self._output = b""
        self._short_packet = False
        self._requested: tuple[int, int] | None = None
        self._has_come = Condition()

    def put(self, answer: bytes) -> None:
        """Put an answer into the output queue."""
        with self._has_come:
            self._output += answer
            self._has_come.notify_all()

    def enumerate_devices(self) -> Iterator[str]:
        return iter(["device"] if self.plugged else [])

    def get_device_descriptor(self, _dev: Any) -> SimpleNamespace:
        return SimpleNamespace(
            bLength=18, bDescriptorType=1, bcdUSB=0x200, bDeviceClass=0, bDeviceSubClass=0,
            bDeviceProtocol=0, bMaxPacketSize0=64, idVendor=VENDOR, idProduct=PRODUCT,
            bcdDevice=0x100, iManufacturer=0, iProduct=0, iSerialNumber=3, bNumConfigurations=1,
            address=1, bus=1, port_number=1, port_numbers=(1,), speed=3,
        )  # fmt: skip

    def get_configuration_descriptor(self, _dev: Any, config: int) -> SimpleNamespace:
        if config:
            raise IndexError(config)
        return SimpleNamespace(
            bLength=9, bDescriptorType=2, wTotalLength=32, bNumInterfaces=1, iConfiguration=0,
            bConfigurationValue=1, bmAttributes=0xC0, bMaxPower=0, extra_descriptors=b"",
        )  # fmt: skip

    def get_interface_descriptor(self, _dev: Any, intf: int, alt: int, _c: int) -> SimpleNamespace:
        if intf or alt:
            raise IndexError(intf)
        return SimpleNamespace(
            bLength=9, bDescriptorType=4, bInterfaceNumber=0, bAlternateSetting=0, iInterface=0,
            bNumEndpoints=2, bInterfaceClass=0xFE, bInterfaceSubClass=3, bInterfaceProtocol=1,
            extra_descriptors=b"",
        )  # fmt: skip

    def get_endpoint_descriptor(
        self, _dev: Any, ep: int, _intf: int, _alt: int, _config: int
    ) -> SimpleNamespace:
        return SimpleNamespace(
            bLength=7, bDescriptorType=5, bEndpointAddress=(BULK_OUT, BULK_IN)[ep], bmAttributes=2,
            wMaxPacketSize=PACKET, bInterval=0, bRefresh=0, bSynchAddress=0, extra_descriptors=b"",
        )  # fmt: skip

    def open_device(self, _dev: Any) -> str:
        self._there()
        if not self.permitted:
            raise USBError("Access denied (insufficient permissions)", -3, errno.EACCES)
        self.open_handles += 1
        return "handle"

    def close_device(self, _handle: Any) -> None:
        self.open_handles -= 1

    def get_configuration(self, _handle: Any) -> int:
        self._there()
        return 1

    def claim_interface(self, _handle: Any, _intf: int) -> None:
        self._there()

    def release_interface(self, _handle: Any, _intf: int) -> None:
        self._there()

    def clear_halt(self, _handle: Any, _ep: int) -> None:
        self._there()

    def bulk_write(self, _handle: Any, ep: int, _intf: int, data: Bytes, _timeout: int) -> int:
        self._there()
        assert ep == BULK_OUT
        sent = data.tobytes()
        kind, tag, inverse = struct.unpack_from("BBB", sent)
        (size,) = struct.unpack_from("<I", sent, 4)
        assert tag == ~inverse & 0xFF
        if kind == REQUEST_IN:
            self._requested = tag, size
        else:
            assert kind == MESSAGE_OUT
            self._message += sent[12 : 12 + size]
            if sent[8] & 1:
                message, self._message = self._message, b""
                self.asked.append(message)
                self.put(self.answer(message))
        return len(sent)

    def bulk_read(self, _handle: Any, ep: int, _intf: int, buff: Bytes, timeout: int) -> int:
        assert ep == BULK_IN
        self.before_read()
        self._there()
        with self._has_come:
            if self._short_packet:
                self._short_packet = False
                return 0
            ready = lambda: self._requested and self._output  # noqa: E731 - waited for below
            if not self._has_come.wait_for(ready, timeout / 1000):
                raise USBTimeoutError("Operation timed out", -7, errno.ETIMEDOUT)
            assert self._requested is not None
            tag, size = self._requested
            self._requested = None
            size = min(size, self.most)
            part, self._output = self._output[:size], self._output[size:]
            head = struct.pack("<BBBxIBxxx", 2, tag, ~tag & 0xFF, len(part), not self._output)
        transfer = head + part + b"\0" * (-len(part) % 4)
        return _into(buff, transfer[: len(transfer) - self.truncated])

    def ctrl_transfer(
        self, _handle: Any, kind: int, request: int, value: int, _index: int, data: Bytes, _t: int
    ) -> int:
        self._there()
        if kind == 0x80:
            return _into(data, self._string(value))
        self.requests.append(request)
        if request in self.refused:
            raise USBError("Pipe error", -9, errno.EPIPE)
        if request == INITIATE_CLEAR:
            with self._has_come:
                self._output, self._message, self._requested = b"", b"", None
        if request == INITIATE_ABORT_IN:
            # What was on its way ends with a short packet, here with an empty one.
            self._requested, self._short_packet = None, True
        if replies := self.replies.get(request):
            # In a status of clearing, a bit that says that there is still something to read.
            self._short_packet = replies[0][1:] == b"\1"
            return _into(data, replies.pop(0))
        return _into(
            data,
            {
                GET_CAPABILITIES: b"\1" + bytes(13) + b"\6" + bytes(9),
                REMOTE: b"\1",
                INITIATE_ABORT_IN: bytes([1, value]),
                CHECK_ABORT_IN: b"\1" + bytes(7),
                INITIATE_CLEAR: b"\1",
                CHECK_CLEAR: b"\1\0",
            }[request],
        )

    def _string(self, value: int) -> bytes:
        """Return a string descriptor: the languages there are, or the serial number."""
        body = struct.pack("<H", 0x0409) if value == 0x0300 else SERIAL.encode("utf-16-le")
        return bytes([len(body) + 2, 3]) + body

    def _there(self) -> None:
        if not self.plugged:
            raise USBError("No such device (it may have been disconnected)", -4, errno.ENODEV)


def _into(buff: "array[int]", came: bytes) -> int:
    assert len(came) <= len(buff), "more than was asked for"
    buff[: len(came)] = array("B", came)
    return len(came)


def plug_in(instrument: UsbtmcInstrument, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let pyusb find this instrument alone, whatever libusb the computer has or has not."""
    monkeypatch.setattr(usb.backend.libusb1, "get_backend", lambda *_args: instrument)
    # pyvisa-py leaves USB out for good where it found no libusb when it was imported.
    import pyvisa_py.usb

    kind = (InterfaceType.usb, "INSTR")
    monkeypatch.setitem(Session._session_classes, kind, pyvisa_py.usb.USBInstrSession)
