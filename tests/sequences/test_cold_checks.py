"""What cold resistances are refused for, each at both sides."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from acquire.configuration import load_scenario
from acquire.stand import expected_of
from calculation.correction import resistance_at
from calculation.heat_readings import Floats
from sequences.cold_checks import check_cold
from sequences.expected import Expected
from sequences.scan import Stop

ROOM_C = 20.0
HV_OHM = 2.82  # of the shipped pair at 20 °C


@cache
def expected() -> Expected:
    """Return what the shipped scenario's heat run leads one to expect."""
    return expected_of(load_scenario("distribution_pair", "heat_run"))


def read(ohm: float, settling_s: float = 4.0, readings: int = 90) -> tuple[Floats, Floats]:
    """Return constructed readings every 2 s that settle from five times the resistance."""
    t_s = 2.0 * np.arange(1, readings + 1, dtype=np.float64)
    return t_s, ohm * (1 + 4 * np.exp(-t_s / settling_s))


def refused(name: str, ohm: float = HV_OHM, of: Expected | None = None, **made: float) -> bool:
    """Return whether readings are refused under a name."""
    try:
        check_cold(of or expected(), "a_hv", read(ohm, **made), ROOM_C)  # type: ignore[arg-type]  # counts among them
    except Stop as stop:
        return stop.finding.name == name
    return False


def test_what_the_pair_file_says_is_taken() -> None:
    check_cold(expected(), "a_hv", read(HV_OHM), ROOM_C)


def test_a_warm_winding_is_compared_at_its_temperature() -> None:
    """At 60 °C copper has 16 % more: not as known at 20 °C but for its temperature."""
    warm = resistance_at(1.1 * HV_OHM, 20.0, 60.0, 235.0)
    check_cold(expected(), "a_hv", read(warm), 60.0)
    with pytest.raises(Stop):
        check_cold(expected(), "a_hv", read(warm), ROOM_C)


def test_two_windings_in_parallel_are_found() -> None:
    assert refused("resistance_not_as_known", 0.5 * HV_OHM)
    assert not refused("resistance_not_as_known", 0.85 * HV_OHM)


def test_too_few_readings_are_none() -> None:
    assert refused("no_cold_resistance", readings=9)
    assert not refused("no_cold_resistance", readings=90)


def test_what_does_not_settle_in_its_time_is_found() -> None:
    assert refused("cold_resistance_does_not_settle", settling_s=100.0)


def test_a_selector_that_goes_round_must_wait_for_what_it_switches() -> None:
    """Ten settling constants are to fit into its stay."""
    positions = (("a.resistance_hv",), ("b.resistance_hv",))
    several = replace(expected(), selector_positions=positions)
    assert refused("selector_too_quick", of=several, settling_s=13.0)
    assert not refused("selector_too_quick", of=several, settling_s=11.0)
