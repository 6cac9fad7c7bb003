"""A checked stand as a table, and as plain values."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from acquire.terminal import ABNORMAL, NORMAL, PLAIN, unit_shown
from drivers.description import Stand
from drivers.reading import Quality, Reading

if TYPE_CHECKING:
    from acquire.checking import Checked

S = 1_000_000_000


def shown(checks: Sequence["Checked"], outputs: str) -> list[RenderableType]:
    """Return what to print: every channel, then what is wrong and what to do.

    `outputs` is what is wrong with what drives the outputs.
    """
    parts: list[RenderableType] = [_table(checks)]
    for c in checks:
        if c.wrong:
            parts.append(Text(f"{c.instrument.name}: {c.wrong}", ABNORMAL))
            parts.append(Text(f"    {c.to_do}", ABNORMAL))
    style = ABNORMAL if outputs else NORMAL
    parts.append(Text(outputs or "outputs: what drives them answers; nothing was written", style))
    return parts


def plain(stand: Stand, checks: Sequence["Checked"], outputs: str) -> dict[str, Any]:
    """Return the same as plain values; ages and latencies in s."""
    return {
        "stand": stand.name,
        "instruments": [_instrument(c) for c in checks],
        "outputs": outputs or None,
    }


def _table(checks: Sequence["Checked"]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("Instrument", "Channel"):
        table.add_column(heading, no_wrap=True)
    table.add_column("Value", justify="right")
    table.add_column("Unit")
    table.add_column("Quality")
    for heading in ("Age", "Latency"):
        table.add_column(heading, justify="right")
    for c in checks:
        units = {channel.name: channel.unit for channel in c.instrument.channel}
        first = (Text(c.instrument.name, ABNORMAL if c.wrong else PLAIN), _ms(c.latency_s))
        if not c.readings:
            table.add_row(first[0], *("–",) * 6)
        for reading in c.readings:
            cells = _cells(reading, units[reading.channel], c.ended)
            table.add_row(first[0], *cells, first[1])
            first = (Text(""), "")
    return table


def _cells(reading: Reading, unit: str, now: int) -> tuple[str | Text, ...]:
    value = "–" if reading.value is None else f"{reading.value:.6g}"
    style = NORMAL if reading.quality is Quality.GOOD else ABNORMAL
    quality = Text(reading.quality.name.casefold(), style)
    return reading.channel, value, unit_shown(unit), quality, _ms((now - reading.t) / S)


def _ms(seconds: float) -> str:
    return f"{1000 * seconds:.1f} ms"


def _instrument(c: "Checked") -> dict[str, Any]:
    units = {channel.name: channel.unit for channel in c.instrument.channel}
    return {
        "instrument": c.instrument.name,
        "resource": c.instrument.resource,
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
