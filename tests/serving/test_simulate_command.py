"""`twinload simulate` as a process: its table, its end, and what it refuses."""

import re
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from acquire.configuration import load_scenario
from acquire.serving import ServingRefused, Wanted
from acquire.simulating import simulated
from tests.serving.serving import PATIENCE_S, Bench, asked, scenario_on_free_ports, waited_for

COMMAND = [sys.executable, "-c", "from acquire.commands import app; app()", "simulate"]


@pytest.fixture(name="process")
def _process(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    """Return a stand that is served by a process of its own, on serial lines as well."""
    folder = scenario_on_free_ports(tmp_path)
    process = subprocess.Popen(
        [*COMMAND, str(folder), "--rtu", "--speed", "10", "--fault", "frequency_off"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with process:
        yield process
        if process.poll() is None:
            process.kill()


def told(process: subprocess.Popen[str], until: str) -> list[str]:
    """Return what a process prints up to a line that holds a text."""
    assert process.stdout is not None
    lines: list[str] = []
    for line in process.stdout:
        lines.append(line.rstrip())
        if until in line:
            return lines
    raise AssertionError(f"it ended without {until!r}: {lines}")


def test_it_serves_until_it_is_told_to_end(process: subprocess.Popen[str]) -> None:
    """A table, what lines do, instruments that answer, and a clean end on SIGTERM."""
    assert process.stdin is not None
    table = told(process, "lines here")
    served = {words[0]: words[1] for line in table[1:-1] if (words := line.split())}
    assert len(served) == 7
    port = int(served["lv_analyser"].rpartition(":")[2])
    assert asked(port, "*IDN?")[0].startswith("INVENTED,POWER ANALYSER")
    process.stdin.write("clear frequency_off\nstate\n")
    process.stdin.flush()
    assert any("frequency_off: ends" in line for line in told(process, "faults: none"))
    process.send_signal(signal.SIGTERM)
    assert process.wait(PATIENCE_S) == 0
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), PATIENCE_S)


def test_it_outlives_whoever_typed_and_ends_on_ctrl_c(process: subprocess.Popen[str]) -> None:
    """The end of its input is no command; an interrupt ends it without a trace."""
    assert process.stdin is not None
    table = told(process, "lines here")
    process.stdin.close()
    (port,) = (int(found[1]) for line in table if (found := re.search(r"hv_ana.*:(\d+)", line)))
    assert asked(port, "*IDN?")[0].startswith("INVENTED")
    process.send_signal(signal.SIGINT)
    assert process.wait(PATIENCE_S) == 0


def test_it_outlives_whoever_read_what_it_tells(process: subprocess.Popen[str]) -> None:
    """A line that nobody can be told is done all the same."""
    assert process.stdin is not None
    assert process.stdout is not None
    table = told(process, "lines here")
    process.stdout.close()
    (port,) = (int(found[1]) for line in table if (found := re.search(r"hv_ana.*:(\d+)", line)))
    process.stdin.write("state\nfault hv_analyser_not_a_number\n")
    process.stdin.flush()
    assert waited_for(lambda: asked(port, "FETC?")[0].startswith("9.91E+37,"))
    process.stdin.write("quit\n")
    process.stdin.flush()
    assert process.wait(PATIENCE_S) == 0


def test_a_port_that_is_taken_is_one_line(tmp_path: Path) -> None:
    """It says whose port it is, and leaves nothing behind."""
    folder = scenario_on_free_ports(tmp_path)
    port = load_scenario(str(folder), "loss_test").stand.outputs.resource
    number = int(port.split(":")[2].split("/")[0])
    with socket.create_server(("127.0.0.1", number)):
        done = subprocess.run(
            [*COMMAND, str(folder)], capture_output=True, text=True, check=False, timeout=60
        )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == (
        f"twinload: outputs: can't be served on 127.0.0.1:{number}: address already in use\n"
    )


FILES = ("stand.toml", "meters.yaml")


def changed_stand(folder: Path, *changes: tuple[str, str], files: tuple[str, ...] = FILES) -> None:
    """Change texts of a scenario's stand file and of its meters, each where it is first found."""
    for file in files:
        text = (folder / file).read_text(encoding="utf-8")
        for old, new in changes:
            text = re.sub(old, new, text, count=1)
        (folder / file).write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "both", "words"),
    [
        (r"modbus-tcp:[^/\n]*/1", "registers:x", False, "is in memory alone"),
        (r"TCPIP::[^\s]*?::SOCKET", "TCPIP::h::9::SOCKET", False, "no device of meters.yaml"),
        (r"TCPIP::[^\s]*?::SOCKET", "TCPIP::h::INSTR", True, "neither a socket nor a serial"),
    ],
)
def test_what_can_not_be_served(
    tmp_path: Path, *, old: str, new: str, both: bool, words: str
) -> None:
    """A resource that is no wire, one that no device stands at, and one of another protocol."""
    folder = scenario_on_free_ports(tmp_path)
    changed_stand(folder, (old, new), files=FILES if both else FILES[:1])
    with pytest.raises(ServingRefused, match=words):
        simulated(str(folder), 1, "opposition", [], Wanted())


def test_a_fault_at_a_stage_is_refused() -> None:
    """A stand that is served doesn't know what the program is doing."""
    with pytest.raises(ServingRefused, match="knows no stages"):
        simulated("distribution_pair", 1, "opposition", ["guard_opened@prove"], Wanted())


class TestLinesOfTheFile:
    def test_register_units_on_lines(self, tmp_path: Path) -> None:
        """modbus-rtu:DEVICE: the line has that name while it is served, with both units on it."""
        folder, line = scenario_on_free_ports(tmp_path), tmp_path / "line"
        of_a_unit = r"modbus-tcp:[^/\n]*/1"
        changed_stand(
            folder,
            (of_a_unit, f"modbus-rtu:{line}.outputs/1"),
            (of_a_unit, f"modbus-rtu:{line},9600,N/1"),
            (of_a_unit, f"modbus-rtu:{line},9600,N/2"),
        )
        bench = Bench(folder, Wanted())
        try:
            assert {bench.line(unit) for unit in ("contacts", "temperatures")} == {str(line)}
            assert bench.line("outputs") == f"{line}.outputs"
            assert line.resolve().is_char_device()
        finally:
            bench.close()
        assert not line.is_symlink()

    @pytest.mark.parametrize("speed", ["", ",9600", ",19200,N"])
    def test_a_text_instrument_on_a_line(self, tmp_path: Path, speed: str) -> None:
        """ASRL names a device likewise; a pseudo-terminal has any speed that it is told."""
        folder, line = scenario_on_free_ports(tmp_path), tmp_path / "meter"
        changed_stand(folder, (r"TCPIP::[^\s]*?::SOCKET", f"ASRL{line}::INSTR"))
        stand = folder / "stand.toml"
        stand.write_text(stand.read_text().replace("::INSTR", f"::INSTR{speed}"))
        bench = Bench(folder, Wanted())
        try:
            assert bench.line("lv_analyser") == str(line)
        finally:
            bench.close()

    def test_a_pseudo_terminal_beside_the_socket(self, tmp_path: Path) -> None:
        """served_pty is of one instrument; the others have their sockets alone."""
        folder = scenario_on_free_ports(tmp_path)
        changed_stand(folder, (r'(name = "hv_analyser")', r"\1\nserved_pty = true"))
        bench = Bench(folder, Wanted())
        try:
            lines = [p.what for p in bench.served.places if "/dev/" in p.where]
        finally:
            bench.close()
        assert lines == ["hv_analyser"]

    def test_what_others_have_is_left_alone(self, tmp_path: Path) -> None:
        """A file of that name is refused; a link that a killed stand left behind is replaced."""
        folder, line = scenario_on_free_ports(tmp_path), tmp_path / "line"
        changed_stand(folder, (r"modbus-tcp:[^/\n]*/1", f"modbus-rtu:{line}/1"))
        line.write_text("somebody's\n")
        with pytest.raises(ServingRefused, match=r"outputs: can't be served on .*: file exists"):
            Bench(folder, Wanted())
        assert line.read_text() == "somebody's\n"
        line.unlink()
        line.symlink_to(tmp_path / "gone")
        Bench(folder, Wanted()).close()
        assert not line.is_symlink()


def test_it_listens_where_it_is_told_to(tmp_path: Path) -> None:
    """The address of the option, with the ports of the file."""
    bench = Bench(scenario_on_free_ports(tmp_path), Wanted(listen="127.0.0.2"))
    try:
        port = bench.port("lv_analyser")
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", port), PATIENCE_S)
        socket.create_connection(("127.0.0.2", port), PATIENCE_S).close()
    finally:
        bench.close()


def needs(program: str) -> str:
    """Return the path of a stranger's program; skip where it is not installed."""
    found = shutil.which(program)
    if found is None:
        pytest.skip(f"{program} is not installed")
    return found


def run(*words: str, said: str = "") -> str:
    """Return what a stranger's program prints; it has to succeed."""
    done = subprocess.run(
        words, input=said, capture_output=True, text=True, check=False, timeout=PATIENCE_S
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


class TestStrangers:
    """Programs that others wrote for any instrument, on the command line."""

    def test_netcat(self, stand: Bench) -> None:
        """Lines typed in a terminal are answered."""
        nc = needs("nc")
        said = run(nc, "-w", "1", "127.0.0.1", str(stand.port("lv_analyser")), said="*IDN?\nX\n")
        assert said == "INVENTED,POWER ANALYSER,LV-0001,1.0\nERROR\n"

    def test_lxi_tools(self, stand: Bench) -> None:
        """A SCPI client over a raw socket gets identity and values."""
        lxi, port = needs("lxi"), str(stand.port("lv_analyser"))
        asks = (lxi, "scpi", "-a", "127.0.0.1", "-p", port, "-r")
        assert "POWER ANALYSER" in run(*asks, "*IDN?")
        assert len(run(*asks, "FETC?").split(",")) == 5

    def test_mbpoll_over_tcp(self, stand: Bench) -> None:
        """A Modbus client reads the contacts' identity, and writes an output."""
        mbpoll = needs("mbpoll")
        tcp = (mbpoll, "-m", "tcp", "-a", "1", "-0", "-t", "4:hex", "-1", "-q", "-p")
        read = run(*tcp, str(stand.port("contacts")), "-r", "0", "-c", "2", "127.0.0.1")
        assert re.findall(r"0x[0-9A-F]{4}", read) == ["0x5443", "0x0001"]
        heartbeat = str(stand.scenario.stand.outputs.heartbeat)
        assert "1 reference" in run(
            mbpoll, "-m", "tcp", "-a", "1", "-0", "-t", "4", "-p", str(stand.port("outputs")),
            "-r", heartbeat, "127.0.0.1", "0",
        )  # fmt: skip

    def test_mbpoll_over_rtu(self, stand: Bench) -> None:
        """Two units on one line, each by its number."""
        mbpoll, line = needs("mbpoll"), stand.line("contacts")
        rtu = (mbpoll, "-m", "rtu", "-b", "19200", "-P", "even", "-0", "-t", "4:hex", "-1", "-q")
        for unit, identity in (("1", "0x5443"), ("2", "0x5453")):
            read = run(*rtu, "-a", unit, "-r", "0", "-c", "1", line)
            assert re.findall(r"0x[0-9A-F]{4}", read) == [identity]
