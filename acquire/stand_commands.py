"""The commands on a stand that is there, and the one that serves a simulated one."""

from pathlib import Path
from typing import Annotated

import typer

from acquire.application import FASTEST, LARGEST, Connection, Json, Out, app


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

    Typed: y NAME or n NAME to what is asked; stop NAME, hold NAME (holds a soak as it is).

    Ctrl-C or stop brings current and voltage to zero and opens; once more opens everything at once.
    SIGTERM, Ctrl-\\ (SIGQUIT) and a lost terminal stop likewise, however often they come.

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

    It listens to lines while it runs: faults, guard, interchange, selector, state, quit.

    Exit code 0: ended; 2: bad input, or a port that is taken.
    """
    from acquire.serving import Wanted
    from acquire.simulating import simulated

    return simulated(stand, seed, connection, fault or [], Wanted(listen, speed, pty, rtu))
