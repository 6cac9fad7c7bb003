"""Which fault begins when and for how long: read from one word, kept in time.

A word is NAME[@WHEN][:SECONDS]. WHEN is a stage ("energise", or "stopping" and "aborting" for a
stop under way), a stand time in seconds ("12.5"), or "w" and a number: after so many writes to the
outputs ("w137"). To a stage seconds may be added ("energise+12.5"). Without WHEN the fault is there
from the start; without :SECONDS for good.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping
from functools import partial
from math import isfinite
from typing import TYPE_CHECKING, Any, NamedTuple

from acquire.clock import Order, S
from acquire.refusal import Refusal
from drivers.simulated.faults.fault import STAGES, STOPS, Fault
from drivers.simulated.hands import becoming

if TYPE_CHECKING:
    from acquire.site import Site

# Hands open the guard, need a while, and shut it.
REACHED_S = 20.0
DONE_S = 20.0
LONGEST_S = 1e6

Tell = Callable[[int, str, Mapping[str, Any]], None]


class FaultRefused(Refusal):
    """A word that is no fault; as text one line."""


class Crashed(BaseException):
    """The rehearsed program has ended between two of its actions; it writes nothing any more."""


class When(NamedTuple):
    """The instant at which a fault begins.

    `after_s` seconds after the start or after `stage` is first entered, or after `writes` writes.
    """

    after_s: float = 0.0
    stage: str = ""
    writes: int = 0

    def __str__(self) -> str:
        """Return it as it is written after the @."""
        if self.writes:
            return f"w{self.writes}"
        if not self.stage:
            return f"{self.after_s:g}"
        return self.stage + (f"+{self.after_s:g}" if self.after_s else "")


class TimedFault(NamedTuple):
    """A fault of the catalogue by its name, when it begins and how long it lasts (None: for good).

    As text it is the word that it was read from.
    """

    name: str
    when: When = When()
    lasts_s: float | None = None

    def __str__(self) -> str:
        """Return the word that gives this fault."""
        at = "" if self.when == When() else f"@{self.when}"
        return f"{self.name}{at}" + ("" if self.lasts_s is None else f":{self.lasts_s:g}")


def timed_fault(
    word: str, catalogue: Mapping[str, Fault[Any]], of_rehearsals: Container[str] = ()
) -> TimedFault:
    """Read NAME[@WHEN][:SECONDS]. Raises FaultRefused, one line that says what is wrong.

    `of_rehearsals` are names that a catalogue of a stand without a program lacks.
    """
    head, colon, lasts = word.partition(":")
    name, at, when = head.partition("@")
    if name not in catalogue and name in of_rehearsals:
        befalls = "befalls a program or its operator, which are not simulated here"
        raise FaultRefused(f"fault {word!r}: {name} {befalls}; twinload rehearse --fault {name}")
    if name not in catalogue:
        raise FaultRefused(f"fault {word!r}: there is no {name!r}{_hint(name, catalogue)}")
    lasts_s = _seconds(word, lasts) if colon else None
    if lasts_s is not None and not catalogue[name].ends:
        raise FaultRefused(f"fault {word!r}: {name} does not end")
    if lasts_s == 0:
        raise FaultRefused(f"fault {word!r}: it has to last longer than nothing")
    return TimedFault(name, _when(word, when) if at else When(), lasts_s)


def _hint(name: str, catalogue: Mapping[str, Fault[Any]]) -> str:
    # Here, since the difference of words is loaded only for whoever errs.
    from acquire.places import nearest

    hint = nearest(name, catalogue)
    return f", {hint}" if hint else "; twinload faults lists them"


def _when(word: str, text: str) -> When:
    if text[:1] == "w" and text[1:].isascii() and text[1:].isdigit() and int(text[1:]):
        return When(writes=int(text[1:]))
    stage, plus, offset = text.partition("+")
    if stage in (*STAGES, *STOPS):
        return When(_seconds(word, offset) if plus else 0.0, stage)
    if text[:1].isalpha():
        raise FaultRefused(f"fault {word!r}: no stage {stage!r}; {', '.join((*STAGES, *STOPS))}")
    return When(_seconds(word, text))


def _seconds(word: str, text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not (isfinite(seconds) and 0 <= seconds <= LONGEST_S):
        raise FaultRefused(f"fault {word!r}: {text!r} is not a number of seconds")
    return seconds


class FaultSchedule:
    """Begins and ends faults at their instants, on the plant's own time.

    `tell` hears of each as an event of the record.
    """

    def __init__(self, faults: Iterable[TimedFault], catalogue: Mapping[str, Fault[Site]]) -> None:
        self.faults = tuple(faults)
        self.tell: Tell = _unheard
        self._begun: set[str] = set()
        self._catalogue = catalogue
        self._held: dict[str, str] = {}
        self._stages = {f"{i}": f for i, f in enumerate(self.faults) if f.when.stage}
        self._written = 0
        self._writes = {f"{i}": f for i, f in enumerate(self.faults) if f.when.writes}
        self._site: Site

    @property
    def known(self) -> Container[str]:
        """The names of all faults that there can be."""
        return self._catalogue.keys()

    @property
    def never_begun(self) -> tuple[str, ...]:
        """The words of the faults whose instant has not come."""
        return tuple(str(f) for i, f in enumerate(self.faults) if f"{i}" not in self._begun)

    @property
    def now_held(self) -> tuple[str, ...]:
        """The names of the faults that are there now."""
        return tuple(self._held.values())

    def start(self, site: Site) -> None:
        """Begin what is there from the start, and the rest in time."""
        self._site = site
        for i, fault in enumerate(self.faults):
            if fault.when.stage or fault.when.writes:
                continue
            if fault.when.after_s or self._catalogue[fault.name].ends_process:
                self._later(fault.when.after_s, partial(self.begin, fault, f"{i}"))
            else:
                self.begin(fault, f"{i}")

    def go_on(self) -> None:
        """A program runs again: say what is there, and let it reach the plant."""
        for key, name in list(self._held.items()):
            if self._catalogue[name].ends_process:
                self._site.hands.let_go(key)
                del self._held[key]
            else:
                self._say(name, "is there")

    def heard(self, kind: str, facts: Mapping[str, Any]) -> None:
        """Hear what the run tells: faults begin when a stage is entered or a stop begins."""
        if kind in {"stage", "state"} and self._stages:
            entered = facts[kind]
            for key, fault in list(self._stages.items()):
                if fault.when.stage == entered:
                    del self._stages[key]
                    self._later(fault.when.after_s, partial(self.begin, fault, key))

    def written(self) -> None:
        """Count a write to the outputs; faults begin between two of them."""
        self._written += 1
        for key, fault in list(self._writes.items()):
            if fault.when.writes == self._written:
                del self._writes[key]
                self.begin(fault, key)

    def begin(self, fault: TimedFault, key: str = "by hand") -> None:
        """Begin a fault now, behind the guard where hands have to reach a terminal."""
        known = self._catalogue[fault.name]
        from_the_start = fault.when == When() and not self._site.clock.now()
        if not known.behind_guard or from_the_start:
            self._put(fault, key)
        else:
            self._behind_guard(key, fault.name, lambda: self._put(fault, key))

    def end(self, name: str) -> bool:
        """End a fault now, behind the guard where hands have to reach a terminal; True if there."""
        held = [key for key, there in self._held.items() if there == name]
        for key in held:
            self._end(TimedFault(name), key)
        return bool(held)

    def _put(self, fault: TimedFault, key: str) -> None:
        known = self._catalogue[fault.name]
        self._moved_on()
        for change in known.changes(self._site):
            self._site.hands.hold(key, change)
        self._moved_on()
        self._held[key] = fault.name
        self._begun.add(key)
        self._say(fault.name, "begins")
        if known.ends_process:
            raise Crashed(fault.name)
        if fault.lasts_s is not None:
            self._later(fault.lasts_s, lambda: self._end(fault, key))

    def _end(self, fault: TimedFault, key: str) -> None:
        if self._held.get(key) != fault.name:
            return  # somebody has ended it already
        if self._catalogue[fault.name].behind_guard:
            self._behind_guard(key, fault.name, lambda: self._let_go(fault, key))
        else:
            self._let_go(fault, key)

    def _let_go(self, fault: TimedFault, key: str) -> None:
        self._moved_on()
        self._site.hands.let_go(key)
        self._moved_on()
        self._held.pop(key, None)
        self._say(fault.name, "ends")

    def _moved_on(self) -> None:
        """Move the plant on to now: however short a fault is, the plant has met it."""
        self._site.stand.advance(self._site.clock.now())

    def _behind_guard(self, key: str, name: str, work: Callable[[], None]) -> None:
        site, guard = self._site, f"{key}, guard"
        site.hands.hold(guard, becoming(site.stand, "guard", False))
        self._say(name, "the guard is opened for it")
        self._later(REACHED_S, work)
        self._later(REACHED_S + DONE_S, lambda: site.hands.let_go(guard))

    def _later(self, after_s: float, action: Callable[[], None]) -> None:
        clock = self._site.clock
        clock.at(clock.now() + round(after_s * S), Order.HANDS, action)

    def _say(self, name: str, happening: str) -> None:
        now = self._site.clock.now()
        self.tell(now, "simulated.fault", {"name": name, "happening": happening})


def _unheard(_t: int, _kind: str, _facts: Mapping[str, Any]) -> None:
    """Nobody records while no program runs."""
