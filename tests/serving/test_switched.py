"""What a served stand tells of its switches: each at its own instant."""

from acquire.clock import S
from acquire.configuration import load_scenario
from acquire.simulating import Switched
from acquire.site import Site


def test_a_plant_moved_on_late_tells_when_it_switched_and_not_when_it_was_asked() -> None:
    """Heartbeat at 1 s and then none: the relay drops 3 s later, the contactor 0.04 s after it."""
    plant = Site(load_scenario("distribution_pair", "loss_test"), seed=1).stand
    switched = Switched(plant)
    plant.advance(1 * S)
    plant.write("heartbeat", 1)
    plant.write("lv_contactor", 1)
    plant.advance(2 * S)
    begun = switched.untold()
    assert begun[0] == "1.00 s: watchdog picked up"
    assert "1.06 s: lv_contactor closed" in begun
    plant.advance(60 * S)
    ended = switched.untold()
    assert ended[0] == "4.00 s: watchdog dropped"
    assert "4.04 s: lv_contactor open" in ended
    assert switched.untold() == []
