"""A procedure that asks for whatever it likes, between stretches of the honest test.

It knows the plant and so has the hands that no procedure has: it opens the guard and presses the
emergency stop. What it asks for is drawn beforehand, as a list of acts.
"""

from collections.abc import Callable, Sequence
from math import inf, nan
from typing import Any, NamedTuple, Protocol

from acquire.clock import Order
from acquire.rehearsal import Rehearsal
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from drivers.simulated.circuit import Wiring
from drivers.simulated.hands import Change, becoming
from sequences.expected import Expected
from sequences.prompt import INTERCHANGE, PREPARATION, confirm
from sequences.scan import (
    Ask,
    Close,
    Move,
    Open,
    Procedure,
    Request,
    S,
    Scan,
    Wait,
    WithholdHeartbeat,
)

MOST_WAITED = 30


class Act(Protocol):
    """Something that the wild procedure does next."""

    def run(self, scan: Scan, at: "Wild", /) -> Procedure[Scan]:
        """Ask for requests and return the last scan."""
        ...


class Honest(NamedTuple):
    """Let the honest loss test go on for some scans."""

    scans: int

    def run(self, scan: Scan, at: "Wild") -> Procedure[Scan]:
        for _ in range(self.scans):
            if at.honest is None:
                break
            try:
                request = at.honest.send(scan) if at.primed else next(at.honest)
            except StopIteration:
                at.honest = None
                break
            at.primed = True
            scan = yield request
        return scan


class HonestTo(NamedTuple):
    """Let the honest loss test go on until the evidence shows something, or it ends."""

    field: str

    def run(self, scan: Scan, at: "Wild") -> Procedure[Scan]:
        while at.honest is not None:
            if getattr(at.rehearsal.cycle.evidence, self.field) is not None:
                break
            scan = yield from Honest(1).run(scan, at)
        return (yield from Insist(Wait(), 3).run(scan, at))


class Insist(NamedTuple):
    """Ask for one thing, some scans in a row."""

    request: Request
    times: int

    def run(self, scan: Scan, _at: "Wild") -> Procedure[Scan]:
        for _ in range(self.times):
            scan = yield self.request
        return scan


class Series(NamedTuple):
    """Do several things one after another."""

    acts: tuple[Act, ...]

    def run(self, scan: Scan, at: "Wild") -> Procedure[Scan]:
        for act in self.acts:
            scan = yield from act.run(scan, at)
        return scan


class Push(NamedTuple):
    """Ask for a closing until it is done, or is refused for other reasons than its intent."""

    contactor: str
    after: int

    def run(self, scan: Scan, _at: "Wild") -> Procedure[Scan]:
        for _ in range(3):
            scan = yield Close(self.contactor)
            if scan.outputs[self.contactor].commanded:
                break
        for _ in range(self.after):
            scan = yield Wait()
        return scan


class Climb(NamedTuple):
    """Move a regulator and wait until it is there."""

    regulator: str
    to: float

    def run(self, scan: Scan, _at: "Wild") -> Procedure[Scan]:
        scan = yield Move(self.regulator, self.to)
        for _ in range(MOST_WAITED):
            if scan.outputs[self.regulator].at_rest_since is not None:
                break
            scan = yield Wait()
        return (yield Wait())


class Greed(NamedTuple):
    """Raise a regulator as far as it is let: try from the top, a step lower each time."""

    regulator: str
    steps: int
    patience: int

    def run(self, scan: Scan, at: "Wild") -> Procedure[Scan]:
        was = scan.outputs[self.regulator].commanded
        for step in range(self.steps):
            for _ in range(1 + self.patience):
                to = was + (1.0 - was) * (1 - step / self.steps) ** 2
                scan = yield Move(self.regulator, to)
                if scan.outputs[self.regulator].commanded > was:
                    return (yield from Climb(self.regulator, to).run(scan, at))
        return scan


class Creep(NamedTuple):
    """Raise a regulator by many small steps."""

    regulator: str
    step: float
    times: int

    def run(self, scan: Scan, _at: "Wild") -> Procedure[Scan]:
        for _ in range(self.times):
            scan = yield Move(self.regulator, scan.outputs[self.regulator].commanded + self.step)
        return scan


class Reckless(NamedTuple):
    """Go through prove and circulate with no look at any reading; the first so many steps."""

    steps: int

    def run(self, scan: Scan, at: "Wild") -> Procedure[Scan]:
        expected = at.rehearsal.expected
        low = expected.half_impedance_voltage_v / expected.lv_regulator.full_voltage_v
        rated = expected.nameplate.lv_voltage_v / expected.lv_regulator.full_voltage_v
        drop = expected.nameplate.hv_current_a * expected.loop_impedance_ohm
        full = drop / expected.loop_regulator.full_voltage_v
        steps: list[Act] = [
            Push(LV, 1),
            Climb(LV_REGULATOR, low),
            Push(LOOP, 3),
            Climb(LOOP_REGULATOR, full / 4),
            Climb(LOOP_REGULATOR, full),
            Climb(LOOP_REGULATOR, 0.0),
            Insist(Open(LOOP), 2),
            Climb(LV_REGULATOR, rated / 4),
            Climb(LV_REGULATOR, rated),
            Push(LOOP, 3),
            Climb(LOOP_REGULATOR, full),
        ]
        for step in steps[: self.steps]:
            scan = yield from step.run(scan, at)
        return scan


class Hands(NamedTuple):
    """People go in and interchange a secondary, quickly or while nobody reads the contacts."""

    opens: float
    within: float
    unread: bool

    def run(self, scan: Scan, at: "Wild") -> Procedure[Scan]:
        plant, clock = at.rehearsal.stand, at.rehearsal.clock
        hands, by = at.rehearsal.site.hands, f"wild {scan.number}"

        def go_in() -> None:
            # Nobody goes to live terminals; and an instrument that dies then is another story.
            if plant.lv_contactor.closed or plant.loop_contactor.closed:
                return
            hands.hold(by, becoming(plant, "guard", False))
            if self.unread:
                hands.hold(by, Change(plant, "silent", lambda silent: silent | {"contacts"}))
            clock.at(clock.now() + round(self.within * S), Order.HANDS, come_out)

        def come_out() -> None:
            hands.alter(Change(plant, "wiring", Wiring.interchanged))
            hands.let_go(by)

        clock.at(scan.now + round(self.opens * S), Order.HANDS, go_in)
        for _ in range(1 + int(self.opens + self.within)):
            scan = yield Wait()
        return scan


class Guard(NamedTuple):
    """Somebody opens the guard and shuts it again, both so many scans from now."""

    opens: float
    shuts: float

    def run(self, scan: Scan, at: "Wild") -> Procedure[Scan]:
        plant, clock = at.rehearsal.stand, at.rehearsal.clock
        hands, by = at.rehearsal.site.hands, f"wild {scan.number}"

        def open_it() -> None:
            hands.hold(by, becoming(plant, "guard", False))

        clock.at(scan.now + round(self.opens * S), Order.HANDS, open_it)
        shut = scan.now + round((self.opens + self.shuts) * S)
        clock.at(shut, Order.HANDS, lambda: hands.let_go(by))
        return (yield Wait())


class EmergencyStop(NamedTuple):
    """Somebody presses the emergency stop; it stays in."""

    def run(self, _scan: Scan, at: "Wild") -> Procedure[Scan]:
        at.rehearsal.site.hands.hold("wild", becoming(at.rehearsal.stand, "emergency_stop", False))
        return (yield Wait())


class Interchange(NamedTuple):
    """Have one secondary interchanged; once a run, since people do one thing at a time."""

    waits: bool

    def run(self, scan: Scan, at: "Wild") -> Procedure[Scan]:
        if at.interchanged:
            return scan
        at.interchanged = True
        prompt = confirm(INTERCHANGE, "wild", 900.0)
        for _ in range(370 if self.waits else 1):
            scan = yield Ask(prompt)
        return scan


class FalsePrompts(NamedTuple):
    """Put the prompts of prepare with words of its own."""

    def run(self, scan: Scan, _at: "Wild") -> Procedure[Scan]:
        for row in PREPARATION:
            prompt = confirm((row[0], "Shall we?", row[2], row[3]), "wild", 900.0)
            for _ in range(5):
                scan = yield Ask(prompt)
        return scan


class Wild:
    """One wild procedure: its acts, and where it stands."""

    def __init__(self, acts: Sequence[Act], test: Callable[[Expected], Procedure[Any]]) -> None:
        self.acts = acts
        self.test = test
        self.rehearsal: Rehearsal
        self.honest: Procedure[Any] | None = None
        self.primed = False
        self.interchanged = False

    def procedure(self, expected: Expected) -> Procedure[None]:
        """Return the procedure; it ends by an exception, and so in a stop."""
        self.honest = self.test(expected)
        scan = yield Wait()
        for act in self.acts:
            scan = yield from act.run(scan, self)
        raise RuntimeError("the wild procedure is done")


def nonsense() -> list[Request]:
    """Return requests that no output can do."""
    wrong: list[Request] = [
        Move(r, to) for r in (LV_REGULATOR, LOOP_REGULATOR) for to in (nan, inf, -1.0)
    ]
    wrong += [Move(c, to) for c in (LV, LOOP, SELECTOR) for to in (0.0, 0.5, 1.0)]
    wrong += [Close(LV_REGULATOR), Open(LOOP_REGULATOR), Close("nothing"), Open("nothing")]
    return [*wrong, WithholdHeartbeat()]
