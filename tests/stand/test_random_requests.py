"""A procedure that asks for whatever it likes does nothing that the true circuit would suffer."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple
from unittest.mock import patch

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import acquire.cycle
from acquire.archive import Archive
from acquire.configuration import Scenario
from acquire.rehearsal import Rehearsal
from acquire.storm.plants import LOOP_SUPPLIES, LV_SUPPLIES, Plant
from acquire.storm.wild import Act, Honest, HonestTo, Insist, Wild, nonsense
from acquire.storm.witness import Witness
from drivers.outputs import LV
from drivers.simulated.circuit import OPPOSITION, Wiring
from sequences.loss_test import loss_test
from sequences.permissives import PERMISSIVES
from sequences.scan import Request
from tests.stand.attacks import ATTACKS, Attack
from tests.stand.draws import acts, honest_scans, plants


class Ran(NamedTuple):
    """A run that has ended, and what its witness saw."""

    rehearsal: Rehearsal
    witness: Witness


@pytest.fixture(name="archive", scope="module")
def _archive(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    """Return one archive for all runs of this file."""
    with Archive(Path(tmp_path_factory.mktemp("runs"))) as archive:
        yield archive


def ran(plant: Plant, script: Sequence[Act], archive: Archive, quick: Scenario) -> Ran:
    """Run a script on a plant to the end of its run, under a witness's eyes."""
    wild = Wild(script, loss_test)
    rehearsal = Rehearsal(
        plant.scenario(quick), seed=plant.seed, archive=archive, procedure=wild.procedure
    )
    wild.rehearsal = rehearsal
    plant.spoil(rehearsal.stand)
    witness = Witness(rehearsal, honest=False)
    rehearsal.observer = witness.heard
    try:
        for _scan in rehearsal.scans():
            pass
    finally:
        rehearsal.close()
    return Ran(rehearsal, witness)


def plain(wiring: Wiring) -> Plant:
    """Return a pair of that wiring on a stand whose supplies do not give way."""
    return Plant(
        seed=1,
        wiring=wiring,
        voltmeter_dead=False,
        voltmeter_multiplier=1.0,
        mismatch_percent=0.1,
        low_flux=(4.0, 4.0),
        lv_supply=LV_SUPPLIES[1],
        loop_supply=LOOP_SUPPLIES[1],
        loop_angle_degree=180.0,
        phases_s=(0.1, 0.3, 0.5),
        latencies_s=(0.06, 0.06, 0.04),
    )


def check_anything(archive: Archive, quick: Scenario, plant: Plant, script: list[Act]) -> None:
    run = ran(plant, script, archive, quick)
    assert run.witness.violations == []
    assert run.rehearsal.cycle.run.ended


@given(plant=plants(), honest=honest_scans(), script=st.lists(acts(), min_size=1, max_size=9))
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_is_asked_for_after_any_number_of_honest_scans(
    archive: Archive, quick: Scenario, plant: Plant, honest: int, script: list[Act]
) -> None:
    check_anything(archive, quick, plant, [Honest(honest), *script])


@pytest.mark.campaign
@given(plant=plants(), honest=honest_scans(), script=st.lists(acts(), min_size=1, max_size=16))
@settings(max_examples=5000, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_is_asked_for_many_times_over(
    archive: Archive, quick: Scenario, plant: Plant, honest: int, script: list[Act]
) -> None:
    check_anything(archive, quick, plant, [Honest(honest), *script])


@pytest.mark.parametrize("attack", ATTACKS.values(), ids=ATTACKS)
def test_an_attack_is_held(archive: Archive, quick: Scenario, attack: Attack) -> None:
    assert ran(plain(attack.wiring), attack.acts, archive, quick).witness.violations == []


@pytest.mark.parametrize("attack", ATTACKS.values(), ids=ATTACKS)
def test_without_what_holds_it_an_attack_succeeds(
    archive: Archive, quick: Scenario, attack: Attack
) -> None:
    table = {
        output: tuple(p for p in rows if (output, p.name) not in attack.left_out)
        for output, rows in PERMISSIVES.items()
    }
    target, replacement = attack.replaced or ("acquire.cycle.PERMISSIVES", table)
    with patch.object(acquire.cycle, "PERMISSIVES", table), patch(target, replacement):
        violations = ran(plain(attack.wiring), attack.acts, archive, quick).witness.violations
    assert attack.violation in {v.invariant for v in violations}, violations


@pytest.mark.parametrize("request_", nonsense(), ids=str)
def test_a_request_that_no_output_can_do_moves_nothing(
    archive: Archive, quick: Scenario, request_: Request
) -> None:
    """With everything open and proven, so that nothing but its own nonsense is in its way."""
    script: list[Act] = [HonestTo("watchdog_acted"), Insist(request_, 3)]
    run = ran(plain(OPPOSITION), script, archive, quick)
    assert run.witness.violations == []
    assert run.witness.highest["closings"] == 0
    assert run.rehearsal.stand.loop_regulator.position == 0.0
    assert run.rehearsal.stand.lv_regulator.position == 0.0
    assert run.rehearsal.cycle.run.state == "stopped"


def test_every_attack_names_a_permissive_that_is_there() -> None:
    rows = {(output, p.name) for output, table in PERMISSIVES.items() for p in table}
    for attack in ATTACKS.values():
        assert set(attack.left_out) <= rows
        assert attack.left_out or attack.replaced
    assert any(output == LV for a in ATTACKS.values() for output, _name in a.left_out)
