"""One scan: what is known now, and what a procedure may ask for next."""

from collections.abc import Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

from drivers.outputs import OutputState
from drivers.reading import NO_READING_YET, OVER_RANGE, Quality, Reading
from sequences.prompt import Answer, Prompt

S = 1_000_000_000

LV_VOLTAGE = "lv.voltage.1"
LV_VOLTAGE_MEAN = "lv.voltage_mean.1"
LV_CURRENT = "lv.current.1"
LV_POWER = "lv.power.1"
FREQUENCY = "frequency"
SERIES_VOLTAGE = "series.voltage.1"
HV_VOLTAGE = "hv.voltage.1"
HV_CURRENT = "hv.current.1"
HV_POWER = "hv.power.1"
GUARD = "guard"
EMERGENCY_STOP = "emergency_stop"
PROTECTION_CONTACT = "protection_contact"
WATCHDOG = "watchdog"
UPSTREAM_BREAKER = "upstream_breaker"
TOP_LIQUID_A = "a.top_liquid"
TOP_LIQUID_B = "b.top_liquid"
UNITS = ("a", "b")
# What has a winding's temperature as long as everything is in balance: the top liquid, and where
# there is none the windings themselves.
LIQUID = ("top_liquid",)
WINDINGS = ("winding_lv", "winding_hv")


class Finding(NamedTuple):
    """What was found wrong: its name, what was seen, and what to check."""

    name: str
    seen: str
    check: str


class Stop(Exception):
    """Raised by a procedure whose proof failed: the run stops, category 1, with this finding."""

    def __init__(self, name: str, seen: str, check: str) -> None:
        super().__init__(f"{name}: {seen}")
        self.finding = Finding(name, seen, check)


class Close(NamedTuple):
    """Close a contactor, a selector onto one of its positions."""

    output: str
    onto: int = 1


class Open(NamedTuple):
    """Open a contactor."""

    output: str


class Move(NamedTuple):
    """Send a regulator to an absolute position, 0 to 1 of its travel."""

    output: str
    to: float


class Ask(NamedTuple):
    """Put a prompt to the person at the stand; where it holds, the run is held until answered."""

    prompt: Prompt
    holds: bool = False


class Wait(NamedTuple):
    """Do nothing this scan; announce a stage entered, a finding that does not end the run, or
    what is to be shown of how it goes.
    """

    stage: str | None = None
    finding: Finding | None = None
    shows: Mapping[str, Any] | None = None


class WithholdHeartbeat(NamedTuple):
    """Let the hardware watchdog drop."""


Request = Close | Open | Move | Ask | Wait | WithholdHeartbeat


@dataclass(slots=True)
class Scan:
    """What one scan sees; made once, never changed afterwards.

    `image` holds the newest reading of every channel, `arrived` every reading since the last scan,
    `alive` the instant of each channel's newest reading that was not bad (over range is alive).
    `refused` says why the last request was not acted on; `intent` is the closing whose intent is
    in the archive; `last_commit` the stand time of the archive's last commit; `asked` the prompt
    that stands open with the instant at which it was put; `lost` is the fault with which an output
    didn't take a command, if ever one didn't.
    """

    number: int
    now: int
    image: Mapping[str, Reading]
    arrived: Sequence[Reading]
    alive: Mapping[str, int]
    answers: Sequence[Answer]
    outputs: Mapping[str, OutputState]
    refused: tuple[str, ...]
    intent: str | None
    last_commit: int
    asked: tuple[Prompt, int] | None
    lost: str = ""

    def value(self, channel: str) -> float | None:
        """Return the newest value of a channel, None where it is bad or missing."""
        return self.image[channel].value

    def over_range(self, channel: str) -> bool:
        """Return whether the newest reading of a channel was over its range."""
        return self.image[channel].reason == OVER_RANGE

    def was_open(self, contact: str) -> bool:
        """Return whether the newest reading of a contact, or any since the last scan, is open.

        Opened and shut between two scans, the newest is of a shut one.
        """
        readings = (self.image[contact], *(r for r in self.arrived if r.channel == contact))
        return any(r.value is not None and r.value < 0.5 for r in readings)

    def at_rest_since(self) -> int | None:
        """Return since when every contactor and regulator has been at rest; None: one is not."""
        latest = 0
        for state in self.outputs.values():
            if state.at_rest_since is None:
                return None
            latest = max(latest, state.at_rest_since)
        return latest


T = TypeVar("T")
Procedure = Generator[Request, Scan, T]


Poll = tuple[str, tuple[Reading, ...]]


class Arrived(NamedTuple):
    """What came in since the last scan, and how the image stands."""

    image: Mapping[str, Reading]
    alive: Mapping[str, int]
    readings: Sequence[Reading]
    polls: Sequence[Poll]


class Image:
    """The newest reading of every channel, and all that arrived since the last scan."""

    def __init__(self, channels: Iterable[str], now: int) -> None:
        self._latest = {
            c: Reading(c, now, now, None, Quality.BAD, NO_READING_YET) for c in channels
        }
        self._alive = dict.fromkeys(self._latest, now)
        self._readings: list[Reading] = []
        self._polls: list[Poll] = []

    def publish(self, instrument: str, readings: tuple[Reading, ...]) -> None:
        """Take the readings of one poll of an instrument."""
        self._polls.append((instrument, readings))
        self._readings += readings
        latest, alive = self._latest, self._alive
        for reading in readings:
            channel, t, _began, value, _quality, reason = reading
            latest[channel] = reading
            if value is not None or reason == OVER_RANGE:
                alive[channel] = t

    def take(self) -> Arrived:
        """Return the image and what arrived since the last call."""
        arrived = Arrived(dict(self._latest), dict(self._alive), self._readings, self._polls)
        self._readings, self._polls = [], []
        return arrived
