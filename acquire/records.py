"""What an archive gives back: runs and their events."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, Protocol


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


class Outcome(Protocol):
    """A run that has come to its end, as whoever ran it or read it back gives it."""

    @property
    def run(self) -> int:
        """Its number in the archive."""

    @property
    def archive(self) -> Path:
        """The archive's file."""

    @property
    def state(self) -> str:
        """Its last state."""

    @property
    def end(self) -> str | None:
        """Complete, stopped or aborted; None where it still runs."""

    @property
    def attempts(self) -> int:
        """How often it began with prepare."""

    @property
    def stage(self) -> str:
        """The last stage it came to."""

    @property
    def verdict(self) -> str | None:
        """Within or outside; None where there is none."""

    @property
    def finding(self) -> Mapping[str, str] | None:
        """What was found wrong: name, seen, check."""

    @property
    def result(self) -> Mapping[str, Any] | None:
        """What its readings were reduced to."""

    @property
    def may_be_live(self) -> bool:
        """Its end was not seen to make the stand dead."""

    @property
    def readings_sha256(self) -> str:
        """The hash of all its readings."""

    @property
    def events_sha256(self) -> str:
        """The hash of its last event."""
