"""One stand for the tests that only ask, and a maker of stands for those that break one."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from acquire.serving import Wanted
from tests.serving.serving import Bench, scenario_on_free_ports, turned_by_hand

Serve = Callable[..., Bench]


@pytest.fixture(name="serve")
def _serve(tmp_path: Path) -> Iterator[Serve]:
    """Return what serves a stand until the test has ended."""
    benches: list[Bench] = []

    def serve(
        *faults: str,
        speed: float = 1.0,
        pty: bool = False,
        rtu: bool = False,
        by_hand: bool = False,
    ) -> Bench:
        folder = scenario_on_free_ports(tmp_path)
        if by_hand:
            turned_by_hand(folder)
        bench = Bench(folder, Wanted(speed=speed, pty=pty, rtu=rtu), faults)
        benches.append(bench)
        return bench

    yield serve
    for bench in benches:
        bench.close()


@pytest.fixture(name="stand", scope="package")
def _stand(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """Return a stand with every place that can be served, which no test changes."""
    folder = scenario_on_free_ports(tmp_path_factory.mktemp("stand"))
    bench = Bench(folder, Wanted(pty=True, rtu=True))
    yield bench
    bench.close()
