"""Random good pairs on stands that just suit them.

A seed stands for one pair, stand, set of meter errors and set of poll phases.
"""

from dataclasses import replace
from functools import cache
from random import Random

from acquire.configuration import Scenario, load_scenario
from acquire.rehearsal import Rehearsal
from acquire.storm.suited_stands import suited_stand
from acquire.storm.twins import draw_nameplate, draw_twins, most_mismatch
from calculation.nameplate import Nameplate
from drivers.simulated.truth import Truth

WINDOW_S, DWELL_S = 6.0, 2.0


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
