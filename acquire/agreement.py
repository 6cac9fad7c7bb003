"""What the files of a scenario must agree on, beyond each being well formed."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from acquire.places import Key, closest, nearest
from drivers.description import (
    Description,
    Instrument,
    Stand,
    TextDescription,
)
from drivers.frozen import MEASURED
from drivers.resource import MODBUS_FORMS, TEXT_FORMS, is_text, link_of, register_unit, unit_of
from drivers.simulated.truth import Truth
from drivers.wiring import OutputWiring, Regulator

# A unit that is only ever simulated in memory.
REGISTERS = "registers:"
REGISTER_FORMS = f"{MODBUS_FORMS}; '{REGISTERS}NAME' in memory"
# What a motor may travel on while a program that stands still is not yet cut off (own choice).
MOST_TRAVEL_ON = 0.05
# Fewer answers that are alike may be one measurement, asked for several times (own choice).
MOST_ALIKE = 5
# A watchdog that drops sooner would drop for a scan that is late once (own choice).
LEAST_SCANS_A_DROP = 3
# What a crash may take of the record (own choice).
LONGEST_UNCOMMITTED_S = 60.0

# The channels without which the test can't be run safely, or at all, and their units.
NEEDED = {
    "guard": "1",
    "emergency_stop": "1",
    "protection_contact": "1",
    "lv_contactor": "1",
    "loop_contactor": "1",
    "lv_regulator": "1",
    "loop_regulator": "1",
    "watchdog": "1",
    "upstream_breaker": "1",
    "resistance_selector": "1",
    "lv.voltage.1": "V",
    "lv.voltage_mean.1": "V",
    "lv.current.1": "A",
    "lv.power.1": "W",
    "frequency": "Hz",
    "series.voltage.1": "V",
    "hv.voltage.1": "V",
    "hv.current.1": "A",
    "hv.power.1": "W",
}
# What shows that a unit gets too hot: its liquid where it has one, else its windings.
SHOWS_HEAT = ("top_liquid", "winding_hv", "winding_lv")


class Disagreement(NamedTuple):
    """A place in a file that doesn't fit the rest: the key's path, what was due, a hint."""

    path: tuple[Key, ...]
    expected: str
    hint: str = ""


def stand_disagreements(
    stand: Stand, descriptions: Mapping[str, Description]
) -> Iterator[Disagreement]:
    """Yield what doesn't fit within a stand file, and between it and the descriptions it names."""
    for i, instrument in enumerate(stand.instrument):
        yield from _instrument(instrument, i, descriptions[instrument.description])
    yield from _repeated(
        {("instrument", i, "name"): inst.name for i, inst in enumerate(stand.instrument)}
    )
    yield from _repeated(
        {
            ("instrument", i, "channel", j, "name"): channel.name
            for i, inst in enumerate(stand.instrument)
            for j, channel in enumerate(inst.channel)
        }
    )
    yield from _pace(stand)
    yield from _links(stand)
    yield from _output_registers(stand.outputs)
    yield from _drives(stand, descriptions)
    yield from _needed_channels(stand)
    yield from _selector_positions(stand)


def truth_disagreements(truth: Truth, stand: Stand) -> Iterator[Disagreement]:
    """Yield truths about instruments that the stand doesn't have."""
    names = [instrument.name for instrument in stand.instrument]
    for name in truth.instrument:
        if name not in names:
            expected = f"an instrument of the stand: {', '.join(names)}"
            yield Disagreement(("instrument", name), expected, nearest(name, names))


def _instrument(instrument: Instrument, i: int, description: Description) -> Iterator[Disagreement]:
    unit = not isinstance(description, TextDescription)
    if not (_is_register_unit if unit else is_text)(instrument.resource):
        expected = REGISTER_FORMS if unit else TEXT_FORMS
        kind = f"{instrument.description} is {'a register unit' if unit else 'asked in text'}"
        yield Disagreement(("instrument", i, "resource"), expected, kind)
    yield from _frozen_after(instrument, i)
    offered = _offered(description)
    for j, channel in enumerate(instrument.channel):
        path = ("instrument", i, "channel", j)
        if channel.field not in offered:
            expected = f"a field of {instrument.description}: {', '.join(offered)}"
            yield Disagreement((*path, "field"), expected, nearest(channel.field, offered))
        if channel.stale_after_s < instrument.period_s:
            expected = f"not less than the poll period, {instrument.period_s:g} s"
            yield Disagreement((*path, "stale_after_s"), expected)
        if list(channel.ranges) != sorted(set(channel.ranges)):
            yield Disagreement((*path, "ranges"), "ranges that ascend")


def _frozen_after(instrument: Instrument, i: int) -> Iterator[Disagreement]:
    """What judges an answer that stays the same has to see several, and something that is there."""
    path = ("instrument", i, "frozen_after_s")
    if instrument.frozen_after_s is None:
        return
    if instrument.frozen_after_s < MOST_ALIKE * instrument.period_s:
        expected = f"at least {MOST_ALIKE} poll periods, {MOST_ALIKE * instrument.period_s:g} s"
        yield Disagreement(path, expected)
    if not any(c.ranges and c.unit in MEASURED for c in instrument.channel):
        expected = f"none: no channel of it is in {', '.join(MEASURED)} with its ranges"
        yield Disagreement(path, expected)


def _offered(description: Description) -> list[str]:
    if isinstance(description, TextDescription):
        return [field for query in description.query for field in query.fields]
    return [value.field for value in description.value]


def _repeated(places: Mapping[tuple[Key, ...], str]) -> Iterator[Disagreement]:
    counts = Counter(places.values())
    for path, name in reversed(list(places.items())):
        if counts[name] > 1:
            yield Disagreement(path, f"a name of its own; {counts[name]} have this one")


def _pace(stand: Stand) -> Iterator[Disagreement]:
    """A late scan or two drop no watchdog, and a crash takes little of the record."""
    least_s = LEAST_SCANS_A_DROP * stand.scan_period_s
    if stand.watchdog.drop_s < least_s:
        expected = f"at least {LEAST_SCANS_A_DROP} scan periods, {least_s:g} s"
        yield Disagreement(("watchdog", "drop_s"), expected)
    if stand.commit_interval_s > LONGEST_UNCOMMITTED_S:
        yield Disagreement(("commit_interval_s",), f"at most {LONGEST_UNCOMMITTED_S:g} s")


def _is_register_unit(resource: str) -> bool:
    return resource.startswith(REGISTERS) or register_unit(resource) is not None


def _links(stand: Stand) -> Iterator[Disagreement]:
    """Outputs have links to themselves: no opening ever waits behind a poll's time-out."""
    if not _is_register_unit(stand.outputs.resource):
        yield Disagreement(("outputs", "resource"), REGISTER_FORMS)
    of_outputs = {link_of(stand.outputs.resource)}
    for name, regulator in stand.outputs.regulators().items():
        if regulator.source is not None:
            path = ("outputs", name, "source", "resource")
            if not is_text(regulator.source.resource):
                yield Disagreement(path, TEXT_FORMS)
            if link_of(regulator.source.resource) in of_outputs:
                yield Disagreement(path, "a link of its own; another output has this one")
            of_outputs.add(link_of(regulator.source.resource))
    taken: dict[tuple[str, int], str] = {}
    for i, instrument in enumerate(stand.instrument):
        link, unit = link_of(instrument.resource), unit_of(instrument.resource)
        other = taken.setdefault((link, unit), instrument.name)
        if link in of_outputs:
            expected = "another link than the outputs': an opening would wait behind a poll"
            yield Disagreement(("instrument", i, "resource"), expected)
        elif other != instrument.name:
            expected = f"a link of its own; {other} has this one"
            yield Disagreement(("instrument", i, "resource"), expected)


def _output_registers(outputs: OutputWiring) -> Iterator[Disagreement]:
    taken: dict[int, tuple[Key, ...]] = {outputs.heartbeat: ("heartbeat",)}
    for path, address in _written(outputs):
        other = taken.setdefault(address, path)
        if other != path:
            expected = f"a register of its own; {other[0]} has this one"
            yield Disagreement(("outputs", *path), expected)


def _written(outputs: OutputWiring) -> Iterator[tuple[tuple[Key, ...], int]]:
    """Yield where each register is named, and which it is."""
    for name in ("lv_contactor", "loop_contactor", "resistance_selector"):
        yield (name, "address"), getattr(outputs, name).address
    for name, regulator in outputs.regulators().items():
        if regulator.address is not None:
            yield (name, "address"), regulator.address
        if regulator.motor is not None:
            yield (name, "motor", "raise_at"), regulator.motor.raise_at
            yield (name, "motor", "lower_at"), regulator.motor.lower_at


def _drives(stand: Stand, descriptions: Mapping[str, Description]) -> Iterator[Disagreement]:
    """Each regulator is driven in one way, by what can hold its steps and is read where it ends."""
    channels = stand.channels()
    for name, regulator in stand.outputs.regulators().items():
        path = ("outputs", name)
        drives = (regulator.address, regulator.motor, regulator.source)
        if sum(drive is not None for drive in drives) != 1:
            yield Disagreement(path, "one of 'address', 'motor' and 'source'")
        if regulator.source is not None:
            description = descriptions[regulator.source.description]
            drive = description.drive if isinstance(description, TextDescription) else None
            if drive is None:
                expected = "a description of a source, with a table 'drive'"
                yield Disagreement((*path, "source", "description"), expected)
            elif not any("{slew}" in message for message in drive.set_up):
                expected = "a source that travels at a rate, with {slew} in one message of set_up"
                yield Disagreement((*path, "source", "description"), expected)
            elif "{volts}" not in drive.level:
                expected = "a source with {volts} in its message 'level'"
                yield Disagreement((*path, "source", "description"), expected)
        if regulator.motor is not None:
            yield from _motor(stand, name, regulator)
            for limit in (f"{name}.lower_limit", f"{name}.upper_limit"):
                if limit not in channels:
                    yield Disagreement(("instrument",), f"a channel named {limit}: it has a motor")
            for watched in (name, f"{name}.lower_limit", f"{name}.upper_limit"):
                if watched in channels and not channels[watched].critical:
                    expected = "true: nothing else stops a motor that nobody sees"
                    yield Disagreement(_path_of(stand, watched, "critical"), expected)


def _motor(stand: Stand, name: str, regulator: Regulator) -> Iterator[Disagreement]:
    a_scan = regulator.rate_per_s * stand.scan_period_s
    if regulator.resolution < a_scan:
        expected = f"at least {a_scan:g}, what its motor travels from one scan to the next"
        yield Disagreement(("outputs", name, "resolution"), expected)
    travels_on = regulator.rate_per_s * stand.watchdog.drop_s
    if travels_on > MOST_TRAVEL_ON:
        expected = (
            f"at most {MOST_TRAVEL_ON / stand.watchdog.drop_s:.3g}: a motor travels on until the"
            f" watchdog has dropped, {stand.watchdog.drop_s:g} s, by at most {MOST_TRAVEL_ON:g}"
        )
        yield Disagreement(("outputs", name, "rate_per_s"), expected)


def _needed_channels(stand: Stand) -> Iterator[Disagreement]:
    channels = stand.channels()
    for name, unit in NEEDED.items():
        if name not in channels:
            yield _missing(stand, name)
        elif channels[name].unit != unit:
            yield Disagreement(_path_of(stand, name, "unit"), f"unit '{unit}' for {name}")
    for unit in "ab":
        shown = [name for place in SHOWS_HEAT if (name := f"{unit}.{place}") in channels]
        if not shown:
            yield _missing(stand, f"{unit}.top_liquid", f", of a dry-type unit {unit}.winding_hv")
        for name in shown:
            if channels[name].unit != "°C":
                yield Disagreement(_path_of(stand, name, "unit"), f"unit '°C' for {name}")
    if not any(re.fullmatch(r"ambient\.\d+", name) for name in channels):
        yield Disagreement(("instrument",), "at least one channel named ambient.1, ambient.2 …")


def _missing(stand: Stand, name: str, otherwise: str = "") -> Disagreement:
    """A channel that isn't there: where the one stands whose name is nearest, if any is near."""
    if near := closest(name, stand.channels().keys() - NEEDED.keys()):
        expected = f"{name}{otherwise}, which no channel is named and a stand has to have"
        return Disagreement(_path_of(stand, near, "name"), expected)
    return Disagreement(("instrument",), f"a channel named {name}{otherwise}")


def _selector_positions(stand: Stand) -> Iterator[Disagreement]:
    """A position connects windings whose resistance is read, and no winding twice."""
    read = [name for name, channel in stand.channels().items() if channel.unit == "Ω"]
    for i, windings in enumerate(stand.outputs.resistance_selector.positions):
        path = ("outputs", "resistance_selector", "positions", i)
        for j, winding in enumerate(windings):
            if winding not in read:
                expected = f"a channel in ohms: {', '.join(read) or 'the stand has none'}"
                yield Disagreement((*path, j), expected, nearest(winding, read))
        if len(set(windings)) != len(windings):
            yield Disagreement(path, "every winding once")


def _path_of(stand: Stand, name: str, key: str) -> tuple[Key, ...]:
    return next(
        ("instrument", i, "channel", j, key)
        for i, instrument in enumerate(stand.instrument)
        for j, channel in enumerate(instrument.channel)
        if channel.name == name
    )
