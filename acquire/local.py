"""Which addresses lead to nothing real: only there may time run faster, and be scanned slowly."""

from collections.abc import Iterator
from pathlib import Path

from acquire.refusal import Refusal
from drivers.description import Stand
from drivers.resource import RtuUnit, Serial, host_of, is_here, register_unit, text_place

# A real stand is scanned at least five times a second (own choice).
SLOWEST_SCAN_S = 0.2


class NotLocal(Refusal):
    """A stand that is there, on which time passes as it does and the scan has its least pace."""


def refuse_speed(stand: Stand, speed: float) -> None:
    """Raise NotLocal where time is to run faster and an address leads to what may be real."""
    for resource in _resources(stand):
        if speed != 1.0 and not is_local(resource):
            raise NotLocal(
                f"--speed {speed:g}: {resource} may be real, expected sockets of this computer"
                " (127.0.0.1, localhost) or pseudo-terminals alone; real time only"
            )


def refuse_slow_scan(stand: Stand) -> None:
    """Raise NotLocal where an address leads to what may be real and the scan is slow."""
    if slow := slow_scan(stand):
        raise NotLocal(f"{stand.name}: {slow}")


def slow_scan(stand: Stand) -> str:
    """Return what is wrong with the scan period of a stand that may be real, or nothing."""
    real = [resource for resource in _resources(stand) if not is_local(resource)]
    if stand.scan_period_s <= SLOWEST_SCAN_S or not real:
        return ""
    return (
        f"scan_period_s = {stand.scan_period_s:g}: expected at most {SLOWEST_SCAN_S:g} s, five"
        f" scans a second, since {real[0]} may be real"
    )


def is_local(resource: str) -> bool:
    """Return whether a resource is on a host that is this computer, or a pseudo-terminal."""
    if host := host_of(resource):
        return is_here(host)
    match register_unit(resource) or text_place(resource):
        case RtuUnit(device) | Serial(device):
            return str(Path(device).resolve()).startswith("/dev/pts/")
        case _:
            return False


def _resources(stand: Stand) -> Iterator[str]:
    """Yield every resource of a stand."""
    yield stand.outputs.resource
    for regulator in stand.outputs.regulators().values():
        if regulator.source is not None:
            yield regulator.source.resource
    for instrument in stand.instrument:
        yield instrument.resource
