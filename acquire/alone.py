"""One program alone drives a stand: a second one is refused before it writes anything."""

import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path

from acquire.clock import S, WallClock
from acquire.database import Hold
from acquire.refusal import Refusal
from drivers.description import Stand
from drivers.link import Block, Refused, RegisterLink, Table
from drivers.resource import link_of

# Looks at the heartbeat within the watchdog's time: more than a program beats in it.
LOOKS = 41


class DrivenAlready(Refusal):
    """A stand that another program drives."""


@contextmanager
def alone(stand: Stand) -> Iterator[None]:
    """Keep every other program of this computer off a stand's outputs. Raises DrivenAlready."""
    link = link_of(stand.outputs.resource)
    name = f"twinload-{sha256(link.encode()).hexdigest()[:16]}.hold"
    try:
        hold = Hold(Path(tempfile.gettempdir()) / name)
    except BlockingIOError as error:
        raise DrivenAlready(
            f"{stand.name}: another program on this computer drives its outputs at {link}: end that"
            " first; nothing was begun"
        ) from error
    except (sqlite3.Error, OSError):
        # Where no lock can be had, what is left is to look at the heartbeat.
        yield
        return
    try:
        yield
    finally:
        hold.release()


def refuse_beating(link: RegisterLink, stand: Stand, clock: WallClock) -> None:
    """Look at the heartbeat for the watchdog's time. Raises DrivenAlready where it changes.

    A unit that can only be written shows nothing. Raises InstrumentFault.
    """
    outputs = stand.outputs
    table: Table = "coil" if outputs.resource.endswith("/coils") else "holding"
    beat = Block(outputs.heartbeat, 1, table)
    seen: set[tuple[int, ...]] = set()
    begun, looks_every = clock.now(), round(stand.watchdog.drop_s * S / LOOKS)
    for look in range(1, LOOKS + 1):
        try:
            seen.add(link.read(beat, outputs.timeout_s))
        except Refused:
            return
        if len(seen) > 1:
            raise DrivenAlready(
                f"{stand.name}: the heartbeat at {outputs.resource} changes although this program"
                " writes none: another program drives these outputs; nothing was begun"
            )
        clock.wait_until(begun + look * looks_every)
