"""Whether a stand may be left alone: only where its file declares what that takes."""

from collections.abc import Iterator

from acquire.refusal import Refusal
from drivers.description import Stand, Unattended

# What has to be declared in words, and what it is.
DECLARED = {
    "over_current": "hardware over-current, wired to the coils",
    "over_temperature": "hardware over-temperature, wired to the coils",
    "protection_contacts": "the units' protection contacts",
    "fire_detection": "fire detection",
    "person_reachable": "a person reachable",
}


class MayNotBeLeft(Refusal):
    """A stand that may not be left alone: what its file would have to declare."""


def refuse_to_leave(stand: Stand) -> None:
    """Raise MayNotBeLeft unless the stand file declares all that running unattended takes."""
    missing = list(undeclared(stand))
    if missing:
        raise MayNotBeLeft(
            f"{stand.name}: may not be left alone; [unattended] of its stand.toml lacks"
            f" {'; '.join(missing)}"
        )


def undeclared(stand: Stand) -> Iterator[str]:
    """Yield what is missing, each by its key and in words."""
    found = stand.unattended or Unattended()
    for key, words in DECLARED.items():
        if not getattr(found, key).strip():
            yield f"{key}, {words}"
    for unit in "ab":
        key = f"temperatures_{unit}"
        if not _independent(stand, unit, getattr(found, key)):
            yield f"{key}, two channels of {unit.upper()} in °C, each read by another instrument"


def _independent(stand: Stand, unit: str, names: tuple[str, ...]) -> bool:
    read_by = {c.name: i.name for i in stand.instrument for c in i.channel if c.unit == "°C"}
    of_unit = [name for name in names if name in read_by and name.startswith(f"{unit}.")]
    return len({read_by[name] for name in of_unit}) >= 2
