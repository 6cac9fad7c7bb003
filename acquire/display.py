"""How a run stands, as it is shown while it runs: state, readings, what is missing, prompts."""

from itertools import chain
from typing import Any, NamedTuple

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from acquire.progress import least_to_go_s, stages_of
from acquire.report import stand_time
from acquire.terminal import ABNORMAL, EMERGENCY, MANDATORY, NORMAL, PLAIN, QUIET, unit_shown
from acquire.terminal_operator import HOW
from drivers.description import Channel
from drivers.reading import Quality, Reading
from sequences.expected import Expected
from sequences.run import Run
from sequences.scan import S, Scan

WIDTH_OF_A_READING, BETWEEN = 46, 2
HINT = "Ctrl-C or stop ends the run, twice opens all at once; hold keeps a soak"
STATES = {"running": NORMAL, "complete": NORMAL, "aborting": EMERGENCY, "aborted": EMERGENCY}
QUALITIES = {Quality.GOOD: PLAIN, Quality.UNCERTAIN: ABNORMAL, Quality.BAD: ABNORMAL}


class Standing(NamedTuple):
    """A scan, and what the run was in it; `stage_began` is stand time, ns."""

    scan: Scan
    state: str
    stage: str
    stage_began: int
    attempts: int


class Follower:
    """Keeps how the run stands after its last scan, for whoever shows it."""

    def __init__(self) -> None:
        self.standing: Standing | None = None

    def __call__(self, scan: Scan, run: Run[Any]) -> None:
        """Take a scan."""
        last = self.standing
        entered = last is None or last.stage != run.stage or last.attempts != run.attempts
        began = scan.now if last is None or entered else last.stage_began
        self.standing = Standing(scan, run.state.value, run.stage, began, run.attempts)


def status_line(at: Standing, expected: Expected) -> Text:
    """Return state, stage, how long it has lasted and what is left at least, in one line."""
    stages = stages_of(expected)
    within_s = (at.scan.now - at.stage_began) / S
    words = f" {at.stage.replace('_', ' ')}"
    if at.stage in stages:
        words += f" (stage {stages.index(at.stage) + 1} of {len(stages)})"
    words += f" for {stand_time(at.scan.now - at.stage_began)}"
    if at.state == "running":
        to_go = stand_time(round(least_to_go_s(expected, at.stage, within_s) * S))
        words += f", to go at least {to_go} beside answers and soak"
    line = Text(f"{stand_time(at.scan.now):>8}  ", QUIET)
    line.append(at.state, STATES.get(at.state, ABNORMAL))
    return line.append(words)


def frame(
    at: Standing, expected: Expected, console: Console, typed: str, said: str
) -> RenderableType:
    """Return the whole picture of a run: what `status_line` says, readings, prompt, what is typed.

    Readings take what the rest leaves of the console's lines; where those don't do for the rest, it
    goes by its rank, and a prompt, how to answer it and what is typed stay to the last. `said` is
    what was last said back to whoever typed.
    """
    width, height = console.size
    above = [Part(8, Text("─" * max(width - 1, 1), QUIET)), Part(5, status_line(at, expected))]
    below = [Part(6, Text(f"not yet: {missing}", ABNORMAL)) for missing in at.scan.refused]
    if at.scan.asked is not None:
        below += _prompt(at.scan)
    if said:
        below.append(Part(3, Text(said, ABNORMAL)))
    below.append(Part(7, Text(HINT, QUIET)))
    if at.scan.asked is not None:
        below.append(Part(1, Text(HOW, MANDATORY)))
    below.append(Part(0, Text(f"> {typed[-max(width - 3, 1) :]}", "bold")))
    # One line is left to the terminal: where a picture fills it, it scrolls.
    lines, left = _fitted([*above, *below], console, width, max(height - 1, 0))
    readings = _readings(at.scan, expected, width, left)
    over, under = lines[: len(above)], lines[len(above) :]
    return Group(*chain.from_iterable(over), *readings, *chain.from_iterable(under))


class Part(NamedTuple):
    """A part of the picture; the higher its `rank`, the sooner it goes where there is no room."""

    rank: int
    text: Text


def _fitted(
    parts: list[Part], console: Console, width: int, room: int
) -> tuple[list[list[Text]], int]:
    """Return the lines that each part gets of so many, and how many are left."""
    lines: list[list[Text]] = [[] for _ in parts]
    for at in sorted(range(len(parts)), key=lambda at: parts[at].rank):
        whole = list(parts[at].text.wrap(console, width))
        lines[at] = whole[:room]
        room -= len(lines[at])
        if 0 < len(lines[at]) < len(whole):
            lines[at][-1].truncate(width - 2)
            lines[at][-1].append(" …")
    return lines, room


def _prompt(scan: Scan) -> list[Part]:
    assert scan.asked is not None
    prompt, put = scan.asked
    left = stand_time(max(put + round(prompt.expires_s * S) - scan.now, 0))
    parts = [Part(2, Text(f"ASKED of {prompt.who}: {prompt.asked}", f"bold {MANDATORY}"))]
    if prompt.seen:
        parts.append(Part(4, Text(f"seen: {prompt.seen}", MANDATORY)))
    parts.append(Part(4, Text(f"then: {prompt.follows}; {left} left", MANDATORY)))
    return parts


def _readings(scan: Scan, expected: Expected, width: int, most_rows: int) -> list[Table]:
    """Return the readings; where there is no room for all, what is critical goes first."""
    if most_rows < 1:
        return []
    channels = expected.channels.items()
    columns = max(min((width + BETWEEN) // (WIDTH_OF_A_READING + BETWEEN), 4), 1)
    room = columns * most_rows
    if len(channels) > room:
        first = sorted(channels, key=lambda item: not item[1].critical)[: max(room - 1, 0)]
    else:
        first = list(channels)
    wide = max((width + BETWEEN) // columns - BETWEEN, WIDTH_OF_A_READING)
    cells = [_reading(scan.image[name], channel, scan.now, wide) for name, channel in first]
    if len(first) < len(channels):
        cells.append(Text(f"{len(channels) - len(first)} more: the window is small", QUIET))
    rows = -(-len(cells) // columns)
    table = Table.grid(padding=(0, BETWEEN))
    for row in range(rows):
        table.add_row(*cells[row::rows])
    return [table]


def _reading(reading: Reading, channel: Channel, now: int, wide: int) -> Text:
    """Return a channel's newest reading with quality and age; green never means right.

    One without a value says in its place why it is bad, as far as that goes into `wide`.
    """
    stale = now - reading.t > channel.stale_after_s * S
    style = ABNORMAL if stale else QUALITIES[reading.quality]
    quality = "stale" if stale else reading.quality.name.casefold()
    age = f"{(now - reading.t) / S:>5.1f} s"
    if reading.value is None:
        room = wide - 21 - len(age)
        said = f" {f'{quality}: {_short(reading.reason)}':<{room}.{room}}"
    else:
        said = f"{reading.value:>9.5g} {unit_shown(channel.unit):<2.2} {quality:<6.6}"
    text = f"{reading.channel:<20.20}{said}{age}"
    return Text(text, style, no_wrap=True, overflow="ellipsis")


def _short(reason: str) -> str:
    """Return why a reading is bad, without the instrument and what it was asked."""
    _, asked, rest = reason.partition(": asked ")
    return rest.partition(f"{rest[0]}, ")[2] if asked else reason
