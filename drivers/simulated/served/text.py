"""A text instrument that is served: lines in, lines out."""

from asyncio import StreamReader, StreamWriter
from collections.abc import Callable

from drivers.link import ConnectionLost
from drivers.simulated.served.wire import ServedWire
from drivers.simulated.tampering import Tampering

END = b"\n"


class ServedText:
    """One instrument for any number of clients; `says` is its device."""

    def __init__(self, says: Callable[[str], tuple[bytes, ...]], wire: ServedWire) -> None:
        self._says = says
        self._wire = wire

    async def talk(self, reader: StreamReader, writer: StreamWriter) -> None:
        """Answer one client until it goes. Raises ConnectionLost where the instrument hangs up."""
        self._wire.opened()
        while True:
            try:
                line = await reader.readline()
            except ValueError:
                # Longer than any message: forgotten, as an instrument's input buffer would.
                continue
            if not line.endswith(END):
                return
            await self._answer(line.decode("ascii", "replace").rstrip("\r\n"), writer)

    async def talk_on_line(self, reader: StreamReader, writer: StreamWriter) -> None:
        """Answer on a serial line, which nobody can hang up."""
        while not reader.at_eof():
            try:
                await self.talk(reader, writer)
            except ConnectionLost:
                continue

    async def _answer(self, message: str, writer: StreamWriter) -> None:
        if not self._wire.hears():
            return

        def changed(tampering: Tampering, answer: str) -> str | None:
            return tampering.text(message, answer)

        for said in self._says(message):
            answer = said.removesuffix(END).decode("ascii")
            writer.write((await self._wire.carry(answer, changed)).encode("ascii") + END)
        await writer.drain()
