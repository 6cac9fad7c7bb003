"""A USB instrument's buffers, emptied: what it had not yet said on an earlier link is gone.

USB Test and Measurement Class 1.0, 4.2.1.6 and 4.2.1.7 (from memory). pyvisa-py has no clear for
USB, and closing a session empties nothing in the instrument.
"""

from errno import EPIPE
from time import sleep
from typing import Any

# A class request to the interface that answers (USB 2.0, 9.3, from memory).
CLASS_REQUEST = 0xA1
INITIATE_CLEAR, CHECK_CLEAR_STATUS = 5, 6
SUCCESS, PENDING = 1, 2
MOST_CHECKS = 20
BETWEEN_CHECKS_S = 0.05


def clear(interface: Any) -> None:
    """Clear the instrument behind an interface of pyvisa-py, where it knows how to.

    Raises OSError where the instrument doesn't get clear, or its wire fails.
    """
    device, number = interface.usb_dev, interface.usb_intf.bInterfaceNumber
    try:
        (status,) = device.ctrl_transfer(CLASS_REQUEST, INITIATE_CLEAR, 0, number, 1)
    except OSError as error:
        # A stall is how a device says that it knows no such request (USB 2.0, 9.2.7).
        if error.errno == EPIPE:
            return
        raise
    if status != SUCCESS:
        raise OSError(f"USBTMC status {status:#04x} when cleared")
    for _ in range(MOST_CHECKS):
        status, more = device.ctrl_transfer(CLASS_REQUEST, CHECK_CLEAR_STATUS, 0, number, 2)
        if status != PENDING:
            interface.usb_send_ep.clear_halt()
            return
        if more & 1:
            interface.usb_recv_ep.read(interface.usb_recv_ep.wMaxPacketSize)
        sleep(BETWEEN_CHECKS_S)
    raise OSError("still not clear")
