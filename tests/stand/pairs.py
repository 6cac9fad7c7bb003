"""Scenarios in memory: random good pairs on stands that just suit them, and the same ones spoilt.

A seed stands for one pair, stand, set of meter errors and set of poll phases. A fault is then put
into the plant by hand.
"""

import multiprocessing
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from random import Random
from typing import NamedTuple

from acquire.archive import Archive
from acquire.configuration import Scenario, load_scenario
from acquire.rehearsal import Rehearsal
from calculation.nameplate import Nameplate
from drivers.simulated.truth import Truth
from tests.stand.faults import FAULTS, Fault
from tests.stand.suited_stands import suited_stand
from tests.stand.twins import draw_nameplate, draw_twins, most_mismatch

WINDOW_S, DWELL_S = 6.0, 2.0
WORKERS = 2


class Seen(NamedTuple):
    """How a rehearsal ended, and the most that truly flowed in the loop, per unit of rated."""

    seed: int
    fault: str
    state: str
    finding: str
    seen: str
    stage: str
    attempts: int
    may_be_live: bool
    most_loop: float

    @property
    def right(self) -> bool:
        """Whether a good pair passed at once, or a bad one was found by a name it may be given."""
        if self.may_be_live:
            return False
        passed = self.state == "complete"
        if not self.fault:
            return passed and self.attempts == 1 and not self.finding
        fault = next(f for f in FAULTS if f.name == self.fault)
        return self.finding in fault.findings and passed is fault.cured


@cache
def _shipped() -> Scenario:
    return load_scenario("distribution_pair", "loss_test")


def good_scenario(seed: int) -> Scenario:
    """Draw a good pair on a stand that suits it."""
    d = Random(f"pair/{seed}")
    return draw_scenario(d, draw_nameplate(d))


def draw_scenario(d: Random, plate: Nameplate, low_flux: bool = True) -> Scenario:
    """Draw all but the nameplate; half of the pairs have all the mismatch that they may have."""
    shipped = _shipped()
    twins = draw_twins(d, plate, low_flux)
    stand, supplies, behaviour = suited_stand(d, shipped.stand, twins)
    part = max(d.uniform(0, 1), d.choice((0, 1))) * d.choice((-1, 1))
    truth = Truth(
        room_temperature_c=d.uniform(5, 35),
        ratio_mismatch_percent=100 * part * most_mismatch(plate),
        a=twins.a,
        b=twins.b,
        lv_supply=supplies.true_lv,
        loop_supply=supplies.true_loop,
        contactor_close_s=d.uniform(0.02, 0.15),
        contactor_open_s=d.uniform(0.02, 0.1),
        instrument=behaviour,
    )
    schedule = replace(shipped.schedule, window_s=WINDOW_S, dwell_s=DWELL_S)
    return replace(
        shipped, name="drawn", stand=stand, pair=twins.pair, truth=truth, schedule=schedule
    )


def use_up_classes(rehearsal: Rehearsal, d: Random) -> None:
    """Put every meter's fixed error at a limit of its class, each of its two parts to its side."""
    for meter in rehearsal.stand.meters.values():
        accuracy = meter.channel.accuracy
        if accuracy is not None:
            meter.reading_error = d.choice((-1, 1)) * accuracy.reading_percent
            meter.range_error = d.choice((-1, 1)) * accuracy.range_percent


def rehearse(seed: int, archive: Archive, fault: Fault | None) -> Seen:
    """Rehearse one pair to its end; the meters of every other pair stand at their limits."""
    d = Random(f"hands/{seed}")
    rehearsal = Rehearsal(good_scenario(seed), seed=seed, archive=archive)
    if d.random() < 0.5:
        use_up_classes(rehearsal, d)
    if fault is not None:
        fault.spoil(rehearsal, d)
    most = 0.0
    for _scan in rehearsal.scans():
        most = max(most, rehearsal.stand.true_state().loop)
        if fault is not None and fault.lasts:
            fault.spoil(rehearsal, d)
    outcome = rehearsal.finish()
    finding = outcome.finding or {"name": "", "seen": ""}
    return Seen(
        seed,
        fault.name if fault else "",
        outcome.state,
        finding["name"],
        finding["seen"],
        outcome.stage,
        outcome.attempts,
        outcome.may_be_live,
        most,
    )


def rehearse_good(seeds: Sequence[int]) -> list[Seen]:
    """Rehearse good pairs on two processes."""
    return _on_two_processes(seeds, bad=False)


def rehearse_bad(seeds: Sequence[int]) -> list[Seen]:
    """Rehearse spoilt pairs on two processes, every kind of fault in turn."""
    return _on_two_processes(seeds, bad=True)


def _on_two_processes(seeds: Sequence[int], bad: bool) -> list[Seen]:
    parts = [seeds[i::WORKERS] for i in range(WORKERS)]
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(WORKERS, mp_context=fresh) as pool:
        return sorted(s for part in pool.map(partial(_some, bad=bad), parts) for s in part)


def _in_memory() -> str | None:
    """Return a folder in memory where there is one: the archive forces every event to the disk."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


def _some(seeds: Sequence[int], bad: bool) -> list[Seen]:
    with tempfile.TemporaryDirectory(dir=_in_memory()) as folder, Archive(Path(folder)) as archive:
        return [
            rehearse(seed, archive, FAULTS[seed % len(FAULTS)] if bad else None) for seed in seeds
        ]
