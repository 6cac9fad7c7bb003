"""Hands on the simulated plant, parts that a held test is told to do, and a plant left alone."""

from collections.abc import Callable, Mapping
from copy import deepcopy
from dataclasses import replace
from typing import Any

from acquire.clock import Order
from drivers.outputs import LOOP, LV_REGULATOR
from drivers.simulated.circuit import OPPOSITION
from drivers.simulated.stand import SimulatedStand
from sequences.expected import Expected
from sequences.prompt import OPERATOR_ABORT, OPERATOR_STOP, PREPARATION, Answer, confirm
from sequences.scan import Open, Procedure, Scan
from sequences.stages import ask, move, open_contactor
from tests.stand.conftest import S, Watched
from tests.stand.held import Part

Hand = Callable[[Watched], None]


def setting(path: str, value: Any) -> Hand:
    """Return the hand that sets an attribute of the plant."""

    def hand(watched: Watched) -> None:
        owner: Any = watched.plant
        *names, last = path.split(".")
        for name in names:
            owner = getattr(owner, name)
        setattr(owner, last, value)

    return hand


def both(*hands: Hand) -> Hand:
    """Return the hand that does several things at once."""

    def hand(watched: Watched) -> None:
        for one in hands:
            one(watched)

    return hand


def nothing(_watched: Watched) -> None:
    """Do nothing: the part alone provokes it."""


def silencing(instrument: str) -> Hand:
    """Return the hand that pulls an instrument's plug."""
    return lambda watched: watched.plant.silent.add(instrument)


def losing_a_write(watched: Watched) -> None:
    """Have the outputs' unit be silent until the next scan has written to it, and no longer."""
    watched.plant.silent.add("outputs")
    back = watched.rehearsal.clock.now() + S
    watched.rehearsal.clock.at(back, Order.HANDS, lambda: watched.plant.silent.discard("outputs"))


def heating(**top_liquid_c: float) -> Hand:
    """Return the hand that heats units."""
    return showing({f"{unit}.top_liquid": value for unit, value in top_liquid_c.items()})


def showing(temperatures_c: Mapping[str, float]) -> Hand:
    """Return the hand that has sensors show temperatures."""
    return lambda watched: watched.plant.temperatures_c.update(temperatures_c)


def meter(channel: str, **faults: Any) -> Hand:
    """Return the hand that spoils a meter."""

    def hand(watched: Watched) -> None:
        for name, value in faults.items():
            setattr(watched.plant.meters[channel], name, value)

    return hand


def output(regulator: str, share: float) -> Hand:
    """Return the hand that has a regulator give a share of what its position promises."""

    def hand(watched: Watched) -> None:
        machine = getattr(watched.plant, regulator)
        machine.output = share * machine.position

    return hand


def hidden(contactor: str, share: float = 0.0) -> Hand:
    """Return the hand that closes a contactor behind an auxiliary contact that says open."""

    def hand(watched: Watched) -> None:
        machine = getattr(watched.plant, contactor)
        machine.auxiliary, machine.commanded = False, True
        watched.plant.lv_regulator.output = share

    return hand


def asking_to_stop(watched: Watched) -> None:
    """Have the person in charge ask for the run to end."""
    _ask_for(watched, OPERATOR_STOP)


def asking_to_abort(watched: Watched) -> None:
    """Have the person in charge ask for everything to open at once."""
    _ask_for(watched, OPERATOR_ABORT)


def _ask_for(watched: Watched, what: str) -> None:
    now = watched.rehearsal.clock.now()
    stop = Answer(what, "the person in charge", "rehearsed", now, True, now)
    operator: Any = watched.rehearsal.operator
    said = operator.answers
    operator.answers = lambda: [stop, *said()]


def leaving(watched: Watched) -> None:
    """Have nobody hear a prompt any more."""
    operator: Any = watched.rehearsal.operator
    operator.put = lambda _prompt, _t: None
    operator.answers = list


def locking(watched: Watched) -> None:
    """Have another program lock the archive."""
    watched.lock_archive()


def then(part: Part) -> Callable[[Watched], Part]:
    """Return a part that is the same whatever the plant is."""
    return lambda _watched: part


def opening_that_lies(watched: Watched) -> Part:
    """Open the loop contactor, which is welded while its auxiliary contact says open."""

    def part(_scan: Scan, _expected: Expected) -> Procedure[Scan]:
        watched.plant.loop_contactor.welded = True
        watched.plant.loop_contactor.auxiliary = False
        return (yield Open(LOOP))

    return part


def moving_first(regulator: str, to: float, hand: Hand, missed: str) -> Callable[[Watched], Part]:
    """Move a regulator, and only when it is at rest have the hand act."""

    def for_(watched: Watched) -> Part:
        def part(scan: Scan, expected: Expected) -> Procedure[Scan]:
            scan = yield from move(scan, expected, regulator, to)
            watched.hand(hand, missed)
            return scan

        return part

    return for_


def raising_after(watched: Watched) -> Part:
    """Lower LV, have its supply follow no more, and raise it again."""
    lower = moving_first(LV_REGULATOR, 0.7734, output(LV_REGULATOR, 1.0), "contacts")(watched)

    def part(scan: Scan, expected: Expected) -> Procedure[Scan]:
        scan = yield from lower(scan, expected)
        return (yield from move(scan, expected, LV_REGULATOR, 0.8734))

    return part


def opening_first(regulator: str, to: float) -> Part:
    """Open the loop contactor under load, and then move a regulator."""

    def part(scan: Scan, expected: Expected) -> Procedure[Scan]:
        scan = yield from open_contactor(scan, LOOP)
        return (yield from move(scan, expected, regulator, to))

    return part


def asking(expires_s: float) -> Part:
    """Put a prompt that stands open for a while."""
    prompt = confirm(PREPARATION[0], "nothing", expires_s)
    return lambda scan, _expected: ask(scan, prompt)


def shorted_turn(percent: float) -> Hand:
    """Return the hand that shorts a turn of unit B."""
    return setting("wiring", replace(OPPOSITION, shorted_turn_percent=percent))


def left_alone(plant: SimulatedStand, seconds: float) -> SimulatedStand:
    """Return what becomes of a plant to which nobody writes any more."""
    shared = (plant.stand, plant.nameplate, plant.truth, plant.pair, *plant.meters.values())
    ahead = deepcopy(plant, {id(part): part for part in shared})
    ahead.advance(plant.t + round(seconds * S))
    return ahead


def open_soon(plant: SimulatedStand) -> bool:
    """Return whether the main contacts open within their own opening time from now."""
    ahead = left_alone(plant, plant.truth.contactor_open_s)
    contactors = (ahead.loop_contactor, ahead.lv_contactor)
    return all(c.welded or not c.closed for c in contactors)
