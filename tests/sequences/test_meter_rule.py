"""The meter rule: each clause on both sides of its boundary, on the shipped pair's figures."""

from dataclasses import replace

import pytest

from sequences.expected import Expected
from sequences.meter_rule import unsuited_meters
from sequences.scan import HV_CURRENT, HV_POWER, HV_VOLTAGE, LV_CURRENT, LV_VOLTAGE, SERIES_VOLTAGE
from tests.sequences.paper import shipped, with_meter

# 6600/400 V, 100 kVA, u_k 4 %, I0 1.8 %, P0 320 W: r_limit 0.4 %, so a quarter of the gap's limit
# is 13.2 V; 15 % of 2 u_k V_HV is 79.2 V; a quarter of half the impedance voltage 2 V; 4 I0 18 A;
# three quarters of 2 P0/16 30 W; rated currents 250 A and 15.15 A, 2 Z_e 35.1 ohm.
ONE = (15000.0,)
TWO = (150.0, 15000.0)


def faulted(expected: Expected) -> dict[str, str]:
    """Return what is wrong by channel: what each meter has."""
    return {u.channel: u.has for u in unsuited_meters(expected)}


def series(ranges: tuple[float, ...], range_percent: float) -> Expected:
    return with_meter(SERIES_VOLTAGE, ranges=ranges, range_percent=range_percent)


def test_the_shipped_stand_suits_the_shipped_pair() -> None:
    assert unsuited_meters(shipped()) == []


class TestSeriesVoltmeter:
    @pytest.mark.parametrize(
        ("ranges", "range_percent", "suits"),
        [
            # One range: 13.2 V of 15 kV where r is judged.
            (ONE, 0.0879, True),
            (ONE, 0.0881, False),
            # Two: where the lower one ends short of the gap's limit, r is judged on the higher.
            ((52.9, 15000.0), 0.5, True),
            ((52.7, 15000.0), 0.5, False),
            # The higher is held to 79.2 V of 15 kV.
            (TWO, 0.527, True),
            (TWO, 0.529, False),
        ],
    )
    def test_range_error_where_r_is_judged_and_on_the_highest(
        self, ranges: tuple[float, ...], range_percent: float, suits: bool
    ) -> None:
        assert (SERIES_VOLTAGE not in faulted(series(ranges, range_percent))) is suits

    @pytest.mark.parametrize("below", [(), (150.0,)])
    @pytest.mark.parametrize(("highest", "suits"), [(14520.0, True), (14519.0, False)])
    def test_the_highest_range_holds_what_an_aiding_pair_shows(
        self, below: tuple[float, ...], highest: float, suits: bool
    ) -> None:
        found = faulted(series((*below, highest), 0.02))
        assert ("highest range" in found.get(SERIES_VOLTAGE, "")) is not suits

    @pytest.mark.parametrize("where", ["where r is judged", "on its highest range", "at zero"])
    def test_every_breach_of_one_meter_is_named(self, where: str) -> None:
        assert any(u.has.endswith(where) for u in unsuited_meters(series(ONE, 1.0)))

    @pytest.mark.parametrize(("low", "suits"), [(150.0, True), (120.0, False)])
    def test_a_gap_beyond_the_range_that_judges_is_never_read_within_the_limit(
        self, low: float, suits: bool
    ) -> None:
        """The next range is off by up to 75 V, and 66 V is 1.25 of the limit."""
        assert (SERIES_VOLTAGE not in faulted(series((low, 15000.0), 0.5))) is suits


class TestLvAnalyser:
    @pytest.mark.parametrize(
        ("ranges", "range_percent", "suits"),
        [
            ((600.0,), 0.333, True),  # 2 V of 600 V
            ((600.0,), 0.334, False),
            ((8.0, 600.0), 3.3, True),  # half the impedance voltage is on the lower range
            ((7.9, 600.0), 0.334, False),
        ],
    )
    def test_voltmeter_at_half_the_impedance_voltage(
        self, ranges: tuple[float, ...], range_percent: float, suits: bool
    ) -> None:
        expected = with_meter(LV_VOLTAGE, ranges=ranges, range_percent=range_percent)
        assert (LV_VOLTAGE not in faulted(expected)) is suits

    @pytest.mark.parametrize(
        ("ranges", "suits"), [((18.0,), True), ((17.9,), False), ((5.0, 17.9), False)]
    )
    def test_ammeter_holds_four_times_the_no_load_current(
        self, ranges: tuple[float, ...], suits: bool
    ) -> None:
        assert (LV_CURRENT not in faulted(with_meter(LV_CURRENT, ranges=ranges))) is suits

    @pytest.mark.parametrize(
        ("ranges", "range_percent", "suits"),
        [
            ((20.0,), 0.249, True),  # 30 W of 600 V times 20 A
            ((20.0,), 0.251, False),
            ((250.0,), 0.019, True),
            ((250.0,), 0.021, False),
            # The lowest range that holds 4 I0 is the one that counts.
            ((20.0, 250.0), 0.249, True),
            ((5.0, 250.0), 0.021, False),
        ],
    )
    def test_power_at_a_quarter_of_rated_voltage_shows(
        self, ranges: tuple[float, ...], range_percent: float, suits: bool
    ) -> None:
        expected = with_meter(LV_CURRENT, ranges=ranges, range_percent=range_percent)
        assert (LV_CURRENT not in faulted(expected)) is suits


class TestHvAnalyser:
    QUARTER_A = 100_000 / 6600 / 4

    @pytest.mark.parametrize(("share", "suits"), [(0.0999, True), (0.1001, False)])
    @pytest.mark.parametrize("of_voltage", [0.0, 0.5, 1.0])
    def test_both_range_errors_together_at_a_quarter_of_rated_current(
        self, of_voltage: float, share: float, suits: bool
    ) -> None:
        quarter_v = self.QUARTER_A * shipped().loop_impedance_ohm
        expected = with_meter(
            HV_VOLTAGE, ranges=(200.0,), range_percent=100 * of_voltage * share * quarter_v / 200
        )
        expected = with_meter(
            HV_CURRENT,
            ranges=(20.0,),
            range_percent=100 * (1 - of_voltage) * share * self.QUARTER_A / 20,
            of=expected,
        )
        assert (HV_VOLTAGE not in faulted(expected)) is suits

    def test_a_lower_range_counts_where_the_quarter_is_read_on_it(self) -> None:
        one = with_meter(HV_CURRENT, ranges=(20.0,), range_percent=2.0)
        two = with_meter(HV_CURRENT, ranges=(4.0, 20.0), range_percent=2.0)
        assert HV_VOLTAGE in faulted(one)
        assert HV_VOLTAGE not in faulted(two)


@pytest.mark.parametrize(("range_v", "suits"), [(20_000.0, True), (20_100.0, False)])
@pytest.mark.parametrize("channel", [HV_VOLTAGE, LV_VOLTAGE, SERIES_VOLTAGE])
def test_zero_can_be_told_from_dangerous(channel: str, range_v: float, suits: bool) -> None:
    expected = with_meter(channel, ranges=(range_v,), range_percent=0.1)
    at_zero = [u for u in unsuited_meters(expected) if "at zero" in u.has]
    assert [u.channel for u in at_zero] == ([] if suits else [channel])


@pytest.mark.parametrize(
    "channel", [LV_VOLTAGE, LV_CURRENT, SERIES_VOLTAGE, HV_VOLTAGE, HV_CURRENT, HV_POWER]
)
def test_a_meter_of_unknown_class_judges_nothing(channel: str) -> None:
    expected = shipped()
    unknown = replace(expected.channels[channel], accuracy=None)
    expected = replace(expected, channels={**expected.channels, channel: unknown})
    assert channel in faulted(expected)
