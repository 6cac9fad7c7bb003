"""An instrument on VXI-11 over loopback: the core channel and its port mapper, from their texts.

VXI-11 revision 1.0, annex B (procedures, flags, error codes), over ONC RPC version 2 (RFC 5531) and
XDR (RFC 4506); the port mapper is RFC 1833's. All from memory. It shares no line with the client.
"""

import socket
import struct
from collections.abc import Callable
from threading import Condition

from tests.drivers.listening import Listening, exactly

PORT_MAPPER, CORE = 100_000, 0x0607AF
GET_PORT = 3
CREATE_LINK, DEVICE_WRITE, DEVICE_READ, DEVICE_CLEAR, DESTROY_LINK = 10, 11, 12, 15, 23
NO_SUCH_LINK, NO_SUPPORT, LOCKED, IO_TIMEOUT, IO_ERROR = 4, 8, 11, 15, 17
REQCNT, END = 1, 4

# What a procedure does instead of what it should; what it returns is the reply's body, if any.
Instead = Callable[[socket.socket, bytes], bytes | None]


class Vxi11Instrument(Listening):
    """Its answers wait in one output queue, whatever link they were asked on, until it is cleared.

    `answer` returns what a message is answered with, if anything. `instead` of a procedure
    something else is done. `most` bytes come in one read; `marks_end` says whether END is marked.
    """

    def __init__(self, answer: Callable[[bytes], bytes]) -> None:
        self.answer = answer
        self.instead: dict[int, Instead] = {}
        self.called: list[int] = []
        self.links: set[int] = set()
        self.most = 1 << 20
        self.marks_end = True
        self._output = b""
        self._has_come = Condition()
        super().__init__()

    @property
    def resource(self) -> str:
        return f"TCPIP::127.0.0.1,{self.port}::inst0::INSTR"

    def put(self, answer: bytes) -> None:
        """Put an answer into the output queue."""
        with self._has_come:
            self._output += answer
            self._has_come.notify_all()

    def serve(self, connection: socket.socket) -> None:
        while True:
            (mark,) = struct.unpack(">I", exactly(connection, 4))
            record = exactly(connection, mark & 0x7FFFFFFF)
            xid, _call, _rpc, program, _version, procedure = struct.unpack(">6I", record[:24])
            # Two credentials without a body stand before the arguments.
            body = self._called(connection, program, procedure, record[40:])
            if body is not None:
                send_reply(connection, xid, body)

    def _called(
        self, connection: socket.socket, program: int, procedure: int, args: bytes
    ) -> bytes | None:
        self.called.append(procedure)
        if procedure in self.instead:
            return self.instead[procedure](connection, args)
        if program == PORT_MAPPER:
            assert struct.unpack(">4I", args) == (CORE, 1, socket.IPPROTO_TCP, 0)
            return struct.pack(">I", self.port)
        return {
            CREATE_LINK: self._create_link,
            DEVICE_WRITE: self._write,
            DEVICE_READ: self._read,
            DEVICE_CLEAR: self._clear,
            DESTROY_LINK: self._destroy_link,
        }[procedure](args)

    def _create_link(self, args: bytes) -> bytes:
        link = 100 + self.called.count(CREATE_LINK)
        self.links.add(link)
        _client, _lock, _lock_timeout, length = struct.unpack(">IIII", args[:16])
        assert args[16 : 16 + length] == b"inst0"
        # No error, the link, no abort channel, the 1024 bytes that a device takes at least.
        return struct.pack(">IIII", 0, link, 0, 1024)

    def _write(self, args: bytes) -> bytes:
        link, _io_timeout, _lock_timeout, flags, length = struct.unpack(">IIIII", args[:20])
        message = args[20 : 20 + length]
        assert link in self.links
        assert flags & 8, "every message ends with END"
        self.asked.append(message)
        self.put(self.answer(message))
        return struct.pack(">II", 0, length)

    def _read(self, args: bytes) -> bytes:
        link, count, timeout_ms, _lock_timeout, _flags, _char = struct.unpack(">6I", args)
        assert link in self.links
        with self._has_come:
            if not self._has_come.wait_for(lambda: self._output, timeout_ms / 1000):
                return read_reply(IO_TIMEOUT, 0, b"")
            count = min(count, self.most)
            part, self._output = self._output[:count], self._output[count:]
            end = END if self.marks_end and not self._output else 0
        return read_reply(0, end | (REQCNT if len(part) == count else 0), part)

    def _clear(self, _args: bytes) -> bytes:
        with self._has_come:
            self._output = b""
        return struct.pack(">I", 0)

    def _destroy_link(self, args: bytes) -> bytes:
        (link,) = struct.unpack(">I", args)
        if link not in self.links:
            return struct.pack(">I", NO_SUCH_LINK)
        self.links.remove(link)
        return struct.pack(">I", 0)


def send_reply(connection: socket.socket, xid: int, body: bytes) -> None:
    """Send one reply of one fragment: accepted, no verifier, successful."""
    record = struct.pack(">6I", xid, 1, 0, 0, 0, 0) + body
    connection.sendall(struct.pack(">I", 0x80000000 | len(record)) + record)


def read_reply(error: int, reason: int, data: bytes) -> bytes:
    """Return the body of a reply to device_read."""
    padding = b"\0" * (-len(data) % 4)
    return struct.pack(">III", error, reason, len(data)) + data + padding
