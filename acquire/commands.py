"""The command line. What a command needs is imported when it runs, so that help comes at once."""

import io
import sys
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Literal, NoReturn

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


@app.command()
def rehearse(  # noqa: PLR0913 - the options of the command, one each
    scenario: Annotated[
        str, typer.Argument(help="A shipped scenario or a folder.")
    ] = "distribution_pair",
    *,
    schedule: Annotated[
        str, typer.Option(help="A file of the scenario's schedules.", metavar="NAME")
    ] = "heat_run",
    seed: Annotated[int, typer.Option(help="Of all that is random.", min=0, max=LARGEST)] = 1,
    connection: Annotated[
        Connection, typer.Option(help="How the simulated pair is wired; open-lead is HV.")
    ] = Connection.OPPOSITION,
    voltmeter: Annotated[
        Voltmeter, typer.Option(help="Whether the series voltmeter works.")
    ] = Voltmeter.LIVE,
    fault: Annotated[
        list[str] | None,
        typer.Option(help="NAME[@WHEN][:SECONDS], see twinload faults.", metavar="FAULT"),
    ] = None,
    continues: Annotated[
        int | None,
        typer.Option(
            "--continues",
            help="A heat run that was cut short, to go on from.",
            metavar="RUN",
            min=1,
            max=LARGEST,
        ),
    ] = None,
    out: Out = Path("runs"),
    json: Json = False,
) -> int:
    """Run the test on the simulated stand, in seconds.

    --fault may be given several times.

    Exit code 0: complete and within limits; 2: bad input; 3: stopped or aborted; 4: outside limits.
    """
    from acquire.actions import rehearsed

    return rehearsed(
        scenario, schedule, seed, connection, voltmeter, fault or [], out, json, continues
    )


@app.command()
def run(
    stand: Annotated[
        str, typer.Argument(help="A folder with stand.toml, or that file.", show_default=False)
    ],
    *,
    pair: Annotated[
        str, typer.Option(help="A file, or a name in the folder; else its pair.toml.")
    ] = "",
    schedule: Annotated[
        str, typer.Option(help="A file, or a name in the folder's schedules.", metavar="NAME")
    ] = "heat_run",
    speed: Annotated[
        float,
        typer.Option(help="Of stand time, where every address is local.", min=0.1, max=1000),
    ] = 1.0,
    unattended: Annotated[
        bool,
        typer.Option("--unattended", help="Go on without a terminal, where the stand file allows."),
    ] = False,
    continues: Annotated[
        int | None,
        typer.Option(
            "--continues",
            help="A heat run that was cut short, to go on from.",
            metavar="RUN",
            min=1,
            max=LARGEST,
        ),
    ] = None,
    out: Out = Path("runs"),
    json: Json = False,
) -> int:
    """Run the test on a stand that is there, in the foreground; prompts are answered by hand.

    Ctrl-C brings current and voltage to zero and opens; once more opens everything at once.

    Exit code 0: complete and within limits; 2: bad input; 3: stopped or aborted; 4: outside limits.
    """
    from acquire.running import Wanted, run_stand

    return run_stand(stand, pair, schedule, Wanted(out, speed, unattended, json, continues))


@app.command()
def check(
    stand: Annotated[
        str, typer.Argument(help="A folder with stand.toml, or that file.", show_default=False)
    ],
    *,
    json: Json = False,
) -> int:
    """Open every instrument of a stand and read every channel once. Writes to no output.

    Exit code 4: something is wrong; what, and what to do, is said.
    """
    from acquire.checking import checked

    return checked(stand, json)


@app.command()
def describe(
    file: Annotated[
        Path, typer.Argument(help="A description of an instrument.", show_default=False)
    ],
    *,
    resource: Annotated[
        str, typer.Option(help="Ask the instrument there.", metavar="ADDRESS")
    ] = "",
    json: Json = False,
) -> int:
    """Check a description of an instrument; with --resource, ask it and show what came back.

    Exit code 4: the instrument doesn't answer as the description says.
    """
    from acquire.describing import described

    return described(file, resource, json)


@app.command()
def faults(
    scenario: Annotated[
        str, typer.Argument(help="A shipped scenario or a folder.")
    ] = "distribution_pair",
    *,
    json: Json = False,
) -> int:
    """List the faults of a rehearsal, and what the stand must do about each."""
    from acquire.faults_table import faults_listed

    return faults_listed(scenario, json)


@app.command()
def simulate(
    stand: Annotated[
        str, typer.Argument(help="A shipped scenario or a folder.")
    ] = "distribution_pair",
    *,
    speed: Annotated[
        float, typer.Option(help="How many times as fast its clock runs.", min=0.01, max=FASTEST)
    ] = 1.0,
    listen: Annotated[
        str, typer.Option(help="Serve here instead.", metavar="ADDRESS")
    ] = "127.0.0.1",
    pty: Annotated[
        bool, typer.Option("--pty", help="Text instruments on pseudo-terminals too.")
    ] = False,
    rtu: Annotated[
        bool, typer.Option("--rtu", help="Register units on pseudo-terminals too.")
    ] = False,
    seed: Annotated[int, typer.Option(help="Of all that is random.", min=0, max=LARGEST)] = 1,
    connection: Annotated[
        Connection, typer.Option(help="How the simulated pair is wired; open-lead is HV.")
    ] = Connection.OPPOSITION,
    fault: Annotated[
        list[str] | None,
        typer.Option(help="NAME[@SECONDS][:SECONDS], see twinload faults.", metavar="FAULT"),
    ] = None,
) -> int:
    """Serve the simulated stand on sockets, for any program.

    It listens to lines while it runs: faults, guard, interchange, state, quit.

    Exit code 0: ended; 2: bad input, or a port that is taken.
    """
    from acquire.serving import Wanted
    from acquire.simulating import simulated

    return simulated(stand, seed, connection, fault or [], Wanted(listen, speed, pty, rtu))


@app.command()
def storm(
    *,
    seeds: Annotated[
        str, typer.Option(help="The first and the last, both included.", metavar="A..B")
    ] = "1..200",
    jobs: Annotated[int, typer.Option(help="Processes.", min=1, max=MOST_JOBS)] = 1,
    report: Annotated[
        Path | None, typer.Option(help="Write the report as Markdown.", metavar="FILE")
    ] = None,
    schedule: Annotated[
        str, typer.Option(help="A file of the shipped scenario's schedules.", metavar="NAME")
    ] = "loss_test",
    replay: Annotated[
        int | None, typer.Option(help="Run this one and tell its story.", min=0, max=LARGEST)
    ] = None,
    json: Json = False,
) -> int:
    """Rehearse under faults at random, and judge every instant on the true circuit.

    Exit code 3: interrupted; 4: something that may never be was.
    """
    from acquire.storm.command import replayed, seeds_of, stormed

    if replay is not None:
        return replayed(replay, schedule, json)
    return stormed(seeds_of(seeds), schedule, jobs, report, json)


@app.command()
def reduce(
    file: Annotated[
        Path | None, typer.Argument(help="Readings taken by hand, TOML.", show_default=False)
    ] = None,
    *,
    template: Annotated[
        bool, typer.Option("--template", help="Print a commented example of FILE and end.")
    ] = False,
    budget: Annotated[
        str | None,
        typer.Option(help="Print one quantity's uncertainty budget.", metavar="QUANTITY"),
    ] = None,
    figure: Annotated[
        Path | None, typer.Option(help="Draw curves and circuit: .svg, .png, .pdf.", metavar="FILE")
    ] = None,
    monte_carlo: Annotated[
        int | None,
        typer.Option(help="Draw the uncertainties so many times.", min=1000, max=MOST_DRAWS),
    ] = None,
    rule: Annotated[
        Literal["simple", "guarded"] | None,
        typer.Option(help="Decision rule, before the file's own."),
    ] = None,
    json: Json = False,
) -> int:
    """Reduce readings taken by hand: a pair or one transformer, one phase or three.

    Exit code 0: reduced, and within limits where FILE has a guarantee; 2: bad input; 4: outside
    limits, or no verdict.
    """
    from acquire.reducing import Wanted, reduce_file
    from acquire.reducing import template as example

    if template:
        typer.echo(example(), nl=False)
        return 0
    if file is None:
        raise typer.BadParameter("a file of readings, or --template for an example")
    return reduce_file(file, Wanted(json, budget, figure, monte_carlo, rule))


@app.command()
def cooling(
    file: Annotated[
        Path | None,
        typer.Argument(
            help="One winding's resistances, CSV below a TOML head.", show_default=False
        ),
    ] = None,
    *,
    template: Annotated[
        bool, typer.Option("--template", help="Print a commented example of FILE and end.")
    ] = False,
    figure: Annotated[
        Path | None, typer.Option(help="Draw the curve: .svg, .png, .pdf.", metavar="FILE")
    ] = None,
    json: Json = False,
) -> int:
    """Extrapolate a winding's resistances after a shutdown to its temperature at the shutdown."""
    from acquire.cooling import cool_file
    from acquire.cooling import template as example

    if template:
        typer.echo(example(), nl=False)
        return 0
    if file is None:
        raise typer.BadParameter("a file of readings, or --template for an example")
    return cool_file(file, json, figure)


@app.command()
def overload(
    file: Annotated[
        Path | None, typer.Argument(help="A unit and its loading, TOML.", show_default=False)
    ] = None,
    *,
    template: Annotated[
        bool, typer.Option("--template", help="Print a commented example of FILE and end.")
    ] = False,
    figure: Annotated[
        Path | None,
        typer.Option(help="Draw cycle and permissible loads: .svg, .png, .pdf.", metavar="FILE"),
    ] = None,
    json: Json = False,
) -> int:
    """Tell how much load a unit bears for how long, and what a load cycle does to it.

    By IEC 60076-7, from fitted or tabulated thermal characteristics.

    Exit code 4: the cycle goes beyond a limit.
    """
    from acquire.overloading import overload_of
    from acquire.overloading import template as example

    if template:
        typer.echo(example(), nl=False)
        return 0
    if file is None:
        raise typer.BadParameter("a file of a unit, or --template for an example")
    return overload_of(file, figure, json)


@app.command()
def supplies(
    pair: Annotated[
        str, typer.Argument(help="A pair file, a shipped scenario or a scenario's folder.")
    ],
    *,
    schedule: Annotated[
        str, typer.Option(help="A file of the scenario's schedules.", metavar="NAME")
    ] = "loss_test",
    hours: Annotated[float, typer.Option(help="Of rated voltage and current.", min=0)] = 8.0,
    price: Annotated[float, typer.Option(help="Of a kWh, in your currency.", min=0)] = 0.25,
    direct_v: Annotated[
        float, typer.Option(help="Up to which V a meter needs no VT.", min=1)
    ] = 1000.0,
    direct_a: Annotated[
        float, typer.Option(help="Up to which A a meter needs no CT.", min=0.1)
    ] = 20.0,
    json: Json = False,
) -> int:
    """Tell before the test what supplies and meters the pair needs, and what they will read.

    Exit code 4: the scenario's stand does not suit its pair.
    """
    from acquire.supplying import Plan, supplies_of

    return supplies_of(pair, schedule, Plan(hours, price, direct_v, direct_a), json)


@app.command()
def runs(out: Out = Path("runs"), json: Json = False) -> int:
    """List the runs of an archive."""
    from acquire.actions import listed

    return listed(out, json)


@app.command()
def show(
    run: Annotated[int, typer.Argument(help="The run's number.", min=1, max=LARGEST)],
    out: Out = Path("runs"),
    *,
    figure: Annotated[
        Path | None, typer.Option(help="Draw a heat run: .svg, .png, .pdf.", metavar="FILE")
    ] = None,
    json: Json = False,
) -> int:
    """Print a stored run again, with its events.

    Says whether the record is whole.

    Exit code 4: the record is not what was recorded.
    """
    from acquire.actions import shown

    return shown(run, out, json, figure)
