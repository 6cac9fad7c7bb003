"""Text over USB: pyusb and pyvisa-py above an instrument in place of libusb and the bus."""

import subprocess
import sys
from collections.abc import Iterator
from threading import Event

import pytest

from drivers import connection, usbtmc, visa
from drivers.link import (
    LONGEST_ANSWER,
    BadAnswer,
    ConnectionLost,
    InstrumentFault,
    NoAnswer,
)
from drivers.visa import VisaTextLink
from tests.drivers.linked import (
    ENOUGH_S,
    SOON_S,
    eventually,
    linked,
    not_opened,
    sessions_of_the_library,
)
from tests.drivers.usbtmc_instrument import (
    CHECK_CLEAR,
    GET_CAPABILITIES,
    INITIATE_CLEAR,
    PACKET,
    PRODUCT,
    RESOURCE,
    SERIAL,
    VENDOR,
    UsbtmcInstrument,
    plug_in,
)

pytestmark = pytest.mark.usefixtures("no_back_off")


def _answer(message: bytes) -> bytes:
    return {b"*IDN?\n": b"INVENTED,ANALYSER,1,0\n", b"CURR?\n": b"5\n"}.get(message, b"")


@pytest.fixture(name="instrument")
def _instrument(monkeypatch: pytest.MonkeyPatch) -> Iterator[UsbtmcInstrument]:
    instrument = UsbtmcInstrument(_answer)
    plug_in(instrument, monkeypatch)
    yield instrument
    assert eventually(lambda: instrument.open_handles == 0), "not closed"


def test_a_question_has_its_answer(instrument: UsbtmcInstrument) -> None:
    """One message there, one back without its terminator; a command has none."""
    with linked(RESOURCE) as link:
        assert link.query("*IDN?", ENOUGH_S) == "INVENTED,ANALYSER,1,0"
        link.write("INIT", ENOUGH_S)
        assert link.query("CURR?", ENOUGH_S) == "5"
    assert instrument.asked == [b"*IDN?\n", b"INIT\n", b"CURR?\n"]


@pytest.mark.parametrize(
    "resource",
    [
        f"USB0::{VENDOR}::{PRODUCT}::{SERIAL}::INSTR",
        f"usb::{VENDOR:#x}::{PRODUCT:#X}::{SERIAL.lower()}::0::instr",
    ],
)
@pytest.mark.usefixtures("instrument")
def test_a_name_is_written_in_more_than_one_way(resource: str) -> None:
    """Board, numbers in decimal, small letters, the interface's number."""
    with linked(resource) as link:
        assert link.query("CURR?", ENOUGH_S) == "5"


def test_a_question_longer_than_a_packet_is_one_question(instrument: UsbtmcInstrument) -> None:
    """Sent in parts of which the last is marked."""
    with linked(RESOURCE) as link:
        link.write("X" * 1000, ENOUGH_S)
        assert instrument.asked == [b"X" * 1000 + b"\n"]


@pytest.mark.parametrize("most", [7, PACKET, 1 << 20])
@pytest.mark.parametrize("length", [1, PACKET - 12, PACKET - 11, PACKET, LONGEST_ANSWER])
def test_an_answer_is_whole_however_it_is_cut(
    instrument: UsbtmcInstrument, length: int, most: int
) -> None:
    """Transfers that fill a packet with their 12 bytes of header, or a multiple of it."""
    instrument.answer = lambda _: b"1" * length
    instrument.most = most
    with linked(RESOURCE) as link:
        assert link.query("FETC?", ENOUGH_S) == "1" * length


@pytest.mark.parametrize(
    ("answer", "kept_back", "timeout_s", "fault"),
    [
        (b"", 0, SOON_S, NoAnswer),
        (b"400,0\n", 4, SOON_S, NoAnswer),
        (b"1," * LONGEST_ANSWER, 0, ENOUGH_S, BadAnswer),
        (b"\n", 0, ENOUGH_S, BadAnswer),
    ],
    ids=["silent", "cut short", "over-long", "empty"],
)
def test_after_a_fault_the_link_is_closed_and_comes_back(
    instrument: UsbtmcInstrument,
    answer: bytes,
    kept_back: int,
    timeout_s: float,
    fault: type[InstrumentFault],
) -> None:
    """Each by its name; what the instrument had not yet said is cleared."""
    with linked(RESOURCE) as link:
        instrument.answer, instrument.truncated = (lambda _: answer), kept_back
        with pytest.raises(fault):
            link.query("FETC?", timeout_s)
        with pytest.raises(ConnectionLost, match="not open"):
            link.query("CURR?", ENOUGH_S)
        instrument.answer, instrument.truncated = _answer, 0
        link.reopen()
        assert link.query("CURR?", ENOUGH_S) == "5"
        assert link.abandoned == 0


def test_a_late_answer_is_never_the_next_answer(instrument: UsbtmcInstrument) -> None:
    """It waits in the instrument, since closing a session empties nothing there."""
    with linked(RESOURCE) as link:
        with pytest.raises(NoAnswer):
            link.query("VOLT?", SOON_S)
        instrument.put(b"230\n")
        link.reopen()
        assert link.query("CURR?", ENOUGH_S) == "5"


def test_an_instrument_that_knows_no_clear_is_opened_nevertheless(
    instrument: UsbtmcInstrument,
) -> None:
    """It stalls the request; its identity is proven by who opens it."""
    instrument.refused = {INITIATE_CLEAR}
    with linked(RESOURCE) as link:
        assert link.query("CURR?", ENOUGH_S) == "5"
    assert CHECK_CLEAR not in instrument.requests


def test_clearing_takes_its_time(instrument: UsbtmcInstrument) -> None:
    """Pending with something to read, pending, done."""
    instrument.replies[CHECK_CLEAR] = [b"\2\1", b"\2\0"]
    with linked(RESOURCE) as link:
        assert link.query("CURR?", ENOUGH_S) == "5"
    assert instrument.requests.count(CHECK_CLEAR) == 3


def test_an_instrument_that_does_not_get_clear_is_lost(
    instrument: UsbtmcInstrument, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It says that it failed, or is at it for ever."""
    monkeypatch.setattr(usbtmc, "BETWEEN_CHECKS_S", 0.0)
    instrument.replies[INITIATE_CLEAR] = [b"\x80"]
    not_opened(RESOURCE, ConnectionLost, "status 0x80")
    instrument.replies[CHECK_CLEAR] = [b"\2\0"] * usbtmc.MOST_CHECKS
    not_opened(RESOURCE, ConnectionLost, "still not clear")


def test_an_unplugged_instrument_is_lost_and_comes_back(instrument: UsbtmcInstrument) -> None:
    """By the library's own words, then as one that isn't there."""
    with linked(RESOURCE) as link:
        instrument.plugged = False
        with pytest.raises(ConnectionLost, match="No such device"):
            link.query("CURR?", ENOUGH_S)
        with pytest.raises(ConnectionLost, match="no such USB instrument"):
            link.reopen()
        instrument.plugged = True
        link.reopen()
        assert link.query("CURR?", ENOUGH_S) == "5"


def test_an_instrument_that_nobody_may_use_is_told_from_none_at_all_by_the_hint(
    instrument: UsbtmcInstrument,
) -> None:
    """Without permission its serial number can't be read, so that the library finds nothing."""
    instrument.permitted = False
    not_opened(RESOURCE, ConnectionLost, "no permission")


def test_what_was_half_opened_is_let_go(instrument: UsbtmcInstrument) -> None:
    """An interface that is still claimed couldn't be claimed again."""
    instrument.refused = {GET_CAPABILITIES}
    link = VisaTextLink(RESOURCE, "lv")
    for _ in range(3):
        with pytest.raises(ConnectionLost, match="Pipe error"):
            link.reopen()
        assert instrument.open_handles == 0
    link.close()


def _waited(let_go: Event) -> None:
    assert let_go.wait(ENOUGH_S)


def test_a_call_that_outlives_its_time_out_is_left_behind_and_counted(
    instrument: UsbtmcInstrument, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The computer's own USB is stuck; the link goes on without the call."""
    monkeypatch.setattr(visa, "RPC_GRACE_S", 0.1)
    monkeypatch.setattr(connection, "CLOSING_S", 0.1)
    let_go = Event()
    with linked(RESOURCE) as link:
        instrument.before_read = lambda: _waited(let_go)
        with pytest.raises(NoAnswer):
            link.query("CURR?", SOON_S)
        instrument.before_read = lambda: None
        link.reopen()
        assert link.abandoned == 1
        assert link.query("CURR?", ENOUGH_S) == "5"
        let_go.set()


def test_no_session_is_left_over(instrument: UsbtmcInstrument) -> None:
    """Neither with the instrument nor in the library."""
    with linked(RESOURCE) as link:
        before = sessions_of_the_library()
        for _ in range(5):
            with pytest.raises(NoAnswer):
                link.query("VOLT?", 0.01)
            link.reopen()
        assert instrument.open_handles == 1
        assert sessions_of_the_library() == before


WITHOUT_LIBUSB = """
import usb.backend.libusb0, usb.backend.libusb1, usb.backend.openusb
for backend in (usb.backend.libusb0, usb.backend.libusb1, usb.backend.openusb):
    backend.get_backend = lambda *_: None
from drivers.visa import VisaTextLink
try:
    VisaTextLink("USB::0x1234::0x5678::X::INSTR", "lv").reopen()
except Exception as error:
    print(error)
"""


def test_a_computer_without_libusb_is_told_so_in_a_line() -> None:
    """A process of its own: pyvisa-py looks for it once, when it is imported."""
    told = subprocess.run(
        [sys.executable, "-c", WITHOUT_LIBUSB], capture_output=True, text=True, check=True
    )
    assert told.stdout.count("\n") == 1
    assert "lv: asked 'open'" in told.stdout
    assert "libusb-1.0-0" in told.stdout
    assert told.stderr == ""
