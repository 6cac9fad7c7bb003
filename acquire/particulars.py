"""What tells a run from another: when it was, of which pair, on which stand, and how reached."""

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from acquire.archive import Archive
from acquire.local import is_local


@dataclass(frozen=True, slots=True)
class Particulars:
    """The particulars of a run as far as its archive has them; what it hasn't is None or empty.

    `begun_utc` is what the computer's clock said, ISO 8601. `seed` is a rehearsal's, `speed` how
    many times as fast as the wall's a run over wires went. `within_computer` says that every
    address of the stand was of the computer that ran it: a served stand's are, but so may be a
    gateway's.
    """

    begun_utc: str | None
    host: str | None
    pair: str | None
    serials: tuple[str, ...]
    stand: str | None
    seed: int | None
    speed: float | None
    within_computer: bool

    @property
    def begun(self) -> str:
        """When it began, to the second."""
        if self.begun_utc is None:
            return "at an unknown time"
        return f"{self.begun_utc[:19].replace('T', ' ')} UTC"

    @property
    def units(self) -> str:
        """The pair and its serial numbers."""
        return ": ".join(
            [self.pair or "pair not known", *([", ".join(self.serials)] * bool(self.serials))]
        )

    @property
    def reached(self) -> str:
        """The stand and how it was reached. Whether it was a real one no archive can know."""
        words = [self.stand or "stand not known"]
        if self.seed is not None:
            words.append(f"rehearsed with seed {self.seed}")
        elif self.speed is None:
            words.append("not begun")
        else:
            words.append("over wires within the computer" if self.within_computer else "over wires")
            words.append("in real time" if self.speed == 1.0 else f"at speed {self.speed:g}")
        return ", ".join(words)


def particulars(archive: Archive, run: int) -> Particulars:
    """Return what an archive has of a run. Raises ArchiveError."""
    row, files = archive.run(run), archive.files(run)
    pair, stand = _tables(files.get("pair.toml", "")), _tables(files.get("stand.toml", ""))
    first = next(archive.events(run), None)
    addresses = list(_addresses(stand))
    anchors = row.header.get("anchors")
    return Particulars(
        begun_utc=anchors[0][1] if anchors else None,
        host=row.header.get("host"),
        pair=pair.get("name"),
        serials=tuple(str(pair[key]) for key in ("serial_a", "serial_b") if key in pair),
        stand=stand.get("name"),
        seed=row.seed,
        speed=None if first is None else first.facts.get("speed"),
        within_computer=bool(addresses) and all(map(is_local, addresses)),
    )


def _tables(text: str) -> dict[str, Any]:
    """Return a configuration's tables; one that was altered is the verification's to tell."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return {}


def _addresses(tables: object) -> Iterator[str]:
    """Yield every `resource` of a stand file, wherever it stands."""
    match tables:
        case dict():
            for key, value in tables.items():
                if key == "resource":
                    yield str(value)
                else:
                    yield from _addresses(value)
        case list():
            for value in tables:
                yield from _addresses(value)
