"""A connection that says when its other end has closed it."""

from socket import socket
from typing import Any


class PeerSocket(socket):
    """A connected socket that raises ConnectionAbortedError where others read nothing.

    pyvisa-py takes nothing for silence on VXI-11, and for more to come on HiSLIP: it would go on
    asking, without a pause, until a time-out or for ever.
    """

    @classmethod
    def instead_of(cls, plain: socket) -> "PeerSocket":
        """Return the connection of another socket, which is empty then."""
        timeout = plain.gettimeout()
        own = cls(plain.family, plain.type, plain.proto, fileno=plain.detach())
        own.settimeout(timeout)
        return own

    def recv(self, bufsize: int, flags: int = 0, /) -> bytes:
        """Return what has come, at least a byte of it."""
        came = super().recv(bufsize, flags)
        if not came:
            raise ConnectionAbortedError("closed by the other end")
        return came

    def recv_into(self, buffer: Any, nbytes: int = 0, flags: int = 0) -> int:
        """Receive at least a byte and return how many."""
        count = super().recv_into(buffer, nbytes, flags)
        if not count:
            raise ConnectionAbortedError("closed by the other end")
        return count
