"""A loss test that is brought to a place and held there, to do one thing at a time."""

from collections import deque
from collections.abc import Callable

from drivers.outputs import LOOP, LV, LV_REGULATOR
from sequences.expected import Expected
from sequences.loss_test import loss_test
from sequences.scan import Open, Procedure, Request, Scan, Wait
from sequences.stages import close, move

Part = Callable[[Scan, Expected], Procedure[Scan]]
Place = Callable[[str, Scan], bool]


def preparing(stage: str, scan: Scan) -> bool:
    """Everything open, found dead, people being asked."""
    return stage == "prepare" and scan.asked is not None


def prepared(stage: str, scan: Scan) -> bool:
    """Prompts answered, the watchdog seen to act, everything open still."""
    return stage == "prove" and scan.outputs[LV].commanded == 0


def proving(stage: str, scan: Scan) -> bool:
    """LV at half the impedance voltage, the loop contactor open."""
    return stage == "prove" and scan.outputs[LV_REGULATOR].commanded > 0 and _at_rest(scan)


def proving_closed(stage: str, scan: Scan) -> bool:
    """LV at half the impedance voltage, the loop contactor closed at regulator zero."""
    return stage == "prove" and scan.outputs[LOOP].commanded > 0 and _at_rest(scan)


def no_load(stage: str, scan: Scan) -> bool:
    """LV at rated, the loop contactor open, opposition shown."""
    return stage == "no_load_readings" and _at_rest(scan)


def circulating(stage: str, scan: Scan) -> bool:
    """LV at rated, the loop contactor closed at regulator zero."""
    return stage == "circulate" and scan.outputs[LOOP].commanded > 0 and _at_rest(scan)


def loaded(stage: str, scan: Scan) -> bool:
    """Rated voltage and rated current."""
    return stage == "load_readings" and _at_rest(scan)


def _at_rest(scan: Scan) -> bool:
    return scan.at_rest_since() is not None


class Held:
    """The loss test as far as a place, then what the test asks for, and waiting in between."""

    def __init__(self, place: Place) -> None:
        self._place = place
        self._parts: deque[Part] = deque()
        self.reached = False

    def __call__(self, expected: Expected) -> Procedure[None]:
        """Return the procedure, for Rehearsal."""
        inner = loss_test(expected)
        stage, request = "", next(inner)
        while True:
            stage = _stage_of(request) or stage
            scan = yield request
            if self._place(stage, scan):
                break
            request = inner.send(scan)
        self.reached = True
        while True:
            if self._parts:
                scan = yield from self._parts.popleft()(scan, expected)
            scan = yield Wait()

    def do(self, part: Part) -> None:
        """Have a part of a stage done from the next scan on."""
        self._parts.append(part)


def _stage_of(request: Request) -> str | None:
    return request.stage if isinstance(request, Wait) else None


def moving(regulator: str, to: float) -> Part:
    """Return the part that sends a regulator to a position and sees it there."""
    return lambda scan, expected: move(scan, expected, regulator, to)


def closing(contactor: str) -> Part:
    """Return the part that closes a contactor."""
    return lambda scan, _expected: close(scan, contactor)


def opening(contactor: str) -> Part:
    """Return the part that tells a contactor to open, and waits for nothing."""

    def part(_scan: Scan, _expected: Expected) -> Procedure[Scan]:
        return (yield Open(contactor))

    return part
