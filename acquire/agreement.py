"""What the files of a scenario must agree on, beyond each being well formed."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from acquire.places import Key, nearest
from drivers.description import (
    Description,
    Instrument,
    OutputWiring,
    Stand,
    TextDescription,
)
from drivers.resource import MODBUS_FORMS, link_of, register_unit, unit_of
from drivers.simulated.truth import Truth

# A unit that is only ever simulated in memory.
REGISTERS = "registers:"
REGISTER_FORMS = f"{MODBUS_FORMS}; '{REGISTERS}NAME' in memory"

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
    yield from _links(stand)
    yield from _output_registers(stand.outputs)
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
    if unit != _is_register_unit(instrument.resource):
        expected = REGISTER_FORMS if unit else "a VISA resource, 'TCPIP::HOST::PORT::SOCKET'"
        kind = f"{instrument.description} is {'a register unit' if unit else 'asked in text'}"
        yield Disagreement(("instrument", i, "resource"), expected, kind)
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


def _offered(description: Description) -> list[str]:
    if isinstance(description, TextDescription):
        return [field for query in description.query for field in query.fields]
    return [value.field for value in description.value]


def _repeated(places: Mapping[tuple[Key, ...], str]) -> Iterator[Disagreement]:
    counts = Counter(places.values())
    for path, name in reversed(list(places.items())):
        if counts[name] > 1:
            yield Disagreement(path, f"a name of its own; {counts[name]} have this one")


def _is_register_unit(resource: str) -> bool:
    return resource.startswith(REGISTERS) or register_unit(resource) is not None


def _links(stand: Stand) -> Iterator[Disagreement]:
    """Outputs have a link to themselves: no opening ever waits behind a poll's time-out."""
    if not _is_register_unit(stand.outputs.resource):
        yield Disagreement(("outputs", "resource"), REGISTER_FORMS)
    of_outputs = link_of(stand.outputs.resource)
    taken: dict[tuple[str, int], str] = {}
    for i, instrument in enumerate(stand.instrument):
        link, unit = link_of(instrument.resource), unit_of(instrument.resource)
        other = taken.setdefault((link, unit), instrument.name)
        if link == of_outputs:
            expected = "another link than the outputs': an opening would wait behind a poll"
            yield Disagreement(("instrument", i, "resource"), expected)
        elif other != instrument.name:
            expected = f"a link of its own; {other} has this one"
            yield Disagreement(("instrument", i, "resource"), expected)


def _output_registers(outputs: OutputWiring) -> Iterator[Disagreement]:
    taken = {outputs.heartbeat: "heartbeat"}
    for name in (
        "lv_contactor",
        "loop_contactor",
        "resistance_selector",
        "lv_regulator",
        "loop_regulator",
    ):
        other = taken.setdefault(getattr(outputs, name).address, name)
        if other != name:
            expected = f"a register of its own; {other} has this one"
            yield Disagreement(("outputs", name, "address"), expected)


def _needed_channels(stand: Stand) -> Iterator[Disagreement]:
    channels = stand.channels()
    for name, unit in NEEDED.items():
        if name not in channels:
            hint = nearest(name, channels.keys() - NEEDED.keys())
            yield Disagreement(("instrument",), f"a channel named {name}", hint)
        elif channels[name].unit != unit:
            yield Disagreement(_path_of(stand, name), f"unit '{unit}' for {name}")
    for unit in "ab":
        shown = [name for place in SHOWS_HEAT if (name := f"{unit}.{place}") in channels]
        if not shown:
            hint = nearest(f"{unit}.top_liquid", channels.keys() - NEEDED.keys())
            expected = f"a channel named {unit}.top_liquid, of a dry-type unit {unit}.winding_hv"
            yield Disagreement(("instrument",), expected, hint)
        for name in shown:
            if channels[name].unit != "°C":
                yield Disagreement(_path_of(stand, name), f"unit '°C' for {name}")
    if not any(re.fullmatch(r"ambient\.\d+", name) for name in channels):
        yield Disagreement(("instrument",), "at least one channel named ambient.1, ambient.2 …")


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


def _path_of(stand: Stand, name: str) -> tuple[Key, ...]:
    return next(
        ("instrument", i, "channel", j, "unit")
        for i, instrument in enumerate(stand.instrument)
        for j, channel in enumerate(instrument.channel)
        if channel.name == name
    )
