"""Faults of instruments: what may be wrong with the answers of any that the stand has."""

from collections.abc import Callable, Mapping
from random import Random

from drivers.description import Description, Instrument, RegisterDescription, Stand
from drivers.registers import encode, placed
from drivers.simulated.faults.fault import Fault, HasStand, PlantFault
from drivers.simulated.hands import Change
from drivers.simulated.links import NOT_A_NUMBER
from drivers.simulated.meters import OVER_RANGE
from drivers.simulated.stand import SimulatedStand
from drivers.simulated.tampering import (
    LATE_ONE_IN,
    Exchanged,
    Frozen,
    Garbage,
    Late,
    Marked,
    Tampering,
    Truncated,
)

Changes = Callable[[HasStand], tuple[Change, ...]]

SLOW = 0.9  # of its time-out
STALE = (
    "its channels are bad at once and stale after their time; a critical one while its contactor"
    " is closed: stop category 1 in 2 s, then 0; in prepare: stop, instrument without reading;"
    " contacts that nobody reads: the stand may be live"
)
NO_VALUE = "bad readings with the fault in the record, never a number; then as if it were silent"

MUST = {
    "silent": STALE,
    "slow": "nothing: it still answers within its time-out, and the scan waits for nobody",
    "late": (
        f"one answer in {LATE_ONE_IN} comes too late: a bad reading, the link opened anew, and no"
        " answer taken for that to another question"
    ),
    "garbage": NO_VALUE,
    "truncated": (
        "a list or block cut short is bad, as if it were silent; a single number cut short is a"
        " wrong number, which what it contradicts has to stop"
    ),
    "frozen": (
        "an answer that stays the same for the time that the stand file gives is bad, as if it were"
        " silent; else it is found when something moves: no response, a proof that fails, a"
        " contactor that will not close or open"
    ),
    "over_range": (
        "over range is exceeded for every trip of the channel, and never stale: stop category 0"
        " where one is armed, else the proof fails"
    ),
    "not_a_number": NO_VALUE,
    "identity_changed": "another instrument is not believed: as if it were silent",
}


def instrument_faults(
    stand: Stand, descriptions: Mapping[str, Description]
) -> tuple[PlantFault, ...]:
    """Return every fault of every instrument of the stand, those of the outputs' unit as well."""
    found = [
        Fault(f"{i.name}_{how}", "instrument", MUST[how], changes)
        for i in stand.instrument
        for how, changes in _of(i, descriptions[i.description]).items()
    ]
    return (*found, *_outputs(stand))


def _of(instrument: Instrument, description: Description) -> dict[str, Changes]:
    """Return what is changed by each fault that this instrument can have."""
    name = instrument.name
    identity = _other_identity(description)
    faults: dict[str, Changes] = {
        "silent": _silent(name),
        "slow": _slow(name, SLOW * instrument.timeout_s),
        "late": _tampered(name, lambda _: Late()),
        "garbage": _tampered(name, lambda s: Garbage(Random(f"{s.seed}/{name}/garbage"))),
        "truncated": _tampered(name, lambda _: Truncated()),
        "frozen": _tampered(name, lambda _: Frozen()),
        "identity_changed": _tampered(name, lambda _: Exchanged(name, identity)),
    }
    over, none = _over_range(instrument, description), _no_value(description)
    if over is not None:
        faults["over_range"] = _tampered(name, lambda _: Marked(OVER_RANGE, over))
    if none is not None:
        faults["not_a_number"] = _tampered(name, lambda _: Marked(NOT_A_NUMBER, none))
    return {how: faults[how] for how in MUST if how in faults}


def _silent(name: str) -> Changes:
    return lambda at: (Change(at.stand, "silent", lambda silent: silent | {name}),)


def _slow(name: str, latency_s: float) -> Changes:
    return lambda at: (Change(at.stand, "latencies_s", lambda all_: {**all_, name: latency_s}),)


def _tampered(name: str, new: Callable[[SimulatedStand], Tampering]) -> Changes:
    def changes(at: HasStand) -> tuple[Change, ...]:
        tampering = new(at.stand)
        return (
            Change(
                at.stand, "tampering", lambda all_: {**all_, name: (*all_.get(name, ()), tampering)}
            ),
        )

    return changes


def _other_identity(description: Description) -> dict[int, int]:
    if not isinstance(description, RegisterDescription):
        return {}
    identity = description.identity
    return {identity.address + i: r ^ 1 for i, r in enumerate(identity.registers)}


def _over_range(instrument: Instrument, description: Description) -> dict[int, int] | None:
    """Return the registers of values above every range; None where the unit has no ranges."""
    if not isinstance(description, RegisterDescription):
        return {}
    ranges = {c.field: c.ranges[-1] for c in instrument.channel if c.ranges}
    over: dict[int, int] = {}
    for f in description.value:
        if f.field in ranges:
            over |= placed(f, encode(f, 1.5 * ranges[f.field]))
    return over or None


def _no_value(description: Description) -> dict[int, int] | None:
    """Return the registers of no value; None where the unit has no mark for it."""
    if not isinstance(description, RegisterDescription):
        return {}
    none: dict[int, int] = {}
    for f in description.value:
        if f.not_implemented is not None or f.open_sensor:
            none |= placed(f, encode(f, None))
    return none or None


def _outputs(stand: Stand) -> tuple[PlantFault, ...]:
    return (
        Fault(
            "outputs_silent",
            "instrument",
            "a write that is lost: stop category 0, and the heartbeat is withheld for good, so that"
            " the watchdog cuts after its time; aborted",
            _silent("outputs"),
        ),
        Fault(
            "outputs_slow",
            "instrument",
            "nothing while every write arrives within its time-out; where the heartbeat comes too"
            " late the watchdog cuts",
            _slow("outputs", SLOW * stand.outputs.timeout_s),
        ),
        *(
            Fault(
                f"{name}_silent",
                "instrument",
                "a voltage that its source doesn't take: stop category 0, and the heartbeat is"
                " withheld for good",
                _silent(name),
            )
            for name, regulator in stand.outputs.regulators().items()
            if regulator.source is not None
        ),
    )
