"""The command line. What a command needs is imported when it runs, so that help comes at once."""

from pathlib import Path
from typing import Annotated, Literal

import typer

import acquire.stand_commands  # noqa: F401 - its commands are of the same application
from acquire.application import (
    LARGEST,
    MOST_DRAWS,
    MOST_JOBS,
    Connection,
    Json,
    Out,
    Voltmeter,
    app,
)

__all__ = ["app"]


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
    from acquire.runs_table import listed

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
