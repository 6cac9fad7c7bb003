"""A unit that has to prove who it is each time its link is opened."""

import pytest

from drivers.identified import IdentifiedUnit
from drivers.link import BadAnswer, Block, ConnectionLost, NoAnswer
from drivers.wiring import RegisterIdentity
from tests.drivers.canned import CannedClock, CannedRegisters

IDENTITY = RegisterIdentity(address=100, registers=(0x4F55, 1))


def unit(registers: dict[int, int]) -> tuple[IdentifiedUnit, CannedRegisters]:
    link = CannedRegisters(CannedClock(), registers)
    return IdentifiedUnit(link, "outputs", IDENTITY, 0.5), link


def test_it_opens_once_its_registers_are_right() -> None:
    """And then reads as the link does."""
    identified, _ = unit({100: 0x4F55, 101: 1, 0: 7})
    identified.reopen()
    assert identified.read(Block(0, 1), 0.5) == (7,)


@pytest.mark.parametrize("found", [{100: 0x4F55, 101: 2}, {100: 0, 101: 0}])
def test_another_unit_is_not_believed(found: dict[int, int]) -> None:
    """Each time anew: what was right before may have been exchanged."""
    identified, link = unit({100: 0x4F55, 101: 1})
    identified.reopen()
    link.registers = found
    with pytest.raises(BadAnswer, match="another unit"):
        identified.reopen()
    for talk in (lambda: identified.read(Block(0, 1), 0.5), lambda: identified.write(0, (1,), 0.5)):
        with pytest.raises(ConnectionLost, match="isn't proven"):
            talk()


def test_one_that_does_not_say_is_not_open() -> None:
    """Silence is no identity."""
    identified, link = unit({100: 0x4F55, 101: 1})
    link.fault = NoAnswer("outputs", "read", "no answer")
    with pytest.raises(NoAnswer):
        identified.reopen()
