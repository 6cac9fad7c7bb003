"""What an archive gives back: runs and their events."""

from dataclasses import dataclass
from typing import Any, NamedTuple


class Event(NamedTuple):
    """One link of a run's chain: what happened at stand time `t` (ns)."""

    sequence: int
    t: int
    kind: str
    facts: dict[str, Any]
    previous: str
    hash: str


@dataclass(frozen=True, slots=True)
class Run:
    """A run's row. `end` is None while it runs, `last_t` the stand time of its last commit, ns."""

    run: int
    procedure: str
    schedule: str
    continues: int | None
    seed: int | None
    state: str
    end: str | None
    verdict: str | None
    result: dict[str, Any] | None
    header: dict[str, Any]
    last_t: int
    readings_sha256: str | None


@dataclass(frozen=True, slots=True)
class Verification:
    """Whether a run's record is whole: what is wrong with it, and the hashes as found."""

    faults: tuple[str, ...]
    events: int
    polls: int
    events_sha256: str
    readings_sha256: str

    @property
    def whole(self) -> bool:
        """Nothing was found wrong."""
        return not self.faults
