"""A unit on TCP that answers with an exception has answered: its link stays open."""

import pytest

from drivers.description import Channel, Instrument, SunSpecDescription, SunSpecValue
from drivers.instrument import RegisterInstrument
from drivers.link import Block, ConnectionLost, NoAnswer, Refused
from drivers.modbus import modbus_link
from drivers.sunspec import MARKER
from tests.drivers.canned import CannedClock
from tests.drivers.units import crafted, mbap, served_unit

# Long enough that a busy computer is never taken for silence.
ENOUGH_S = 30.0
ILLEGAL_ADDRESS, GATEWAY_NO_RESPONSE = 2, 11


def test_a_refused_read_leaves_the_link_open() -> None:
    with served_unit() as unit:
        link = modbus_link(unit.resource, "unit")
        link.reopen()
        with pytest.raises(Refused, match="asked 'holding registers 500 to 501', Modbus exc"):
            link.read(Block(500, 2), ENOUGH_S)
        assert link.read(Block(7, 2), ENOUGH_S) == (7, 8)
        link.close()


def test_a_refused_write_leaves_the_link_open() -> None:
    """Reads never open a link, so that one that answers shows that it was open."""
    with served_unit() as unit:
        link = modbus_link(unit.resource, "unit")
        with pytest.raises(Refused):
            link.write(500, (1,), ENOUGH_S)
        assert link.read(Block(7, 1), ENOUGH_S) == (7,)
        link.close()


def test_a_gateways_word_of_silence_closes_it() -> None:
    """The unit behind it may still answer, late."""
    with crafted(lambda r: mbap(r, bytes([0x83, GATEWAY_NO_RESPONSE]))) as resource:
        link = modbus_link(resource, "unit")
        link.reopen()
        with pytest.raises(NoAnswer):
            link.read(Block(0, 1), ENOUGH_S)
        with pytest.raises(ConnectionLost, match="not open"):
            link.read(Block(0, 1), ENOUGH_S)
        link.close()


def _meter(map_of: dict[int, int], request: bytes) -> bytes:
    address, count = (int.from_bytes(request[i : i + 2], "big") for i in (8, 10))
    if any(a not in map_of for a in range(address, address + count)):
        return mbap(request, bytes([0x83, ILLEGAL_ADDRESS]))
    words = b"".join(map_of[a].to_bytes(2, "big") for a in range(address, address + count))
    return mbap(request, bytes([3, 2 * count]) + words)


def test_a_sunspec_map_is_found_at_the_last_of_its_places() -> None:
    """The unit refuses the first two, and has no model that says who it is."""
    words = [*MARKER, 203, 105, *[0] * 105, 0xFFFF, 0]
    image = dict(enumerate(words, 50000)) | {50000 + 2 + 16: 4998, 50000 + 2 + 17: 0xFFFE}
    description = SunSpecDescription("sunspec", (203,), (SunSpecValue("frequency", "Hz"),))
    channel = Channel("frequency", "frequency", "Hz", 5.0)
    with crafted(lambda request: _meter(image, request)) as resource:
        meter = Instrument("meter", "sunspec", resource, 1.0, ENOUGH_S, (channel,))
        link = modbus_link(resource, "meter")
        instrument = RegisterInstrument(meter, description, link, CannedClock())
        (reading,) = instrument.poll()
        assert instrument.fault is None
        assert reading.value == 49.98
        assert instrument.identity() == "00cb 0069"
        link.close()
