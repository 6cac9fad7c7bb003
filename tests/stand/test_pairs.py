"""No good pair is stopped, no bad one passes, and each is found by its right name.

A hundred of each here; the campaign of a thousand on request (-m campaign -s), its figures in
docs/loss_test_campaign.md.
"""

from collections import Counter
from collections.abc import Sequence

import pytest

from tests.stand.faults import FAULTS
from tests.stand.pairs import Seen, rehearse_bad, rehearse_good

AIDING_LOOP_AT_MOST = 0.6


def _wrong(seen: Sequence[Seen]) -> list[Seen]:
    return [s for s in seen if not s.right]


def _aiding(seen: Sequence[Seen]) -> list[Seen]:
    return [s for s in seen if s.fault == "aiding for ever"]


def _table(seen: Sequence[Seen]) -> str:
    rows = Counter((s.fault or "good", s.state, s.finding or "-", s.stage) for s in seen)
    return "\n".join(f"{' | '.join(row)} | {count}" for row, count in sorted(rows.items()))


def test_no_trip_and_no_check_stops_a_good_pair() -> None:
    assert _wrong(rehearse_good(range(100))) == []


def test_no_bad_pair_passes_and_each_is_found_by_its_right_name() -> None:
    seen = rehearse_bad(range(100))
    assert {s.fault for s in seen} == {f.name for f in FAULTS}
    assert _wrong(seen) == []
    # The word: loop current never above 60 % of rated.
    assert max(s.most_loop for s in _aiding(seen)) < AIDING_LOOP_AT_MOST


@pytest.mark.campaign
def test_a_thousand_good_pairs() -> None:
    seen = rehearse_good(range(1000, 2000))
    print(f"\n{_table(seen)}\nmost loop current {max(s.most_loop for s in seen):.4f} of rated")
    assert _wrong(seen) == []


@pytest.mark.campaign
def test_a_thousand_bad_pairs() -> None:
    seen = rehearse_bad(range(1000, 2000))
    worst = max(s.most_loop for s in _aiding(seen))
    print(f"\n{_table(seen)}\nmost loop current while aiding {worst:.4f} of rated")
    assert _wrong(seen) == []
    assert worst < AIDING_LOOP_AT_MOST
