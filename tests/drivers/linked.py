"""A text link for the length of a test, and waiting for what its worker does."""

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from time import monotonic, sleep
from typing import Any

import pytest
import pyvisa

from drivers.link import InstrumentFault
from drivers.visa import VisaTextLink

# Long enough that a busy computer is never taken for silence, short enough to wait for silence.
ENOUGH_S, SOON_S = 30.0, 0.15

# Where an opening fails, pyvisa-py leaves its socket to the garbage collector.
leaves_a_socket = pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")


@contextmanager
def linked(resource: str) -> Iterator[VisaTextLink]:
    link = VisaTextLink(resource, "lv")
    link.reopen()
    try:
        yield link
    finally:
        link.close()


def not_opened(resource: str, fault: type[InstrumentFault], words: str) -> None:
    """Make sure that a link is not opened, and why.

    The test that calls this is marked `leaves_a_socket`.
    """
    link = VisaTextLink(resource, "lv")
    with pytest.raises(fault, match=words):
        link.reopen()
    link.close()
    gc.collect()


def eventually(true: Callable[[], bool]) -> bool:
    """Return whether something comes true, which it has plenty of time for."""
    deadline = monotonic() + ENOUGH_S
    while not true() and monotonic() < deadline:
        sleep(0.005)
    return true()


def sessions_of_the_library() -> int:
    """Return how many sessions pyvisa-py holds, the manager's own among them."""
    library: Any = pyvisa.ResourceManager("@py").visalib
    return len(library.sessions)
