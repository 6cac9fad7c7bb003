"""Stand and program as they are used: two processes, with nothing between them but sockets."""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from threading import Condition, Thread
from typing import Any

from acquire.configuration import load_scenario

TWINLOAD = (sys.executable, "-c", "from acquire.commands import app; app()")
# Stand time runs so much faster; what is stale or dropped in it has patience for a busy computer.
SPEED = 10.0
PATIENT_S = 20.0
# No test waits longer for a line.
LONG_S = 120.0


# A motor travels on until the watchdog has dropped: there patience has its limit.
MOST_DROP_S = {"bench_pair": 2.5}


def patient_stand(
    folder: Path, scenario: str = "distribution_pair", patient_s: float = PATIENT_S
) -> Path:
    """Write a shipped scenario as a folder: free ports, short windows, and patience."""
    shutil.copytree(load_scenario(scenario, "loss_test").folder, folder)
    drop_s = min(patient_s, MOST_DROP_S.get(scenario, patient_s))
    for path, pattern, by in (
        ("stand.toml", r"stale_after_s = [\d.]+", f"stale_after_s = {patient_s}"),
        ("stand.toml", r"drop_s = [\d.]+", f"drop_s = {drop_s}"),
        ("stand.toml", r"(?<=timeout_s = )[\d.]+", "1.0"),
        ("schedules/loss_test.toml", r"window_s = [\d.]+", "window_s = 10.0"),
        ("schedules/loss_test.toml", r"dwell_s = [\d.]+", "dwell_s = 5.0"),
    ):
        file = folder / path
        file.write_text(re.sub(pattern, by, file.read_text()))
    stand, meters = folder / "stand.toml", folder / "meters.yaml"
    for port in set(re.findall(r"127\.0\.0\.1:+(\d+)", stand.read_text())):
        free = str(free_port())
        for file in (stand, meters):
            file.write_text(re.sub(rf"\b{port}\b", free, file.read_text()))
    return folder


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port: int = listening.getsockname()[1]
        return port


class Process:
    """A command of the program, what it has said so far line by line, and its standard input."""

    def __init__(
        self, *words: str, answer: bool = False, environment: Mapping[str, str] | None = None
    ) -> None:
        self.lines: list[str] = []
        self._said = Condition()
        self._answer = answer
        self._ended = False
        self._process = subprocess.Popen(
            (*TWINLOAD, *words),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={
                **os.environ,
                "PYTHONUNBUFFERED": "1",
                "COLUMNS": "200",
                **(environment or {}),
            },
        )
        self._listener = Thread(target=self._listen, daemon=True)
        self._listener.start()

    def type(self, line: str) -> None:
        """Type a line."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{line}\n")
        self._process.stdin.flush()

    def hang_up(self) -> None:
        """Type nothing any more."""
        assert self._process.stdin is not None
        self._process.stdin.close()

    def signal(self, number: signal.Signals) -> None:
        """Send a signal."""
        self._process.send_signal(number)

    def until(self, words: str, since: int = 0) -> str:
        """Wait for a line with these words, behind so many lines, and return it."""
        found: list[str] = []

        def said() -> bool:
            found[:] = [line for line in self.lines[since:] if words in line]
            return bool(found) or self._ended

        with self._said:
            self._said.wait_for(said, LONG_S)
        assert found, f"never said {words!r}: " + "\n".join(self.lines[-40:])
        return found[0]

    def code(self) -> int:
        """Wait for its end and return its exit code."""
        code = self._process.wait(LONG_S)
        self._let_go()
        return code

    def kill(self) -> None:
        """Kill it, -9, and see it dead."""
        self._process.kill()
        self._process.wait(LONG_S)
        self._let_go()

    def answered(self, _line: str) -> None:
        """Answer what this line asks."""
        with suppress(OSError):
            self.type("y Ada Example")

    def _let_go(self) -> None:
        self._listener.join(LONG_S)
        with suppress(OSError):
            self.hang_up()

    def _listen(self) -> None:
        assert self._process.stdout is not None
        for line in iter(self._process.stdout.readline, ""):
            with self._said:
                self.lines.append(line.rstrip())
                self._said.notify_all()
            if self._answer and line.startswith("type y or n"):
                self.answered(line)
        self._process.stdout.close()
        with self._said:
            self._ended = True
            self._said.notify_all()


class Served:
    """A stand that is served, and the program that runs it, at the same speed."""

    def __init__(
        self,
        folder: Path,
        speed: float = SPEED,
        *options: str,
        scenario: str = "distribution_pair",
        patient_s: float = PATIENT_S,
        shape: Callable[[Path], object] = lambda _folder: None,
    ) -> None:
        self.speed = speed
        self.folder = patient_stand(folder / "stand", scenario, patient_s)
        shape(self.folder)
        self.out = folder / "runs"
        self.stand = self.start(Process, "simulate", str(self.folder), *options)
        self.stand.until("lines here")
        self.table = "\n".join(self.stand.lines)
        self.programs: list[Process] = []

    def start(self, kind: Callable[..., Process], *words: str, **how: Any) -> Process:
        """Start a command at the raised speed."""
        return kind(*words, "--speed", str(self.speed), **how)

    def run(
        self,
        *options: str,
        answer: bool = True,
        kind: Callable[..., Process] = Process,
        environment: Mapping[str, str] | None = None,
        schedule: str = "loss_test",
    ) -> Process:
        """Start the program on it."""
        words = ("run", str(self.folder), "--schedule", schedule, "--out", str(self.out))
        program = self.start(kind, *words, *options, answer=answer, environment=environment)
        self.programs.append(program)
        return program

    def on_terminal(self, near: int) -> "subprocess.Popen[bytes]":
        """Start the program on a terminal, its near end given, which the caller then has not."""
        words = ("run", str(self.folder), "--schedule", "loss_test", "--out", str(self.out))
        program = subprocess.Popen(
            (*TWINLOAD, *words, "--speed", str(self.speed)), stdin=near, stdout=near, stderr=near
        )
        os.close(near)
        return program

    def now_s(self) -> float:
        """Return the stand's own time, s."""
        since = len(self.stand.lines)
        self.stand.type("state")
        return told_s(self.stand.until(" s: guard ", since))

    def close(self) -> None:
        """End everything."""
        for process in (*self.programs, self.stand):
            process.kill()


def told_s(line: str) -> float:
    """Return the stand time at which a line of the stand says that something happened, s."""
    return float(line.split(" s:", maxsplit=1)[0])


def states(lines: Sequence[str], what: str) -> list[str]:
    """Return all that the stand's lines say of something, in order."""
    return [line.partition(f": {what} ")[2] for line in lines if f": {what} " in line]
