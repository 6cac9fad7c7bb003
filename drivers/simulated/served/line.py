"""A serial line without hardware: a pseudo-terminal."""

import asyncio
import os
import tty
from asyncio import StreamReader, StreamReaderProtocol, StreamWriter
from pathlib import Path


class SerialLine:
    """A pseudo-terminal; `path` is what a client opens.

    Where it is given a `name`, that is a link to it while it is there. Raises OSError where
    something else has the name already.
    """

    def __init__(self, name: Path | None = None) -> None:
        # Our end of the client's side stays open: the line is there whether or not anybody is.
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path = Path(os.ttyname(self._slave))
        self._name = name
        self._transports: list[asyncio.BaseTransport] = []
        if name is not None:
            try:
                if name.is_symlink() and not name.exists():
                    name.unlink()  # of a stand that had no time to say goodbye
                name.symlink_to(self.path)
            except OSError:
                self._name = None
                self.close()
                raise

    @property
    def shown(self) -> str:
        """What a client opens, as a stand file would name it."""
        return str(self._name or self.path)

    async def streams(self) -> tuple[StreamReader, StreamWriter]:
        """Return what a client writes, and where it reads."""
        loop = asyncio.get_running_loop()
        reader = StreamReader()
        protocol = StreamReaderProtocol(reader)
        incoming, _ = await loop.connect_read_pipe(
            lambda: protocol, os.fdopen(self._master, "rb", 0)
        )
        outgoing, writes = await loop.connect_write_pipe(
            lambda: StreamReaderProtocol(StreamReader()), os.fdopen(os.dup(self._master), "wb", 0)
        )
        self._master = -1
        self._transports = [incoming, outgoing]
        return reader, StreamWriter(outgoing, writes, reader, loop)

    def close(self) -> None:
        """Take the line away."""
        for transport in self._transports:
            transport.close()
        for end in (self._master, self._slave):
            if end >= 0:
                os.close(end)
        self._master = self._slave = -1
        if self._name is not None:
            self._name.unlink(missing_ok=True)
            self._name = None
