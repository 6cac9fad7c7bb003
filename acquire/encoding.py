"""How events and polls become what the archive stores, and the hashes that hold them together.

Hashes are over decoded values, so that they survive another way of storing them.
"""

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from itertools import chain
from struct import Struct
from typing import NamedTuple

from drivers.reading import Quality, Reading

NOTHING_BEFORE = ""


class PollRow(NamedTuple):
    """A poll as it is stored; see the schema for each part."""

    t: int
    began: int
    times: bytes | None
    value: bytes
    quality: bytes
    reason: str | None


def canonical(value: object) -> str:
    """Return `value` as JSON of which there is only one spelling; a NaN or infinity becomes words.

    Raises TypeError for what JSON can't say.
    """
    try:
        return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)
    except ValueError:
        return json.dumps(_finite(value), sort_keys=True, separators=(",", ":"), allow_nan=False)


def _finite(value: object) -> object:
    match value:
        case float() if not math.isfinite(value):
            return str(float(value))
        case dict():
            return {key: _finite(part) for key, part in value.items()}
        case list() | tuple():
            return [_finite(part) for part in value]
        case _:
            return value


def sha256(text: str) -> str:
    """Return the SHA-256 of a text in UTF-8, in hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def link(sequence: int, t: int, kind: str, facts: str, previous: str) -> str:
    """Return the hash of an event; `facts` is canonical JSON, `previous` the hash before it."""
    return sha256(f'[{sequence},{t},{json.dumps(kind)},{facts},"{previous}"]')


class PollCoder:
    """Packs and unpacks the polls of one instrument, whose channels are `channels` in order."""

    def __init__(self, channels: Sequence[str]) -> None:
        self.channels = tuple(channels)
        self._count = len(self.channels)
        self._pack = Struct(f"<{self._count}d").pack
        self._unpack = Struct(f"<{self._count}d").unpack
        self._times = Struct(f"<{2 * self._count}q")
        self._all_good = bytes(self._count)

    def pack(self, readings: tuple[Reading, ...]) -> PollRow:
        """Return a poll's readings as a row; raises ValueError where its channels are others."""
        columns = tuple(zip(*readings, strict=True))
        if not columns or columns[0] != self.channels:
            names = ", ".join(reading.channel for reading in readings)
            raise ValueError(f"a poll of {names or 'nothing'} instead of {self.channels}")
        _, t, began, values, qualities, reasons = columns
        alike = t.count(t[0]) == began.count(began[0]) == self._count
        return PollRow(
            t[0],
            began[0],
            None if alike else self._times.pack(*chain.from_iterable(zip(t, began, strict=True))),
            self._values(values),
            bytes(qualities) if any(qualities) else self._all_good,
            json.dumps(reasons) if any(reasons) else None,
        )

    def _values(self, values: tuple[float | None, ...]) -> bytes:
        if None in values:
            return self._pack(*[math.nan if v is None else v for v in values])
        return self._pack(*values)

    def unpack(self, row: PollRow) -> tuple[Reading, ...]:
        """Return the readings that were packed into `row`."""
        values = self._unpack(row.value)
        reasons = json.loads(row.reason) if row.reason else [""] * self._count
        times = self._times.unpack(row.times) if row.times else (row.t, row.began) * self._count
        return tuple(
            Reading(
                channel,
                times[2 * i],
                times[2 * i + 1],
                None if row.quality[i] == Quality.BAD else values[i],
                Quality(row.quality[i]),
                reasons[i],
            )
            for i, channel in enumerate(self.channels)
        )


class ReadingsHash:
    """SHA-256 over every poll of a run in the order recorded, and over the names they go by.

    A poll goes in as its instrument's name, its times in ns, its values as float64, the qualities
    as bytes and the reasons as JSON.
    """

    def __init__(self, instruments: Mapping[str, Sequence[str]]) -> None:
        names = [[name, list(channels)] for name, channels in instruments.items()]
        self._sha = hashlib.sha256(canonical(names).encode())

    def add(self, instrument: str, row: PollRow) -> None:
        """Take in the next poll."""
        t, began, times, value, quality, reason = row
        head = f"\n{instrument} {t} {began} {reason or ''}\n".encode()
        self._sha.update(b"".join((head, times or b"", value, quality)))

    def hexdigest(self) -> str:
        """Return the hash of all polls so far."""
        return self._sha.hexdigest()
