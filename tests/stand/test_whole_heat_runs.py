"""A whole heat run, on a plant that warms ten times as fast: judged by the plant's true state."""

from collections.abc import Iterator
from itertools import pairwise
from statistics import fmean

import pytest

from acquire.archive import Archive
from drivers.outputs import LOOP_REGULATOR, LV_REGULATOR, SELECTOR
from drivers.simulated.true_state import TrueState
from tests.stand.conftest import S, Watched
from tests.stand.heat import Witness, findings, marks, soak_of, soon_steady, states

STAGES = (
    "prepare",
    "prove",
    "energise",
    "no_load_readings",
    "circulate",
    "load_readings",
    "circulate",
    "soak",
    "shut_down",
    "cool",
    "make_safe",
)


class Seen:
    """A whole run: what it told, and the truth after every scan.

    `soaking_c` is the mean of all four windings in the scans of the soak, degC.
    """

    def __init__(self, watched: Watched) -> None:
        self.watched = watched
        self.witness = Witness(watched.plant)
        self.truth: list[tuple[float, TrueState]] = []
        self.soaking_c: list[float] = []
        plant, run = watched.plant, watched.rehearsal.cycle.run
        for scan in watched.scans():
            self.truth.append((scan.now / S, plant.true_state()))
            if run.stage == "soak":
                self.soaking_c.append(fmean(c for unit in "ab" for c in plant.winding_c(unit)))

    def between(self, begin_s: float, end_s: float) -> list[TrueState]:
        """Return the true states after the scans between two instants."""
        return [state for t_s, state in self.truth if begin_s <= t_s <= end_s]

    def soak(self) -> list[TrueState]:
        """Return the true states while it soaked."""
        return self.between(marks(self.watched, "soak")[0], marks(self.watched, "soaked")[0])


@pytest.fixture(name="seen", scope="module")
def _seen(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Seen]:
    """Return the run, made once."""
    archive = Archive(tmp_path_factory.mktemp("heat_run"))
    watched = Watched(soon_steady(), archive, seed=1)
    yield Seen(watched)
    watched.close()


def test_it_completes_by_the_rule_of_its_schedule(seen: Seen) -> None:
    """Steady, and so with no finding; no trip, no hold."""
    watched = seen.watched
    assert (watched.state, findings(watched), watched.told("trip")) == ("complete", [], [])
    assert states(watched) == ["complete"]
    facts = next(e.facts for e in watched.told("shows") if e.facts.get("mark") == "soaked")
    assert all(abs(facts[unit]["rate_k_per_h"]) <= 1.0 for unit in "ab")
    # The rule's hour of rates and the hour over which it holds.
    assert marks(watched, "soaked")[0] - marks(watched, "soak")[0] > 2 * 3600


def test_its_stages_come_in_their_order(seen: Seen) -> None:
    assert tuple(e.facts["stage"] for e in seen.watched.told("stage")) == STAGES


def test_the_meter_is_never_on_a_winding_that_is_or_may_come_alive(seen: Seen) -> None:
    """At every instant at which the plant moves on: no main contactor closed, nothing above 50 V.

    It is on twice: cold before anything closes, hot after everything has opened for good.
    """
    assert seen.witness.d_c_on_live == []
    stood = seen.witness.of("selector")
    assert [c.stands for c in stood] == [1, 0, 1, 0]
    lv = seen.witness.of("lv")
    assert stood[1].t_s < lv[0].t_s
    assert lv[-1].t_s < stood[2].t_s
    assert lv[-1].stands == 0


def test_nothing_is_driven_beyond_what_it_is_rated_for(seen: Seen) -> None:
    """The dead band is half a per cent; meters err by a tenth."""
    states = [state for _t, state in seen.truth]
    assert max(s.bus for s in states) <= 1.006
    assert max(s.loop for s in states) <= 1.006
    assert max(s.flux_a for s in states) <= 1.03
    assert max(s.flux_b for s in states) <= 1.03


def test_set_points_are_kept_while_it_soaks(seen: Seen) -> None:
    """Half a per cent of dead band, a tenth of meters, and what a minute of warming takes."""
    states = seen.soak()
    assert min(s.bus for s in states) >= 0.991
    assert min(s.loop for s in states) >= 0.991


def test_the_loop_regulator_moves_seldom_and_each_time_for_more_than_the_dead_band(
    seen: Seen,
) -> None:
    """A correction takes back what had gone past it: half a per cent less the ramp's tolerance."""
    watched = seen.watched
    (soak,), (soaked,) = marks(watched, "soak"), marks(watched, "soaked")
    moves = [
        (e.t / S, e.facts["to"])
        for e in watched.told("command")
        if e.facts["output"] == LOOP_REGULATOR and e.t / S < soaked
    ]
    before = [to for t_s, to in moves if t_s < soak][-1]
    during = [to for t_s, to in moves if t_s >= soak]
    # The loop's impedance has risen with its windings, and the voltage with it: up to a dead band
    # and a ramp's tolerance, and what the twins differ from their nameplate.
    expected, hot_c = watched.rehearsal.expected, seen.soaking_c
    warmed = expected.loop_impedance_at(hot_c[-1]) / expected.loop_impedance_at(hot_c[0])
    assert warmed > 1.015
    assert during[-1] / before == pytest.approx(warmed, abs=0.008)
    assert all(after / one - 1 >= 0.003 for one, after in pairwise([before, *during]))


def test_the_current_goes_first_then_the_loop_then_the_lv_contactor(seen: Seen) -> None:
    """The loop opens with no current in it, the LV contactor within seconds, by true contacts."""
    shutdown = marks(seen.watched, "shutdown")[0]
    loop, lv = seen.witness.of("loop")[-1], seen.witness.of("lv")[-1]
    assert (loop.stands, lv.stands) == (0, 0)
    assert shutdown < loop.t_s < lv.t_s < loop.t_s + 5.0
    at_opening = seen.between(loop.t_s - 1.0, loop.t_s)[-1]
    assert at_opening.loop < 0.05
    assert at_opening.bus > 0.99


def test_curves_begin_within_a_minute_and_last_their_time(seen: Seen) -> None:
    """The regulator of the supply is at zero long before they end."""
    watched = seen.watched
    shutdown, hot = marks(watched, "shutdown")[0], marks(watched, "hot")[0]
    assert hot - seen.witness.of("loop")[-1].t_s < 20.0
    read = marks(watched, "hot_read")[0]
    assert read >= shutdown + soak_of(watched.rehearsal.scenario).cooling_s
    record = watched.rehearsal.record
    assert record is not None
    cold, cold_read = marks(watched, "cold")[0], marks(watched, "cold_read")[0]
    for winding in ("a_lv", "a_hv", "b_lv", "b_hv"):
        _, cold_ohm = record.resistance(winding, cold, cold_read)
        t_s, hot_ohm = record.resistance(winding, hot, read)
        settled = hot_ohm[t_s > hot + 90.0]
        # 30 to 75 K warmer than cold: 1/256 per kelvin of copper at 21 degC.
        assert 1.12 < settled[0] / cold_ohm[-1] < 1.29
        assert settled[0] > settled[-1]
        assert t_s[-1] - t_s[0] > 850.0
    lowered = [
        e.t / S
        for e in watched.told("command")
        if e.facts["output"] == LV_REGULATOR and e.facts.get("to") == 0.0
    ]
    assert lowered[-1] < hot
    commands = [e.facts["action"] for e in watched.told("command") if e.facts["output"] == SELECTOR]
    assert commands == ["close", "open", "close", "open"]
