"""A served stand on ports that are free, in a thread of its own, and plain clients for it."""

import asyncio
import re
import shutil
import socket
import threading
import time
from collections.abc import Callable, Sequence
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from acquire.configuration import load_scenario
from acquire.hands_console import HandsConsole
from acquire.serving import STEP_S, ServedStand, Wanted
from acquire.simulating import faults_of_a_stand
from acquire.site import Site
from drivers.resource import register_unit, text_place

T = TypeVar("T")

# Long enough that only a stand that doesn't do what it should is ever given up on.
PATIENCE_S = 20.0


def free_ports(count: int) -> list[int]:
    """Return ports that nobody has."""
    taken = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    ports = [int(s.getsockname()[1]) for s in taken]
    for s in taken:
        s.close()
    return ports


def scenario_on_free_ports(tmp_path: Path, name: str = "distribution_pair") -> Path:
    """Return a copy of a shipped scenario with ports of its own."""
    shipped = Path(str(resources.files("sim_configs"))) / name
    folder = Path(shutil.copytree(shipped, tmp_path / name))
    stand = (folder / "stand.toml").read_text(encoding="utf-8")
    # A port of the file is found once in its resource and once in meters.yaml.
    ports = sorted(set(re.findall(r"127\.0\.0\.1:{1,2}(\d+)", stand)))
    new = dict(zip(ports, map(str, free_ports(len(ports))), strict=True))
    for file in ("stand.toml", "meters.yaml"):
        text = (folder / file).read_text(encoding="utf-8")
        text = re.sub(r"(127\.0\.0\.1:{1,2})(\d+)", lambda found: found[1] + new[found[2]], text)
        (folder / file).write_text(text, encoding="utf-8")
    return folder


def turned_by_hand(folder: Path) -> None:
    """Have people turn the selector of a scenario's stand."""
    file = folder / "stand.toml"
    text = file.read_text(encoding="utf-8")
    assert text.count("positions = [[") == 1
    text = text.replace("positions = [[", "by_hand = true, positions = [[")
    file.write_text(text, encoding="utf-8")


class Bench:
    """The stand as it is served, its plant to look at, and lines for its console."""

    def __init__(self, folder: Path, wanted: Wanted, faults: Sequence[str] = ()) -> None:
        self.scenario = load_scenario(str(folder), "loss_test")
        self.site = Site(self.scenario, seed=1, faults=faults)
        self.plant = self.site.stand
        self.told: list[tuple[str, str]] = []
        self.site.faults.tell = lambda _t, _kind, f: self.told.append((f["name"], f["happening"]))
        self.served = ServedStand(self.scenario, self.site, wanted)
        self._console = HandsConsole(self.site, faults_of_a_stand(self.scenario))
        self._ready = threading.Event()
        self._failed: BaseException | None = None
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve()))
        self._thread.start()
        self._ready.wait()
        if self._failed is not None:
            raise self._failed

    async def _serve(self) -> None:
        self._loop, self._ended = asyncio.get_running_loop(), asyncio.Event()
        try:
            await self.served.open()
        except BaseException as error:
            self._failed = error
            return
        finally:
            self._ready.set()
        self.served.start()
        while not self._ended.is_set():
            self.served.move_on()
            await asyncio.sleep(STEP_S)
        self.served.close()

    def close(self) -> None:
        """End it."""
        self._loop.call_soon_threadsafe(self._ended.set)
        self._thread.join()

    def ask(self, look: Callable[[], T]) -> T:
        """Look at the plant while nobody else does, moved on to now."""

        async def looked() -> T:
            self.served.move_on()
            return look()

        return asyncio.run_coroutine_threadsafe(looked(), self._loop).result(PATIENCE_S)

    def do(self, line: str) -> list[str]:
        """Type a line into its console."""
        return self.ask(lambda: self._console.do(line))

    def port(self, name: str) -> int:
        """Return the port on which something is served."""
        wired = self.scenario.stand
        found = {i.name: i.resource for i in wired.instrument} | {"outputs": wired.outputs.resource}
        place: Any = register_unit(found[name]) or text_place(found[name])
        return int(place.port)

    def line(self, name: str) -> str:
        """Return the pseudo-terminal on which something is served."""
        return next(p.where for p in self.served.places if p.what == name and "/" in p.where)


def asked(port: int, *messages: str) -> list[str]:
    """Return what comes back for each message, over one connection."""
    with socket.create_connection(("127.0.0.1", port), PATIENCE_S) as s, s.makefile("rw") as lines:
        answers = []
        for message in messages:
            lines.write(f"{message}\n")
            lines.flush()
            answers.append(lines.readline().rstrip("\n"))
        return answers


def waited_for(true: Callable[[], object]) -> bool:
    """Return whether something has come to be, however long a busy computer takes for it."""
    until = time.monotonic() + PATIENCE_S
    while not true():
        if time.monotonic() > until:
            return False
        time.sleep(0.005)
    return True
