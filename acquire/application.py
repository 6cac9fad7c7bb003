"""The application that the commands belong to: how what is asked wrongly is said, and options."""

import io
import sys
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer
from typer.core import TyperGroup

from acquire.refusal import Refusal

BAD_INPUT = 2
STOPPED = 3
# What Typer makes of Ctrl-C.
INTERRUPTED = 130
# What SQLite and the seeds of the simulated stand can hold.
LARGEST = 2**63 - 1
# How many times as fast as the wall's a stand's clock may run.
FASTEST = 1000.0
# Processes of a storm.
MOST_JOBS = 256
# What a Monte Carlo's arrays may take: half a gigabyte.
MOST_DRAWS = 5_000_000


class Connection(StrEnum):
    """How the simulated pair is wired."""

    OPPOSITION = "opposition"
    AIDING = "aiding"
    OPEN_LEAD = "open-lead"
    OPEN_LV_LEAD = "open-lv-lead"


class Voltmeter(StrEnum):
    """What the simulated series voltmeter does."""

    LIVE = "live"
    DEAD = "dead"


class OneLine(TyperGroup):
    """The commands; whatever was asked wrongly is said in one line."""

    def main(self, args: Sequence[str] | None = None, *more: Any, **extra: Any) -> Any:
        """Run a command and leave with the exit code that it returns."""
        args = sys.argv[1:] if args is None else list(args)
        for stream in (sys.stdout, sys.stderr):
            # A terminal of few characters shows question marks rather than a trace.
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="replace")
        try:
            code = self._help(args) or super().main(
                args, *more, **{**extra, "standalone_mode": False}
            )
        except typer.TyperException as error:
            words = str(getattr(error, "format_message", error.__str__)())
            fail(f"{words.replace('Value error, ', '').rstrip('.')}; see twinload --help")
        except Refusal as refusal:
            fail(str(refusal), refusal.exit_code)
        if code == INTERRUPTED:
            fail("interrupted; a run that was under way counts as aborted", STOPPED)
        sys.exit(code if isinstance(code, int) else 0)

    def _help(self, args: Sequence[str]) -> str | None:
        """Print a command's help where that is all that is asked; return what was printed.

        Typer itself would first import pydantic to look at the options.
        """
        if len(args) != 2 or args[1] != "--help" or args[0] not in self.commands:
            return None
        command = self.commands[args[0]]
        words = command.get_help(
            typer.Context(command, typer.Context(self, info_name="twinload"), args[0])
        )
        typer.echo(words)
        return words


app = typer.Typer(
    cls=OneLine,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Back-to-back test of two identical transformers. Not a safety device.",
)

Out = Annotated[Path, typer.Option(help="Folder of the archive.", metavar="DIR")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def fail(words: str, code: int = BAD_INPUT) -> NoReturn:
    """Say in one line what is wrong, and leave."""
    typer.echo(f"twinload: {' '.join(words.split())}", err=True)
    sys.exit(code)
