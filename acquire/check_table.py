"""A checked stand as a table, and as plain values."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from acquire.terminal import ABNORMAL, NORMAL, PLAIN, unit_shown
from drivers.description import Stand
from drivers.instrument import NO_VALUE
from drivers.reading import OVER_RANGE, Quality, Reading

if TYPE_CHECKING:
    from acquire.checking import Checked

S = 1_000_000_000
# A fault is the reason of all its instrument's readings, and is told below them.
SHORT_REASONS = {OVER_RANGE: OVER_RANGE, NO_VALUE: "no value"}


def shown(checks: Sequence["Checked"], outputs: str, slow: str) -> list[RenderableType]:
    """Return what to print: every instrument, every channel, then what is wrong and what to do.

    `outputs` is what is wrong with what drives the outputs, `slow` with the pace of the scan.
    """
    parts: list[RenderableType] = [_instruments(checks), _channels(checks)]
    for c in checks:
        if c.wrong:
            where = f"{c.instrument.name} at {c.instrument.resource}"
            parts.append(Text(f"{where}: {c.wrong}", ABNORMAL))
            parts.append(Text(f"    {c.to_do}", ABNORMAL))
    style = ABNORMAL if outputs else NORMAL
    parts.append(Text(outputs or "outputs: what drives them answers; nothing was written", style))
    if slow:
        parts.append(Text(slow, ABNORMAL))
    return parts


def plain(stand: Stand, checks: Sequence["Checked"], outputs: str, slow: str) -> dict[str, Any]:
    """Return the same as plain values; ages and latencies in s."""
    return {
        "stand": stand.name,
        "instruments": [_instrument(c) for c in checks],
        "outputs": outputs or None,
        "scan": slow or None,
    }


def _instruments(checks: Sequence["Checked"]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("Instrument", no_wrap=True)
    table.add_column("Says it is", overflow="fold")
    table.add_column("Latency", justify="right", no_wrap=True)
    for c in checks:
        name = Text(c.instrument.name, ABNORMAL if c.wrong else PLAIN)
        latency = _ms(c.latency_s) if c.readings else "–"
        table.add_row(name, Text(c.identity or "–"), latency)
    return table


def _channels(checks: Sequence["Checked"]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("Channel", no_wrap=True)
    table.add_column("Value", justify="right")
    table.add_column("Unit")
    table.add_column("Quality")
    table.add_column("Age", justify="right")
    for c in checks:
        units = {channel.name: channel.unit for channel in c.instrument.channel}
        for reading in c.readings:
            table.add_row(*_cells(reading, units[reading.channel], c.ended))
    return table


def _cells(reading: Reading, unit: str, now: int) -> tuple[str | Text, ...]:
    value = "–" if reading.value is None else f"{reading.value:.6g}"
    style = NORMAL if reading.quality is Quality.GOOD else ABNORMAL
    words = reading.quality.name.casefold()
    if reading.reason in SHORT_REASONS:
        words += f", {SHORT_REASONS[reading.reason]}"
    age = _ms((now - reading.t) / S)
    return reading.channel, value, unit_shown(unit), Text(words, style), age


def _ms(seconds: float) -> str:
    return f"{1000 * seconds:.1f} ms"


def _instrument(c: "Checked") -> dict[str, Any]:
    units = {channel.name: channel.unit for channel in c.instrument.channel}
    return {
        "instrument": c.instrument.name,
        "resource": c.instrument.resource,
        "identity": c.identity or None,
        "latency_s": c.latency_s,
        "wrong": c.wrong or None,
        "to_do": c.to_do or None,
        "channels": [
            {
                "channel": r.channel,
                "value": r.value,
                "unit": units[r.channel],
                "quality": r.quality.name.casefold(),
                "reason": r.reason,
                "age_s": (c.ended - r.t) / S,
            }
            for r in c.readings
        ],
    }
