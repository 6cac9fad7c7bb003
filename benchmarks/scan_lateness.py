"""How late scans at 10 Hz begin while 32 instruments are polled ten times a second.

One of them hangs and another's server has closed its socket. The bare thing underneath, in the same
process and minute: a loop that only waits for its next instant, while nobody polls.

Run: python -m benchmarks.scan_lateness [SECONDS]
"""

import socketserver
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

from acquire.archive import Archive
from acquire.clock import S, WallClock
from acquire.configuration import Scenario, load_scenario
from acquire.lateness import Lateness
from acquire.wall_run import WallRun, whole_periods
from drivers.description import Channel, Instrument, Stand
from drivers.link import Block, RegisterLink, TextLink
from drivers.visa import VisaTextLink
from sequences.expected import Expected
from sequences.prompt import Answer, Prompt
from sequences.scan import Procedure, Wait

INSTRUMENTS = 32
PERIOD_S = 0.1
TIMEOUT_S = 0.5
# What reads 1 on a dead stand that nothing is wrong with.
HEALTHY = {"guard", "emergency_stop", "protection_contact", "watchdog", "upstream_breaker"}
HANGS, CLOSES = "HANG", "CLOSE"


class Answering(socketserver.StreamRequestHandler):
    """Answers lines: identity and six numbers; hangs or closes where its port is to."""

    def handle(self) -> None:
        """Serve one connection."""
        server: Any = self.server
        for line in self.rfile:
            if server.does == HANGS and b"IDN" not in line:
                continue
            if server.does == CLOSES and b"IDN" not in line:
                return
            numbers = b"2.30150E+02,2.30160E+02,1.2000E-01,2.1500E+01,5.0000E+01\n"
            if b"IDN" in line:
                self.wfile.write(b"SIMULATED,POWER ANALYSER,0,1\n")
            else:
                self.wfile.write(numbers)


class Server(socketserver.ThreadingTCPServer):
    """Listens on a free port of this computer."""

    daemon_threads = True
    does = ""


def serve() -> None:
    """Serve all instruments in this process, tell their ports, and go on until killed."""
    from threading import Thread

    servers = [Server(("127.0.0.1", 0), Answering) for _ in range(INSTRUMENTS)]
    servers[-1].does, servers[-2].does = HANGS, CLOSES
    for server in servers:
        Thread(target=server.serve_forever, daemon=True).start()
    print(" ".join(str(s.server_address[1]) for s in servers), flush=True)
    sys.stdin.read()


class Memory:
    """Register units that answer at once: guard, contacts and temperatures at rest."""

    def __init__(self, registers: dict[int, int]) -> None:
        self._registers = registers

    def read(self, block: Block, _timeout_s: float) -> tuple[int, ...]:
        """Return the block's registers."""
        return tuple(self._registers.get(block.address + i, 0) for i in range(block.count))

    def write(self, _address: int, _values: tuple[int, ...], _timeout_s: float) -> None:
        """Take what is written."""

    def reopen(self) -> None:
        """Open the link; memory is always there."""

    def close(self) -> None:
        """Close the link."""


class Links:
    """Sockets for text, memory for registers."""

    def __init__(self, scenario: Scenario) -> None:
        self._scenario = scenario

    def text(self, instrument: Instrument) -> TextLink:
        """Return the link of a text instrument."""
        return VisaTextLink(instrument.resource, instrument.name)

    def registers(self, instrument: Instrument) -> RegisterLink:
        """Return a unit whose identity is right: what is HEALTHY is 1, all else nought."""
        description: Any = self._scenario.descriptions[instrument.description]
        identity = description.identity
        registers = {identity.address + i: r for i, r in enumerate(identity.registers)}
        named = {c.field: c.name for c in instrument.channel}
        for field in description.value:
            registers[field.address] = int(named.get(field.field) in HEALTHY)
        return Memory(registers)

    def outputs(self) -> RegisterLink:
        """Return the outputs."""
        return Memory({})

    def source(self, output: str) -> TextLink:
        """No regulator of this stand is a source."""
        raise KeyError(output)


class Nobody:
    """Asked nothing, answers nothing."""

    def put(self, prompt: Prompt, t: int) -> None:
        """Hear a prompt."""

    def answers(self) -> list[Answer]:
        """Return nothing."""
        return []


def of_32(ports: list[int]) -> Scenario:
    """Return the shipped scenario polled ten times a second, with 32 text instruments."""
    scenario = load_scenario("distribution_pair", "loss_test")
    text = [i for i in scenario.stand.instrument if "SOCKET" in i.resource]
    units = [i for i in scenario.stand.instrument if i not in text]
    first = next(i for i in text if i.name == "lv_analyser")
    polled = [_at(first, ports[0])]
    for k, port in enumerate(ports[1:], 1):
        channels = tuple(
            replace(c, name=f"extra.{k}.{c.name}", critical=False) for c in first.channel
        )
        polled.append(_at(replace(first, name=f"extra_{k}", channel=channels), port))
    named = {c.name for c in first.channel}
    silent = _silent(first, [i for i in text if i is not first], named)
    instruments = (*polled[:1], *polled[1:], *(replace(u, period_s=PERIOD_S) for u in units))
    # What the loss test's other meters would say rides on the first of the extra ones.
    with_others = replace(instruments[1], channel=(*silent,))
    stand: Stand = replace(
        scenario.stand,
        scan_period_s=PERIOD_S,
        commit_interval_s=1.0,
        instrument=(instruments[0], with_others, *instruments[2:]),
    )
    return replace(scenario, stand=stand)


def _at(instrument: Instrument, port: int) -> Instrument:
    resource = f"TCPIP::127.0.0.1::{port}::SOCKET"
    return replace(instrument, resource=resource, period_s=PERIOD_S, timeout_s=TIMEOUT_S)


def _silent(first: Instrument, others: list[Instrument], named: set[str]) -> list[Channel]:
    """Return the other meters' channels, each on some field of the analyser."""
    fields = [c.field for c in first.channel]
    channels = [c for i in others for c in i.channel if c.name not in named]
    return [replace(c, field=fields[k % len(fields)]) for k, c in enumerate(channels)]


def bare(seconds: float) -> Lateness:
    """Wait for instants a period apart, and do nothing else."""
    clock, lateness, period = WallClock(), Lateness(), round(PERIOD_S * S)
    due = period
    while due < seconds * S:
        clock.wait_until(due)
        now = clock.now()
        missed, next_due = whole_periods(due, now, period)
        lateness.add(now - due, missed)
        due = next_due
    return lateness


def looking_on(seconds: float) -> Any:
    """Return a procedure that looks on for so long."""

    def steps(_expected: Expected) -> Procedure[None]:
        scan = yield Wait()
        while scan.now < seconds * S:
            scan = yield Wait()

    return steps


def main(seconds: float) -> None:
    """Measure and print."""
    server = subprocess.Popen(
        [sys.executable, "-m", "benchmarks.scan_lateness", "serve"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert server.stdout is not None
    scenario = of_32([int(port) for port in server.stdout.readline().split()])
    alone = bare(seconds / 2)
    with tempfile.TemporaryDirectory() as folder, Archive(Path(folder)) as archive:
        run = WallRun(
            scenario,
            archive=archive,
            links=Links(scenario),
            clock=WallClock(),
            asker=Nobody(),
            observer=lambda _t, _kind, _facts: None,
            procedure=looking_on(seconds),
        )
        outcome = run.finish()
        run.close()
    server.kill()
    print(f"{len(scenario.stand.instrument)} instruments, {seconds:g} s, run {outcome.end}")
    for name, lateness in (("bare wait", alone), ("scans", run.lateness)):
        print(f"  {name:<10}", lateness.facts())
    ratio = run.lateness.quantile_ns(0.99) / max(alone.quantile_ns(0.99), 1)
    print(f"  99 % of scans: {ratio:.1f} times as late as the bare wait")
    polls = {owner.instrument.name: owner.polls / seconds for owner in run.owners}
    ill = {f"extra_{INSTRUMENTS - 1}", f"extra_{INSTRUMENTS - 2}"}
    well = [rate for name, rate in polls.items() if name not in ill]
    print(f"  polls a second: {min(well):.2f} to {max(well):.2f} of {1 / PERIOD_S:g};"
          f" the ill ones {[round(polls[name], 2) for name in sorted(ill)]}")  # fmt: skip


if __name__ == "__main__":
    if sys.argv[1:] == ["serve"]:
        serve()
    else:
        main(float(sys.argv[1]) if sys.argv[1:] else 30.0)
