"""The scan cycle: read, protect, step, gate, record, in that order and nothing else.

Whatever a scan has to tell is noted on the way and told once its outputs are on the wire: an
opening waits for no archive and no viewer.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

from acquire.database import ArchiveError
from acquire.lateness import HeldUp
from drivers.link import InstrumentFault
from drivers.outputs import LOOP, LV, Outputs
from drivers.reading import OVER_RANGE, Reading
from sequences.conditions import View
from sequences.evidence import Evidence, is_answer_to
from sequences.expected import Expected
from sequences.gate import Passage, gate
from sequences.permissives import INTENT_MISSING, PERMISSIVES, Permissive, Situation
from sequences.prompt import Answer, Prompt
from sequences.protection import Protection
from sequences.run import Run, State
from sequences.scan import (
    EMERGENCY_STOP,
    GUARD,
    PROTECTION_CONTACT,
    Arrived,
    Ask,
    Close,
    Image,
    Move,
    Open,
    Poll,
    Request,
    S,
    Scan,
    WithholdHeartbeat,
)

Observer = Callable[[int, str, Mapping[str, Any]], None]

NOTHING_ANSWERS = (
    "nothing of the stand answers any more, instruments and outputs alike: look at its supply, at"
    " the network between, and at this computer"
)

INPUTS = (EMERGENCY_STOP, GUARD, PROTECTION_CONTACT, LV, LOOP)

# Evidence that a reader of the record wants to see come, and its words.
ANNOUNCED = (
    ("watchdog_acted", "the watchdog relay was seen to drop and to pick up"),
    ("not_aiding", "closing the loop drove no current: the pair is not aiding"),
    ("loop", "current follows voltage: the loop is closed and opposed"),
    ("wattmeter", "the loop wattmeter reads forwards"),
    ("voltmeter", "the series voltmeter follows the HV analyser on every range that judges r"),
    ("proof_complete", "the proof is complete, the loop contactor seen open"),
    ("opposed", "r is within its limit at rated voltage"),
)


class Recorder(Protocol):
    """Where a run is written. A failed commit raises ArchiveError and leaves the age to tell."""

    @property
    def committed(self) -> int:
        """How many rows are on the disk."""
        ...

    @property
    def last_commit_t(self) -> int:
        """The stand time of the last commit, ns."""
        ...

    def readings(self, t: int, polls: Sequence[Poll]) -> None:
        """Take the polls that arrived by `t`."""
        ...

    def event(self, t: int, kind: str, facts: Mapping[str, Any]) -> int:
        """Record an event; it is on the disk once `committed` has reached what this returns."""
        ...

    def state(self, state: str) -> None:
        """Record the run's state."""
        ...


class Asker(Protocol):
    """Whoever puts prompts to people and brings their answers."""

    def put(self, prompt: Prompt, t: int) -> None:
        """Put a prompt."""
        ...

    def answers(self) -> list[Answer]:
        """Return what was answered since the last call."""
        ...


class Cycle:
    """One run's scan cycle."""

    def __init__(
        self,
        expected: Expected,
        outputs: Outputs,
        run: Callable[[Callable[[str, Mapping[str, Any]], object]], Run[Any]],
        recorder: Recorder,
        asker: Asker,
        observer: Observer,
        *,
        now: int = 0,
    ) -> None:
        self.expected = expected
        self.outputs = outputs
        self._untold: list[tuple[int, str, Mapping[str, Any]]] = []
        self.run = run(self._note)
        self.evidence = Evidence()
        self.protection = Protection(expected)
        self.permissives: Mapping[str, tuple[Permissive, ...]] = PERMISSIVES
        self.image = Image(expected.channels, now)
        self._recorder = recorder
        self._asker = asker
        self._observer = observer
        self.scans = 0
        self.last: Scan
        self._now = now
        self._refused: tuple[str, ...] = ()
        self._intent: str | None = None
        self._told = 0
        self._asked: tuple[Prompt, int] | None = None
        self._noted: set[tuple[str, str]] = set()
        self._faulty: set[str] = set()
        self._polled = {"outputs"}
        self._drop_ns = round(expected.watchdog_drop_s * S)
        # What the hardware says of itself: blind to it, nothing is kept energised.
        self._inputs = [(c, round(expected.channels[c].stale_after_s * S)) for c in INPUTS]
        self._held_up = HeldUp()

    def publish(
        self, instrument: str, readings: tuple[Reading, ...], fault: InstrumentFault | None
    ) -> None:
        """Take a poll's readings into the image, and note a fault that begins or ends."""
        self._polled.add(instrument)
        self.image.publish(instrument, readings)
        self._note_fault(instrument, fault)

    def begins(self, now: int, late_ns: int) -> None:
        """Note how late the scan is that begins at stand time `now`, for what it may find."""
        if self._held_up.note(now, late_ns):
            self.note(now, "held_up", {"late_s": round(late_ns / S, 3)})

    def scan(self, now: int) -> None:
        """Run one scan at stand time `now`; a scan that fails opens everything first."""
        self._now = now
        try:
            self._read_and_act(now)
        except BaseException:
            self.outputs.open_all()
            raise

    def _read_and_act(self, now: int) -> None:
        arrived = self.image.take()
        self.outputs.follow(arrived.readings)
        scan = self.last = self._scan(now, arrived)
        state = self.run.state
        evidence = self.evidence.after(scan, self.expected)
        self._announce(evidence)
        if evidence.seen_open is not None and not self.outputs.claimed:
            self.outputs.claim()
        self.evidence = evidence = self._protect(scan, evidence)
        request = self.run.step(scan)
        # A stop that becomes category 0 with everything open already is over in the same scan.
        if self.run.state in {State.ABORTING, State.ABORTED}:
            self.outputs.open_all()
        passage = gate(request, scan, evidence, self.expected, self.permissives)
        self._note_permissives(request, scan, evidence)
        intended = self._intend(request, passage)
        self._apply(passage.request, now)
        self.outputs.go_on()
        self._beat(request, arrived.readings)
        self._note_fault("outputs", self.outputs.fault)
        self._intent = intended if self._tell() else None
        self._recorder.readings(now, arrived.polls)
        if self.run.state is not state:
            self._record_state()

    def record(self, kind: str, facts: Mapping[str, Any]) -> bool:
        """Record an event outside a scan; return whether it is on the disk."""
        self._note(kind, facts)
        return self._tell()

    def note(self, t: int, kind: str, facts: Mapping[str, Any]) -> None:
        """Note an event of stand time `t` (ns); it is told with those of the scan that ends next.

        Whatever happens between two writes of one scan is told once all are on the wire.
        """
        self._untold.append((t, kind, facts))

    def _note(self, kind: str, facts: Mapping[str, Any]) -> None:
        self._untold.append((self._now, kind, facts))

    def _tell(self) -> bool:
        """Show and record what was noted; return whether all of it is on the disk."""
        untold, self._untold = self._untold, []
        written = True
        for t, kind, facts in untold:
            self._observer(t, kind, facts)
            try:
                self._told = self._recorder.event(t, kind, facts)
            except ArchiveError:
                # The trip on the age of the last commit acts.
                written = False
        return written

    def _note_fault(self, instrument: str, fault: InstrumentFault | None) -> None:
        """Note a fault that begins or ends."""
        if fault is not None and instrument not in self._faulty:
            self._faulty.add(instrument)
            facts = {"instrument": instrument, "asked": fault.asked, "came_back": fault.came_back}
            self._note("fault", facts)
            if self._faulty >= self._polled:
                self._note("note", {"words": NOTHING_ANSWERS})
        elif fault is None and instrument in self._faulty:
            self._faulty.discard(instrument)
            self._note("fault.cleared", {"instrument": instrument})

    def _scan(self, now: int, arrived: Arrived) -> Scan:
        self.scans += 1
        scan = Scan(
            self.scans,
            now,
            arrived.image,
            arrived.readings,
            arrived.alive,
            self._asker.answers(),
            self.outputs.states(),
            self._refused,
            self._intent if self._recorder.committed >= self._told else None,
            self._recorder.last_commit_t,
            self._asked,
            str(self.outputs.fault or ""),
        )
        for answer in scan.answers:
            facts = {
                "prompt": answer.prompt,
                "by": answer.by,
                "source": answer.source,
                "value": answer.value,
            }
            self._note("answer", facts)
            # An answer to what was asked before leaves the prompt open, and its time running.
            if is_answer_to(answer, scan):
                self._asked = None
        return scan

    def _protect(self, scan: Scan, evidence: Evidence) -> Evidence:
        trip = self.protection.check(scan, evidence)
        if trip is None:
            return evidence
        if trip.category == 0:
            self.outputs.open_all()
        seen = trip.seen(View(scan, evidence, self.expected))
        self.run.stop(trip, seen + self._held_up.words(scan.now), scan)
        return evidence.revoke()

    def _intend(self, request: Request, passage: Passage) -> str | None:
        """Note the intent of a closing once nothing else is missing; return what it closes."""
        self._refused = passage.shortfall
        if not isinstance(request, Close) or passage.shortfall != (INTENT_MISSING,):
            return None
        # Where a writer is still at it, the intent is on its way.
        if request.output != self._intent:
            self._note("intent", {"output": request.output})
        return request.output

    def _note_permissives(self, request: Request, scan: Scan, evidence: Evidence) -> None:
        if not isinstance(request, Close | Move) or request.output not in self.permissives:
            return
        if isinstance(request, Move) and request.to <= scan.outputs[request.output].commanded:
            return
        at = Situation(scan, evidence, self.expected, request)
        for permissive in self.permissives[request.output]:
            key = (request.output, permissive.name)
            if key not in self._noted and permissive.met(at):
                self._noted.add(key)
                words = {"output": request.output, "name": permissive.name}
                self._note("permissive.met", {**words, "hazard": permissive.hazard})

    def _apply(self, request: Request | None, now: int) -> None:
        match request:
            case Open(output):
                self.outputs.open(output)
                self._forget(output)
                if self.last.outputs[output].commanded:
                    self._note("command", {"output": output, "action": "open"})
            case Close(output, onto):
                self.outputs.close(output, onto)
                self._note("command", {"output": output, "action": "close"} | _onto(request))
            case Move(output, to):
                self.outputs.move(output, to)
                self._note("command", {"output": output, "action": "move", "to": round(to, 4)})
            case Ask(prompt):
                self._put(prompt, now)
            case _:
                self._asked = None

    def _forget(self, output: str) -> None:
        """A contactor opened: its permissives are noted anew at the next closing."""
        self._noted = {n for n in self._noted if n[0] != output}

    def _put(self, prompt: Prompt, now: int) -> None:
        if self._asked is not None and self._asked[0].id == prompt.id:
            return
        self._asked = (prompt, now)
        self._note("prompt", prompt._asdict())
        self._asker.put(prompt, now)

    def _beat(self, request: Request, arrived: Sequence[Reading]) -> None:
        """Toggle the heartbeat: only a scan that read fresh inputs and protected comes here."""
        if not self.outputs.claimed or isinstance(request, WithholdHeartbeat):
            return
        if not any(r.value is not None or r.reason == OVER_RANGE for r in arrived):
            return
        if all(self._now - self.last.alive[c] <= limit for c, limit in self._inputs):
            self.outputs.heartbeat(self._drop_ns)

    def _announce(self, evidence: Evidence) -> None:
        before = self.evidence
        if evidence is before:
            return
        if before.guard_shut is not None and evidence.guard_shut is None:
            why = "opened" if self.last.was_open(GUARD) else "was unread and may have opened"
            facts = {"name": "emptied", "words": f"the guard {why}: nothing holds"}
            self._note("evidence", facts)
        if evidence.revoked:
            return
        for name, words in ANNOUNCED:
            if getattr(before, name) is None and getattr(evidence, name) is not None:
                shown: dict[str, Any] = {"name": name, "words": words}
                if name == "loop" and evidence.loop is not None:
                    shown["impedance_ohm"] = evidence.loop.impedance_ohm
                if name == "opposed" and evidence.gap is not None:
                    shown["ratio_percent"] = 100 * evidence.gap.ratio
                self._note("evidence", shown)

    def _record_state(self) -> None:
        try:
            self._recorder.state(self.run.state.value)
        except ArchiveError:
            return


def _onto(request: Request | None) -> dict[str, Any]:
    """The position of a selector that has several."""
    return {"onto": request.onto} if isinstance(request, Close) and request.onto > 1 else {}
