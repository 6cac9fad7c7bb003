"""Both wattmeters in the load readings against what they read before."""

import pytest

from calculation.readings import ProveMeans
from sequences.exchange import check_exchange, exchanged_w
from sequences.scan import HV_CURRENT, HV_POWER, LV_POWER, LV_VOLTAGE, SERIES_VOLTAGE, Stop
from tests.sequences.paper import shipped

EXPECTED = shipped()
NO_LOAD = {LV_VOLTAGE: 400.0, LV_POWER: 640.0, SERIES_VOLTAGE: 6.6}
PROVEN = ProveMeans(520.0, 15.15, 3160.0, 8.0, 0.2)


def _loaded(lv_power: float, hv_power: float) -> dict[str, float]:
    return {LV_VOLTAGE: 400.0, LV_POWER: lv_power, HV_POWER: hv_power, HV_CURRENT: 15.15}


@pytest.mark.parametrize("sign", [1, -1])
def test_what_the_gap_explains_is_no_finding(sign: int) -> None:
    """Power exchanged by the gap voltage at loop current is proper, with either sign."""
    exchanged = sign * 0.99 * exchanged_w(EXPECTED, 6.6, 15.15)
    check_exchange(EXPECTED, NO_LOAD, _loaded(640 + exchanged, 3160 - exchanged), PROVEN)


@pytest.mark.parametrize(
    ("lv_power", "hv_power", "meter"),
    [
        (320.0, 3160.0, "LV wattmeter"),
        (1280.0, 3160.0, "LV wattmeter"),
        (-640.0, 3160.0, "LV wattmeter"),
        (640.0, 1580.0, "loop wattmeter"),
        (640.0, 6320.0, "loop wattmeter"),
        # Each alone could be exchange, and both together are not.
        (500.0, 3160.0, "both wattmeters"),
        (740.0, 3160.0 + 450.0, "both wattmeters"),
    ],
)
def test_a_wattmeter_that_changed_is_found(lv_power: float, hv_power: float, meter: str) -> None:
    """A multiplier or sense that changes after its proof never becomes a result."""
    with pytest.raises(Stop) as stop:
        check_exchange(EXPECTED, NO_LOAD, _loaded(lv_power, hv_power), PROVEN)
    assert stop.value.finding.name == "wattmeter_changed"
    assert stop.value.finding.seen.startswith(meter)
