"""Which addresses lead no further than this computer: only there may time run faster."""

from pathlib import Path

from acquire.refusal import Refusal
from drivers.description import Stand
from drivers.resource import RtuUnit, Serial, Socket, TcpUnit, register_unit, text_place

HERE = frozenset({"127.0.0.1", "localhost"})


class NotLocal(Refusal):
    """A stand whose time can't be made to run faster."""


def refuse_speed(stand: Stand, speed: float) -> None:
    """Raise NotLocal where time is to run faster and an address leads off this computer."""
    for resource in (stand.outputs.resource, *(i.resource for i in stand.instrument)):
        if speed != 1.0 and not is_local(resource):
            raise NotLocal(f"--speed {speed:g}: {resource} isn't on this computer; real time only")


def is_local(resource: str) -> bool:
    """Return whether a resource is a socket of this computer, or a pseudo-terminal."""
    match register_unit(resource) or text_place(resource):
        case TcpUnit(host) | Socket(host):
            return host.casefold() in HERE
        case RtuUnit(device) | Serial(device):
            return str(Path(device).resolve()).startswith("/dev/pts/")
        case None:
            return False
