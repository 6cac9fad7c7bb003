"""The checks of the procedure, each at its limit and with the right name for what is wrong."""

from collections.abc import Callable
from typing import Any, ClassVar

import pytest

from sequences.checks import (
    LoopSeen,
    Lv,
    check_balance,
    check_circulating,
    check_dead,
    check_loop_follows,
    check_lv_before_loop,
    check_no_load_again,
    check_no_load_plausible,
    check_opposed,
    check_pause,
    check_steady,
    check_voltmeter,
    check_wattmeter,
    check_window,
    is_aiding,
)
from sequences.scan import (
    HV_CURRENT,
    HV_POWER,
    HV_VOLTAGE,
    LV_CURRENT,
    LV_POWER,
    LV_VOLTAGE,
    SERIES_VOLTAGE,
    TOP_LIQUID_A,
    Stop,
)
from tests.sequences.paper import HALF_V, shipped, with_meter

# The shipped pair: 6600/400 V, 100 kVA, u_k 4 %, I0 1.8 %, P0 320 W.
EXPECTED = shipped()
RATED_A = 100_000 / 6600
LOOP_OHM = EXPECTED.loop_impedance_ohm
PROMISED_V = 100.0  # in the pause at a quarter of rated
PAUSE_W = 2 * 320 / 16  # the pair's share of no-load loss there
PAUSE_A = 2 * 4.5 / 4  # and of no-load current


def finding(check: Callable[..., None], *seen: Any) -> str | None:
    """Return the name of what a check finds, None where it finds nothing."""
    try:
        check(*seen)
    except Stop as stop:
        return stop.finding.name if all(stop.finding) else "a finding without words"
    return None


def in_pause(
    voltage_v: float = PROMISED_V,
    current_a: float | None = PAUSE_A,
    power_w: float | None = PAUSE_W,
    series_v: float = 1.0,
) -> str | None:
    """Return what the pause finds."""
    lv = Lv(voltage_v, current_a, power_w)
    return finding(check_pause, EXPECTED, series_v, lv, PROMISED_V)


class TestPrepare:
    @pytest.mark.parametrize("channel", ["lv.voltage.1", "series.voltage.1", "hv.voltage.1"])
    def test_fifty_volts_on_any_voltmeter_is_live(self, channel: str) -> None:
        assert finding(check_dead, {"another": 0.0, channel: 49.9}) is None
        live = finding(check_dead, {"another": 0.0, channel: 50.0})
        assert live == "live_with_contactors_open"

    @pytest.mark.parametrize(("bottom_c", "balanced"), [(16.1, True), (15.9, False), (26.1, False)])
    def test_top_and_bottom_liquid_agree_within_five_kelvin(
        self, bottom_c: float, balanced: bool
    ) -> None:
        found = finding(check_balance, {"a": 21.0, "b": 21.0}, {"a": 21.0, "b": bottom_c})
        assert found == (None if balanced else "temperatures_not_in_balance")

    def test_a_unit_without_bottom_liquid_is_not_judged(self) -> None:
        assert finding(check_balance, {"a": 21.0}, {}) is None


class TestProve:
    @pytest.mark.parametrize(
        ("voltage_v", "current_a", "sound"),
        [
            (8.0, 3.59, True),  # 20 times the share of 0.18 A
            (8.0, 3.61, False),
            (4.01, 1.80, True),  # half of what is promised, and 20 times the share there
            (3.99, 0.1, False),
            (4.01, 1.82, False),
            (8.0, None, False),
        ],
    )
    def test_lv_is_neither_short_nor_overloaded(
        self, voltage_v: float, current_a: float | None, sound: bool
    ) -> None:
        lv = Lv(voltage_v, current_a, 1.0)
        found = finding(check_lv_before_loop, EXPECTED, HALF_V, lv)
        assert found == (None if sound else "lv_short_or_shorted_turn")

    @pytest.mark.parametrize(
        ("loop_a", "lv_v", "lv_a", "aiding"),
        [
            (
                0.099 * RATED_A,
                HALF_V,
                1.0,
                False,
            ),  # a fifth of the half of rated that aiding drives
            (0.101 * RATED_A, HALF_V, 1.0, True),
            (0.0, 0.81 * HALF_V, 1.0, False),
            (0.0, 0.79 * HALF_V, 1.0, True),  # a weak supply collapses
            (None, HALF_V, 1.0, True),
            (0.0, HALF_V, None, True),
        ],
    )
    def test_current_by_itself_or_a_collapse_or_over_range_is_aiding(
        self, loop_a: float | None, lv_v: float, lv_a: float | None, aiding: bool
    ) -> None:
        assert is_aiding(EXPECTED, HALF_V, loop_a, Lv(lv_v, lv_a, 1.0)) is aiding

    @pytest.mark.parametrize(
        ("follows", "at_5_percent", "at_25_percent"),
        [
            (0.149, "loop_open", "loop_open"),
            (0.151, None, "impedance_not_as_nameplate"),
            (0.849, None, "impedance_not_as_nameplate"),
            (0.851, None, None),
            (1.149, None, None),
            (1.151, None, "impedance_not_as_nameplate"),
        ],
    )
    def test_current_follows_voltage(
        self, follows: float, at_5_percent: str | None, at_25_percent: str | None
    ) -> None:
        loop = LoopSeen(100.0, follows * 100.0 / LOOP_OHM, 1.0)
        assert finding(check_loop_follows, EXPECTED, loop, False) == at_5_percent
        assert finding(check_loop_follows, EXPECTED, loop, True) == at_25_percent

    def test_the_impedance_is_the_one_at_the_windings_temperature(self) -> None:
        cold = EXPECTED.loop_impedance_at(0.0)
        assert cold < 0.99 * LOOP_OHM
        loop = LoopSeen(100.0, 1.145 * 100.0 / cold, 1.0)
        assert finding(check_loop_follows, EXPECTED, loop, True, 0.0) is None
        assert finding(check_loop_follows, EXPECTED, loop, True) is not None

    def test_a_loop_with_no_voltage_is_no_division_by_zero(self) -> None:
        assert finding(check_loop_follows, EXPECTED, LoopSeen(0.0, 0.0, 0.0), True)

    @pytest.mark.parametrize(
        ("power_w", "right"),
        [(0.1, True), (0.0, False), (-0.1, False), (104.9, True), (105.1, False)],
    )
    def test_the_wattmeter_reads_forwards_and_within_volts_times_amperes(
        self, power_w: float, right: bool
    ) -> None:
        found = finding(check_wattmeter, LoopSeen(10.0, 10.0, power_w))
        assert found == (None if right else "wattmeter_sense")

    @pytest.mark.parametrize(
        ("series_v", "follows"),
        [(75.1, True), (74.9, False), (124.9, True), (125.1, False), (0.0, False), (None, False)],
    )
    def test_the_voltmeter_follows_within_a_quarter(
        self, series_v: float | None, follows: bool
    ) -> None:
        found = finding(check_voltmeter, EXPECTED, series_v, 100.0)
        assert found == (None if follows else "voltmeter_did_not_follow")

    def test_what_both_classes_explain_is_not_held_against_it(self) -> None:
        # 0.3 % of 15 kV is 45 V: at 50 V nothing can be said of it, at 500 V something can.
        coarse = with_meter(SERIES_VOLTAGE, ranges=(15000.0,), range_percent=0.3)
        assert finding(check_voltmeter, coarse, 0.0, 50.0) is None
        assert finding(check_voltmeter, coarse, 0.0, 500.0) == "voltmeter_did_not_follow"


class TestPause:
    def test_a_good_pair_passes(self) -> None:
        assert in_pause() is None

    @pytest.mark.parametrize(
        ("power_w", "found"),
        [(2.1 * PAUSE_W, "shorted_turn"), (1.9 * PAUSE_W, "lv_voltage_not_as_promised")],
    )
    def test_a_shorted_turn_that_pulls_the_supply_down_is_told_from_a_low_voltmeter(
        self, power_w: float, found: str
    ) -> None:
        """The one draws power that the promised voltage doesn't explain, the other doesn't."""
        assert in_pause(voltage_v=0.7 * PROMISED_V, power_w=power_w) == found

    @pytest.mark.parametrize(("share", "found"), [(0.0299, None), (0.0301, "not_opposed")])
    def test_three_per_cent_is_opposition(self, share: float, found: str | None) -> None:
        assert in_pause(series_v=share * 2 * 16.5 * PROMISED_V) == found

    @pytest.mark.parametrize(
        ("share", "right"), [(0.799, False), (0.801, True), (1.149, True), (1.151, False)]
    )
    def test_lv_reads_what_is_promised(self, share: float, right: bool) -> None:
        found = in_pause(voltage_v=share * PROMISED_V, power_w=1.0)
        assert found == (None if right else "lv_voltage_not_as_promised")

    @pytest.mark.parametrize(
        ("power_w", "found"),
        [(2.99 * PAUSE_W, None), (3.01 * PAUSE_W, "shorted_turn"), (None, "shorted_turn")],
    )
    def test_three_times_the_share_of_power_is_a_shorted_turn(
        self, power_w: float | None, found: str | None
    ) -> None:
        assert in_pause(power_w=power_w) == found

    @pytest.mark.parametrize(
        ("current_a", "found"),
        [
            (0.299 * PAUSE_A, "lv_ammeter_dead"),
            (0.301 * PAUSE_A, None),
            (12 * PAUSE_A, None),  # low-flux iron: shown, not judged
            (None, "shorted_turn"),
        ],
    )
    def test_the_ammeter_is_alive(self, current_a: float | None, found: str | None) -> None:
        assert in_pause(current_a=current_a) == found


class TestRated:
    @pytest.mark.parametrize(("ratio", "found"), [(0.00399, None), (0.00401, "ratio_mismatch")])
    def test_r_within_its_limit(self, ratio: float, found: str | None) -> None:
        for lv_v in (380.0, 400.0):
            series_v = ratio * 2 * 16.5 * lv_v
            assert finding(check_opposed, EXPECTED, series_v, lv_v) == found

    @pytest.mark.parametrize(
        ("power_w", "right"), [(624.0, True), (-10.0, False), (3800.0, False), (-1.0, True)]
    )
    def test_power_into_an_unloaded_pair_is_plausible(self, power_w: float, right: bool) -> None:
        # 0.05 % of 12 kW is 6 W; 1.05 x 400 V x 9 A is 3780 W.
        found = finding(check_no_load_plausible, EXPECTED, Lv(400.0, 9.0, power_w))
        assert found == (None if right else "lv_wattmeter_sense")

    def test_over_range_is_left_to_other_checks(self) -> None:
        for lv in (Lv(400.0, None, 1.0), Lv(400.0, 9.0, None)):
            assert finding(check_no_load_plausible, EXPECTED, lv) is None

    @pytest.mark.parametrize(("share", "found"), [(0.99, None), (1.01, "circulating_current")])
    def test_what_circulates_is_explained_by_the_gap(self, share: float, found: str | None) -> None:
        # Gap of 50 V: 1.3 times it, twice what both meters may be wrong there (0.1 % and 0.02 %
        # of 150 V, 0.05 % and 0.05 % of 1 kV), and 2 % of rated current.
        unsure = 0.05 + 0.03 + 0.025 + 0.5
        most = (1.3 * 50.0 + 2 * unsure) / 35.0 + 0.02 * RATED_A
        assert finding(check_circulating, EXPECTED, 35.0, 50.0, share * most) == found


@pytest.mark.parametrize(
    ("counted", "found"), [(47, None), (46, "readings_missing"), (0, "readings_missing")]
)
def test_a_window_holds_four_fifths_of_its_readings_but_one(
    counted: int, found: str | None
) -> None:
    counts = {"lv.power.1": 60, "hv.power.1": counted}
    wanted = dict.fromkeys(counts, 60.0)
    assert finding(check_window, counts, wanted, "a window") == found


def test_a_window_too_short_for_any_reading_lacks_them() -> None:
    assert finding(check_window, {"lv.power.1": 0}, {"lv.power.1": 0.3}, "w") == "readings_missing"


@pytest.mark.parametrize(
    ("power_w", "current_a", "found"),
    [
        (1.025, 1.025, None),
        (1.035, 1.0, "no_load_changed"),
        (0.965, 1.0, "no_load_changed"),
        (1.0, 0.5, "no_load_changed"),
        (-1.0, 1.0, "no_load_changed"),
    ],
)
def test_lv_meters_read_after_the_load_readings_what_they_read_before(
    power_w: float, current_a: float, found: str | None
) -> None:
    """At a voltage that has risen by half a per cent, power goes with its square."""
    before = {"lv.voltage.1": 400.0, "lv.current.1": 9.0, "lv.power.1": 640.0}
    after = {
        "lv.voltage.1": 402.0,
        "lv.current.1": current_a * 1.005 * 9.0,
        "lv.power.1": power_w * 1.005**2 * 640.0,
    }
    assert finding(check_no_load_again, before, after) == found


class TestSteady:
    """One reading in ten, moved away from the nine others."""

    READ: ClassVar[dict[str, float]] = {
        LV_VOLTAGE: 400.0,
        LV_CURRENT: 9.0,
        LV_POWER: 640.0,
        HV_VOLTAGE: 530.0,
        HV_CURRENT: 15.0,
        HV_POWER: 3000.0,
        SERIES_VOLTAGE: 6.0,
        TOP_LIQUID_A: 20.0,
    }

    def once(self, channel: str, value: float) -> str | None:
        """Return what is found when one reading of a channel is this."""
        values = {c: [v] * 10 for c, v in self.READ.items()}
        values[channel][4] = value
        return finding(check_steady, EXPECTED, values, "load readings")

    @pytest.mark.parametrize("channel", READ)
    @pytest.mark.parametrize("factor", [0.5, 2.0, 10.0])
    def test_a_multiplier_wrong_for_one_reading_is_seen(self, channel: str, factor: float) -> None:
        value = factor * self.READ[channel]
        assert self.once(channel, value) == "readings_not_steady"

    @pytest.mark.parametrize("channel", [LV_VOLTAGE, HV_VOLTAGE, HV_CURRENT])
    @pytest.mark.parametrize("sign", [1, -1])
    def test_voltage_and_loop_current_move_with_the_supply(self, channel: str, sign: int) -> None:
        """By 3.3 %, and by what both readings' classes and noise leave."""
        value = self.READ[channel]
        error = 1.25 * 2 * EXPECTED.error_of(channel, value)
        assert self.once(channel, value + sign * 0.033 * value) is None
        beyond = 0.033 * value + 1.05 * error
        assert self.once(channel, value + sign * beyond) == "readings_not_steady"

    def test_power_moves_with_the_square_of_voltage_and_the_pairs_loss(self) -> None:
        """What the twins exchange may leave next to nothing of one supply's power."""
        plate = EXPECTED.nameplate
        for channel, loss in ((LV_POWER, plate.no_load_loss_w), (HV_POWER, plate.load_loss_w)):
            value = self.READ[channel]
            moves = 0.066 * (value + 2 * loss)
            assert self.once(channel, value - moves) is None
            assert self.once(channel, value - 1.2 * moves) == "readings_not_steady"

    def test_liquid_moves_by_two_kelvin(self) -> None:
        assert self.once(TOP_LIQUID_A, 22.0) is None
        assert self.once(TOP_LIQUID_A, 23.0) == "readings_not_steady"

    def test_what_noise_makes_of_a_range_is_no_movement(self) -> None:
        """Next to nothing in the gap: the voltmeter's zero is all there is."""
        error = EXPECTED.error_of(SERIES_VOLTAGE, 0.01)
        values = {SERIES_VOLTAGE: [0.01, 0.01, 0.01 + 2 * error]}
        assert finding(check_steady, EXPECTED, values, "no load") is None

    def test_most_readings_wrong_are_not_steady_either(self) -> None:
        values = {HV_CURRENT: [30.0] * 7 + [15.0] * 3}
        assert finding(check_steady, EXPECTED, values, "load") == "readings_not_steady"
