"""What is held against time: a regulator that is late, channels that are overdue or stale."""

from dataclasses import replace

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR
from drivers.reading import OVER_RANGE, Quality
from sequences import age_conditions as age
from sequences.conditions import View
from sequences.scan import HV_VOLTAGE, LV_VOLTAGE
from tests.sequences.built import ns, told
from tests.sequences.test_conditions import closed, view

NOW_S = 100.0
# Of the shipped scenario's contacts: polled every 0.2 s, an answer takes 0.15 s at most.
NEXT_ANSWER_S = 0.35
STALE_S = 1.0


def read_before(at: View, channel: str, age_s: float) -> View:
    """Return a view in which a channel was last asked and read so long ago."""
    t = ns(NOW_S - age_s)
    image = {**at.scan.image, channel: at.scan.image[channel]._replace(t=t, began=t)}
    alive = {**at.scan.alive, channel: t}
    return at._replace(scan=replace(at.scan, image=image, alive=alive))


def uncritical(at: View, channel: str) -> View:
    """Return a view of a stand in which a channel is not critical."""
    channels = at.expected.channels
    plain = {**channels, channel: replace(channels[channel], critical=False)}
    return at._replace(expected=replace(at.expected, channels=plain))


class TestOverdue:
    def test_when_the_answer_after_the_newest_should_be_there(self) -> None:
        assert not age.overdue(read_before(view(), LV_REGULATOR, NEXT_ANSWER_S), LV_REGULATOR)
        late = read_before(view(), LV_REGULATOR, NEXT_ANSWER_S + 0.001)
        assert age.overdue(late, LV_REGULATOR)

    @pytest.mark.parametrize(("why", "overdue"), [("no answer", True), (OVER_RANGE, False)])
    def test_a_failure_is_no_answer_and_over_range_is_one(self, why: str, overdue: bool) -> None:
        at = view()
        bad = at.scan.image[LV_REGULATOR]._replace(value=None, quality=Quality.BAD, reason=why)
        image = {**at.scan.image, LV_REGULATOR: bad}
        at = at._replace(scan=replace(at.scan, image=image))
        assert age.overdue(at, LV_REGULATOR) is overdue

    def test_unread_from_when_it_is_stale(self) -> None:
        assert not age.unread(read_before(view(), LV_REGULATOR, STALE_S), LV_REGULATOR)
        assert age.unread(read_before(view(), LV_REGULATOR, STALE_S + 0.001), LV_REGULATOR)


@pytest.mark.parametrize("output", [LV_REGULATOR, LOOP_REGULATOR])
class TestLate:
    @pytest.mark.parametrize(
        ("due", "rest", "late"), [(97.0, None, False), (96.9, None, True), (96.9, 99.0, False)]
    )
    def test_late_3_s_after_it_was_due(
        self, output: str, due: float, rest: float | None, late: bool
    ) -> None:
        at = view(outputs=told(output, 0.5, rest=rest, due=due))
        assert age.late(output)(0.0, at) is late

    def moved(self, output: str, age_s: float) -> View:
        """Return a regulator that was due 4 s ago and whose position was read so long ago."""
        outputs = told(output, 0.5, rest=None, due=96.0) | closed(LV)
        return read_before(view(outputs=outputs), output, age_s)

    def test_not_while_its_position_is_overdue(self, output: str) -> None:
        assert age.late(output)(0.0, self.moved(output, 0.3))
        for age_s in (0.4, STALE_S):
            assert not age.late(output)(0.0, self.moved(output, age_s))
            assert not age.late(output)(0.0, uncritical(self.moved(output, age_s), output))

    def test_where_it_is_critical_a_stale_position_is_a_stale_channel(self, output: str) -> None:
        at = self.moved(output, STALE_S + 0.1)
        assert not age.late(output)(0.0, at)
        assert age.stale_channels(at) == [output]
        assert age.late(output)(0.0, uncritical(at, output))

    def test_the_words_say_what_is_known(self, output: str) -> None:
        words = age.late_words(output)
        assert words(self.moved(output, 0.3)).endswith("its position does not follow")
        assert words(self.moved(output, 1.5)).endswith("its position is unread for 1.5 s")


class TestStale:
    def _stale(self, channel: str, old_s: float, *contactors: str) -> list[str]:
        at = view(outputs=closed(*contactors))
        alive = {**at.scan.alive, channel: ns(100.0 - old_s)}
        return age.stale_channels(at._replace(scan=replace(at.scan, alive=alive)))

    def test_a_critical_channel_older_than_it_may_be(self) -> None:
        assert self._stale(LV_VOLTAGE, 5.0, LV) == []
        assert self._stale(LV_VOLTAGE, 5.001, LV) == [LV_VOLTAGE]
        assert self._stale("guard", 1.001, LOOP) == ["guard"]
        assert self._stale("ambient.1", 1000.0, LV, LOOP) == []

    def test_with_its_own_contactor_closed(self) -> None:
        assert self._stale(LV_VOLTAGE, 6.0) == []
        assert self._stale(HV_VOLTAGE, 6.0, LV) == []
        assert self._stale(HV_VOLTAGE, 6.0, LOOP) == [HV_VOLTAGE]

    def test_all_that_are_stale_are_found_and_named(self) -> None:
        at = view(outputs=closed(LV, LOOP))
        alive = {**at.scan.alive, HV_VOLTAGE: 0, "guard": 0}
        at = at._replace(scan=replace(at.scan, alive=alive))
        assert sorted(age.stale_channels(at)) == ["guard", HV_VOLTAGE]
        assert age.something_stale(0.0, at)
        assert not age.something_stale(0.0, view(outputs=closed(LV, LOOP)))
        assert {"guard", HV_VOLTAGE} <= set(age.stale_words(at).replace(",", "").split())
        assert ", " in age.stale_words(at)
