"""States in which one permissive alone is unmet, and the hazard that it then stands against.

Each brings a bench to the state and asks; with the whole table that is refused. The same steps
with that permissive left out show the hazard in the true plant.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, NamedTuple

from acquire.configuration import Scenario
from drivers.description import RegisterDescription
from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from drivers.simulated.circuit import Wiring
from drivers.simulated.truth import TrueSupply
from sequences.prompt import PREPARE_PROMPTS
from sequences.scan import Close, Move, Open
from tests.stand.bench import Bench
from tests.stand.hazards import (
    LOW,
    Hazard,
    both_energised,
    bus_driven_by_the_loop,
    closed_unrecorded,
    current_jumps,
    feeds_a_short,
    full_voltage_at_once,
    loop_closed,
    loop_supply_alone,
    lv_closed,
    many_times_rated,
    outlives_the_program,
    peak_above,
    rated_current_unseen,
    selector_on_live_winding,
    selector_on_voltage,
    twice_hv_across_the_gap,
)

NO_VALUE = 0xFFFF
RATED = 0.873  # rated LV voltage
QUARTER = 0.2  # of the loop regulator's travel: about a quarter of rated current
FULL = 0.78  # about rated current
TAPS_APART = Wiring(tap_steps=2)  # r is 2.5 %: proven well at low voltage, never opposed


class State(NamedTuple):
    """How to get there, and what is truly wrong once the permissive is left out."""

    reach: Callable[[Bench], None]
    hazard: Hazard
    wiring: Wiring = Wiring()
    changed: Callable[[Scenario], Scenario] | None = None


def unreadable_contacts(scenario: Scenario) -> Scenario:
    """Return the scenario with a contacts unit that can say that it knows nothing of a contact."""
    descriptions = dict(scenario.descriptions)
    unit = descriptions["stand_contacts"]
    assert isinstance(unit, RegisterDescription)
    fields = tuple(
        replace(f, not_implemented=NO_VALUE) if f.scale == 1.0 else f for f in unit.value
    )
    descriptions["stand_contacts"] = replace(unit, value=fields)
    return replace(scenario, descriptions=descriptions)


def stiff(scenario: Scenario) -> Scenario:
    """Return the scenario with supplies that do not give way, in phase with what aids."""
    supply = TrueSupply(1e-3, 1e-3, angle_degree=180.0)
    truth = replace(scenario.truth, lv_supply=TrueSupply(1e-4, 1e-4), loop_supply=supply)
    return replace(scenario, truth=truth)


def good_iron_unreadable_contacts(scenario: Scenario) -> Scenario:
    """Return the scenario with cores that draw little, so that little drives their voltage up."""
    truth = scenario.truth
    a, b = (
        replace(unit, no_load_current_percent=0.5, low_flux_factor=1.0)
        for unit in (truth.a, truth.b)
    )
    return unreadable_contacts(replace(scenario, truth=replace(truth, a=a, b=b)))


def losing(contact: str) -> Callable[[Bench], None]:
    """Return the hand that breaks a contact's wire, shortly before the next scan."""

    def hand(bench: Bench) -> None:
        owner: Any = bench.plant
        name = contact
        if "." in contact:
            owner, name = getattr(bench.plant, contact.partition(".")[0]), "auxiliary"
        bench.hand(0.5, (owner, name, NO_VALUE))

    return hand


def prepared(bench: Bench) -> None:
    """Everything that LV needs to close but the intent."""
    bench.honest(lambda known: known.watchdog_acted is not None)
    bench.wait(2)


def energised_low(bench: Bench) -> None:
    """LV at half the impedance voltage, the loop open."""
    prepared(bench)
    bench.close(LV)
    bench.climb(LV_REGULATOR, LOW)


def looped(bench: Bench) -> None:
    """The loop closed at low voltage, its regulator at zero."""
    energised_low(bench)
    bench.close(LOOP)


def proven(bench: Bench) -> None:
    """The proof complete: LV low, loop open."""
    bench.honest(lambda known: known.proof_complete is not None)
    bench.wait(2)
    bench.mark()


def proven_and_looped(bench: Bench) -> None:
    """The proof complete and the loop closed again at low voltage, its regulator at zero."""
    proven(bench)
    bench.close(LOOP)


def rated(bench: Bench) -> None:
    """The proof complete and LV at rated voltage, the loop open."""
    proven(bench)
    bench.climb(LV_REGULATOR, RATED)


# LV close


def lv_guard_unknown(bench: Bench) -> None:
    prepared(bench)
    bench.ask(Close(LV))
    losing("guard")(bench)
    bench.ask(Close(LV))


def emergency_unknown(bench: Bench) -> None:
    prepared(bench)
    bench.ask(Close(LV))
    losing("emergency_stop")(bench)
    bench.ask(Close(LV))


def lv_regulator_up(bench: Bench) -> None:
    rated(bench)
    bench.open(LV)
    bench.ask(Close(LV), 2)


def selector_closed(bench: Bench) -> None:
    prepared(bench)
    bench.hand(0.1, (bench.plant.resistance_selector, "commanded", True))
    bench.wait()
    bench.ask(Close(LV), 2)


def contactors_not_seen(bench: Bench) -> None:
    """By scans alone the watchdog is never seen to act before the contactors are seen open."""
    prepared(bench)
    cycle = bench.watched.rehearsal.cycle
    bench.ask(Close(LV))
    cycle.evidence = cycle.evidence._replace(seen_open=None)
    bench.hand(0.6, (bench.plant.loop_contactor, "commanded", True))
    bench.ask(Close(LV))


def watchdog_not_seen(bench: Bench) -> None:
    bench.honest(lambda known: len(known.answered) == len(PREPARE_PROMPTS))
    bench.plant.watchdog.welded = True
    bench.ask(Close(LV), 2)


def prompts_unanswered(bench: Bench) -> None:
    bench.drop_watchdog()
    bench.ask(Close(LV), 2)


def no_intent(output: str) -> Callable[[Bench], None]:
    before = {LV: prepared, LOOP: energised_low, SELECTOR: prepared}[output]

    def reach(bench: Bench) -> None:
        before(bench)
        bench.ask(Close(output))

    return reach


# LV raise


def unproven_raise(bench: Bench) -> None:
    energised_low(bench)
    bench.ask(Move(LV_REGULATOR, RATED))


def raise_under_closed_loop(bench: Bench) -> None:
    proven_and_looped(bench)
    bench.ask(Move(LV_REGULATOR, RATED))


def raise_to_the_end(bench: Bench) -> None:
    rated(bench)
    bench.ask(Move(LV_REGULATOR, 1.0))


def blind_raise(regulator: str, first: float, second: float) -> Callable[[Bench], None]:
    """Ask for more while the regulator, stuck for a moment, has not followed the last command."""

    def reach(bench: Bench) -> None:
        (proven_and_looped if regulator == LOOP_REGULATOR else proven)(bench)
        bench.ask(Move(regulator, first))
        machine = getattr(bench.plant, regulator)
        machine.stuck = True
        bench.ask(Move(regulator, second))
        bench.hand(0.9, (machine, "stuck", False))

    return reach


# Loop close


def loop_guard_unknown(bench: Bench) -> None:
    energised_low(bench)
    bench.ask(Close(LOOP))
    losing("guard")(bench)
    bench.ask(Close(LOOP))


def loop_regulator_up(bench: Bench) -> None:
    proven_and_looped(bench)
    bench.climb(LOOP_REGULATOR, FULL)
    bench.open(LOOP)
    bench.ask(Close(LOOP), 2)


def loop_without_lv(bench: Bench) -> None:
    prepared(bench)
    bench.ask(Close(LOOP), 2)


def loop_at_rated_interchanged(bench: Bench) -> None:
    """What no guard showed: a pair that aids, at rated voltage, after it was shown to oppose."""
    rated(bench)
    bench.ask(Close(LOOP))
    bench.plant.wiring = Wiring(aiding=True)
    bench.ask(Close(LOOP))


# Loop raise


def loop_raise_without_lv(bench: Bench) -> None:
    proven_and_looped(bench)
    losing("lv_contactor.contact")(bench)
    bench.hand(0.5, (bench.plant.lv_contactor, "fallen_out", True))
    bench.mark()
    bench.ask(Move(LOOP_REGULATOR, FULL))


def aiding_raise(bench: Bench) -> None:
    looped(bench)
    bench.ask(Move(LOOP_REGULATOR, QUARTER))


def unproven_loop_raise(bench: Bench) -> None:
    looped(bench)
    bench.plant.meters["hv.current.1"].dead = True
    bench.ask(Move(LOOP_REGULATOR, FULL))


def raise_beyond_rated(bench: Bench) -> None:
    proven_and_looped(bench)
    bench.ask(Move(LOOP_REGULATOR, 1.0))


# Resistance selector


def selector_under_lv(bench: Bench) -> None:
    prepared(bench)
    bench.close(LV)
    bench.ask(Close(SELECTOR), 2)


def selector_under_voltage(bench: Bench) -> None:
    """LV contactor welded behind a contact that says open, the meter's interlock gone."""
    rated(bench)
    bench.plant.resistance_selector.interlocked = False
    bench.plant.lv_contactor.welded = True
    bench.ask(Open(LV))
    bench.plant.lv_contactor.auxiliary = False
    bench.wait()
    bench.ask(Close(SELECTOR), 2)


STATES: dict[tuple[str, str], State] = {
    (LV, "guard shut"): State(lv_guard_unknown, lv_closed, changed=unreadable_contacts),
    (LV, "emergency circuit closed"): State(
        emergency_unknown, lv_closed, changed=unreadable_contacts
    ),
    (LV, "LV regulator at zero"): State(lv_regulator_up, full_voltage_at_once),
    (LV, "resistance selector open"): State(selector_closed, selector_on_live_winding),
    (LV, "contactors seen open"): State(contactors_not_seen, both_energised),
    (LV, "watchdog seen to act"): State(watchdog_not_seen, outlives_the_program),
    (LV, "prompts answered"): State(
        prompts_unanswered, feeds_a_short, wiring=Wiring(link_left_on=True)
    ),
    (LV, "intent committed"): State(no_intent(LV), closed_unrecorded(LV)),
    (LV_REGULATOR, "proof complete, or half the impedance voltage"): State(
        unproven_raise, twice_hv_across_the_gap, wiring=Wiring(aiding=True)
    ),
    (LV_REGULATOR, "loop open, or opposed at rated"): State(
        raise_under_closed_loop, peak_above("loop", 0.5, 25), wiring=TAPS_APART
    ),
    (LV_REGULATOR, "LV within 1.1 of rated"): State(raise_to_the_end, peak_above("bus", 1.12, 6)),
    (LV_REGULATOR, "LV read since the last move"): State(
        blind_raise(LV_REGULATOR, 0.3, 0.6), peak_above("bus", 0.4, 25)
    ),
    (LOOP, "guard shut"): State(loop_guard_unknown, loop_closed, changed=unreadable_contacts),
    (LOOP, "loop regulator at zero"): State(loop_regulator_up, current_jumps),
    (LOOP, "LV contactor closed"): State(loop_without_lv, loop_supply_alone, wiring=TAPS_APART),
    (LOOP, "LV low, or opposed at rated"): State(
        loop_at_rated_interchanged, many_times_rated, changed=stiff
    ),
    (LOOP, "intent committed"): State(no_intent(LOOP), closed_unrecorded(LOOP)),
    (LOOP_REGULATOR, "LV contactor closed"): State(
        loop_raise_without_lv,
        bus_driven_by_the_loop,
        wiring=Wiring(tap_steps=1),
        changed=good_iron_unreadable_contacts,
    ),
    (LOOP_REGULATOR, "not aiding since this closing"): State(
        aiding_raise, peak_above("loop", 0.65, 8), wiring=Wiring(aiding=True), changed=stiff
    ),
    (LOOP_REGULATOR, "loop proven, or a quarter of rated current"): State(
        unproven_loop_raise, rated_current_unseen
    ),
    (LOOP_REGULATOR, "voltage within its cap"): State(
        raise_beyond_rated, peak_above("loop", 1.2, 28)
    ),
    (LOOP_REGULATOR, "loop read since the last move"): State(
        blind_raise(LOOP_REGULATOR, 0.3, 0.6), peak_above("loop", 0.45, 25)
    ),
    (SELECTOR, "main contactors open"): State(selector_under_lv, selector_on_live_winding),
    (SELECTOR, "voltages gone"): State(selector_under_voltage, selector_on_voltage),
    (SELECTOR, "intent committed"): State(no_intent(SELECTOR), closed_unrecorded(SELECTOR)),
}
