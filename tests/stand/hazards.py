"""Hazards as they truly are: what stands or flows in the plant when a permissive is left out.

Each lets the bench go on for some scans and looks at the true circuit.
"""

from collections.abc import Callable

from drivers.outputs import LV_REGULATOR
from sequences.scan import HV_CURRENT, Move, WithholdHeartbeat
from tests.stand.bench import Bench

LOW = 0.0173  # of the LV regulator's travel: half the impedance voltage
Hazard = Callable[[Bench], bool]


def closed_unrecorded(output: str) -> Hazard:
    def hazard(bench: Bench) -> bool:
        bench.wait()
        recorded = bench.intents(output) > 0
        return getattr(bench.plant, output).closed and not recorded

    return hazard


def lv_closed(bench: Bench) -> bool:
    bench.wait()
    return bench.plant.lv_contactor.closed


def full_voltage_at_once(bench: Bench) -> bool:
    bench.wait()
    return bench.truth().bus > 0.95


def selector_on_live_winding(bench: Bench) -> bool:
    bench.wait()
    plant = bench.plant
    return plant.resistance_selector.closed and plant.lv_contactor.closed


def both_energised(bench: Bench) -> bool:
    bench.wait()
    return bench.both_closed()


def outlives_the_program(bench: Bench) -> bool:
    bench.ask(WithholdHeartbeat(), 10)
    return bench.plant.lv_contactor.closed


def feeds_a_short(bench: Bench) -> bool:
    """The link that a prompt would have had taken off is fed."""
    bench.wait(2)
    bench.ask(Move(LV_REGULATOR, LOW))
    bench.wait(2)
    drawn = abs(bench.plant.solution().lv_supply)
    return drawn > 20 * bench.expected.current_share_a(bench.expected.half_impedance_voltage_v)


def twice_hv_across_the_gap(bench: Bench) -> bool:
    bench.wait(30)
    return bench.truth().bus > 0.95 and bench.truth().gap_ratio > 0.95


def peak_above(of: str, share: float, scans: int) -> Hazard:
    def hazard(bench: Bench) -> bool:
        bench.wait(scans)
        return bench.peak(of) > share

    return hazard


def loop_closed(bench: Bench) -> bool:
    bench.wait()
    return bench.plant.loop_contactor.closed


def current_jumps(bench: Bench) -> bool:
    bench.wait()
    return bench.truth().loop > 0.9


def loop_supply_alone(bench: Bench) -> bool:
    """The auxiliary supply, whose regulator leaks, feeds a bus that nothing holds."""
    bench.hand(0.1, (bench.plant.loop_regulator, "output", 0.1))
    bench.wait()
    plant = bench.plant
    return not plant.lv_contactor.closed and bench.truth().bus > bench.expected.u_k


def many_times_rated(bench: Bench) -> bool:
    bench.wait(2)
    return bench.peak("loop") > 5.0


def bus_driven_by_the_loop(bench: Bench) -> bool:
    bench.wait(3)
    return not bench.plant.lv_contactor.closed and bench.peak("bus") > bench.expected.u_k


def rated_current_unseen(bench: Bench) -> bool:
    bench.wait(25)
    return bench.truth().loop > 0.9 and bench.last.value(HV_CURRENT) == 0.0


def selector_on_voltage(bench: Bench) -> bool:
    bench.wait()
    return bench.plant.resistance_selector.closed and bench.truth().bus > 0.9
