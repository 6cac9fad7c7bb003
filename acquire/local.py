"""Which addresses lead no further than this computer: only there may time run faster."""

import re
from pathlib import Path

from acquire.refusal import Refusal
from drivers.description import Stand

HERE = frozenset({"127.0.0.1", "::1", "localhost"})
HOST = re.compile(
    r"(?:tcpip\d*::\[?(?P<visa>.+?)\]?::(?:\d+::socket|[^:]+(?:::instr)?))$|modbus-tcp:\[?(?P<modbus>.+?)\]?:\d+/",
    re.I,
)
DEVICE = re.compile(r"(?:asrl(?P<visa>/.+?)::instr$|modbus-rtu:(?P<modbus>[^,]+),)", re.I)


class NotLocal(Refusal):
    """A stand whose time can't be made to run faster."""


def refuse_speed(stand: Stand, speed: float) -> None:
    """Raise NotLocal where time is to run faster and an address leads off this computer."""
    for resource in (stand.outputs.resource, *(i.resource for i in stand.instrument)):
        if speed != 1.0 and not is_local(resource):
            raise NotLocal(f"--speed {speed:g}: {resource} isn't on this computer; real time only")


def is_local(resource: str) -> bool:
    """Return whether a resource is a socket of this computer, or a pseudo-terminal."""
    if found := HOST.match(resource.strip()):
        return (found["visa"] or found["modbus"]).casefold() in HERE
    if found := DEVICE.match(resource.strip()):
        return str(Path(found["visa"] or found["modbus"]).resolve()).startswith("/dev/pts/")
    return False
