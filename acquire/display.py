"""How a run stands, as it is shown while it runs: state, readings, what is missing, prompts."""

from typing import Any, NamedTuple

from rich.console import Group, RenderableType
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

WIDTH_OF_A_COLUMN = 46
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
    at: Standing, expected: Expected, size: tuple[int, int], typed: str, said: str
) -> RenderableType:
    """Return the whole picture of a run: what `status_line` says, readings, prompt, what is typed.

    `size` is the terminal's width and height, of which readings take what the rest leaves: a
    prompt is never pushed off. `said` is what was last said back to whoever typed.
    """
    width, height = size
    above = [Text("─" * max(width - 1, 1), QUIET), status_line(at, expected)]
    below = [Text(f"not yet: {missing}", ABNORMAL) for missing in at.scan.refused]
    if at.scan.asked is not None:
        below += _prompt(at.scan)
    if said:
        below.append(Text(said, ABNORMAL))
    below.append(Text("Ctrl-C stops; once more opens everything at once", QUIET))
    below.append(Text(f"> {typed}", "bold"))
    taken = sum(-(-max(len(text), 1) // max(width, 1)) for text in (*above, *below))
    return Group(*above, _readings(at.scan, expected, width, height - taken - 2), *below)


def _prompt(scan: Scan) -> list[Text]:
    assert scan.asked is not None
    prompt, put = scan.asked
    left = stand_time(max(put + round(prompt.expires_s * S) - scan.now, 0))
    lines = [Text(f"ASKED of {prompt.who}: {prompt.asked}", f"bold {MANDATORY}")]
    if prompt.seen:
        lines.append(Text(f"seen: {prompt.seen}", MANDATORY))
    lines.append(Text(f"then: {prompt.follows}; {left} left. {HOW}", MANDATORY))
    return lines


def _readings(scan: Scan, expected: Expected, width: int, most_rows: int) -> Table:
    """Return the readings; where there is no room for all, what is critical goes first."""
    channels = expected.channels.items()
    columns = max(min(width // WIDTH_OF_A_COLUMN, 4), 1)
    room = columns * max(most_rows, 0)
    if len(channels) > room:
        first = sorted(channels, key=lambda item: not item[1].critical)[: max(room - 1, 0)]
    else:
        first = list(channels)
    cells = [_reading(scan.image[name], channel, scan.now) for name, channel in first]
    if len(first) < len(channels):
        cells.append(Text(f"{len(channels) - len(first)} more: the window is small", QUIET))
    rows = -(-len(cells) // columns)
    table = Table.grid(padding=(0, 2))
    for row in range(rows):
        table.add_row(*cells[row::rows])
    return table


def _reading(reading: Reading, channel: Channel, now: int) -> Text:
    """Return a channel's newest reading with quality and age; green never means right."""
    stale = now - reading.t > channel.stale_after_s * S
    value = "–" if reading.value is None else f"{reading.value:.5g}"
    style = ABNORMAL if stale else QUALITIES[reading.quality]
    quality = "stale" if stale else reading.quality.name.casefold()
    age_s = (now - reading.t) / S
    unit = unit_shown(channel.unit)
    text = f"{reading.channel:<20.20}{value:>9.9} {unit:<2.2} {quality:<6.6}{age_s:>5.1f} s"
    return Text(text, style)
