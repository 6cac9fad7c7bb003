"""A unit of registers that proves who it is whenever its link is opened."""

from drivers.link import BadAnswer, Block, ConnectionLost, RegisterLink
from drivers.wiring import RegisterIdentity


class IdentifiedUnit:
    """The link to a unit, open only once its identity registers are those of its file."""

    def __init__(
        self, link: RegisterLink, name: str, identity: RegisterIdentity, timeout_s: float
    ) -> None:
        self._link = link
        self._name = name
        self._identity = identity
        self._timeout_s = timeout_s
        self._proven = False

    def read(self, block: Block, timeout_s: float) -> tuple[int, ...]:
        """Return the block's registers. Raises InstrumentFault, also before the unit is proven."""
        self._refuse_unproven(f"read {block}")
        return self._link.read(block, timeout_s)

    def write(self, address: int, values: tuple[int, ...], timeout_s: float) -> None:
        """Write adjacent registers from `address` on.

        Raises InstrumentFault, also before the unit is proven.
        """
        self._refuse_unproven(f"write {values} at {address}")
        self._link.write(address, values, timeout_s)

    def reopen(self) -> None:
        """Close and open the link and make sure who answers. Raises InstrumentFault."""
        self._proven = False
        self._link.reopen()
        due = self._identity
        block = Block(due.address, len(due.registers), due.table)
        found = self._link.read(block, self._timeout_s)
        if found != due.registers:
            shown = ", ".join(f"{register:#06x}" for register in found)
            raise BadAnswer(self._name, "identity", f"registers {shown}: another unit")
        self._proven = True

    def _refuse_unproven(self, asked: str) -> None:
        if not self._proven:
            raise ConnectionLost(self._name, asked, "who answers there isn't proven")

    def close(self) -> None:
        """Close the link for good."""
        self._link.close()
