"""The catalogue of faults as it is listed."""

from rich import box
from rich.table import Table

from acquire.configuration import load_scenario
from acquire.faults import catalogue
from acquire.terminal import FINE, Terminal, print_json
from drivers.simulated.faults.fault import STAGES


def faults_listed(scenario: str, as_json: bool) -> int:
    """List what a rehearsal of a scenario can be given; return the exit code.

    Raises ConfigurationError.
    """
    found = catalogue(load_scenario(scenario, "loss_test")).values()
    if as_json:
        rows = [
            {
                "name": fault.name,
                "kind": fault.kind,
                "must": fault.must,
                "stages": list(fault.stages),
                "behind_guard": fault.behind_guard,
                "ends": fault.ends,
            }
            for fault in found
        ]
        print_json({"faults": rows})
        return FINE
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("Fault", no_wrap=True)
    table.add_column("What the stand must do", overflow="fold")
    kind = ""
    for fault in found:
        if fault.kind != kind:
            kind = fault.kind
            table.add_section()
            table.add_row(kind, "", style="bold")
        notes = [] if fault.ends else ["does not end"]
        if fault.stages != STAGES:
            notes.append(f"from {fault.stages[0]} to {fault.stages[-1]}")
        table.add_row(fault.name, "; ".join([fault.must, *notes]))
    terminal = Terminal()
    terminal.print(table)
    terminal.print(
        "rehearse --fault NAME[@WHEN][:SECONDS]; WHEN is a stage (or stopping, aborting), with"
        " +SECONDS if wanted, a stand time in seconds, or wN: after N writes to the outputs.",
        markup=False,
    )
    return FINE
