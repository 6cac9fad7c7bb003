"""The gate: openings and lowerings always, closings and raises never without their permissives."""

from collections.abc import Mapping
from dataclasses import replace

import pytest

from drivers.outputs import LOOP, LOOP_REGULATOR, LV, LV_REGULATOR, SELECTOR
from sequences.evidence import Evidence
from sequences.following import Rest
from sequences.gate import REVOKED, gate, is_raise
from sequences.permissives import PERMISSIVES, Permissive
from sequences.prompt import PREPARATION, confirm
from sequences.scan import (
    EMERGENCY_STOP,
    GUARD,
    LV_VOLTAGE,
    Ask,
    Close,
    Move,
    Open,
    Request,
    Wait,
    WithholdHeartbeat,
)
from tests.sequences.paper import Paper, shipped


def named(request: Request) -> str:
    """Return what a request is called in the list of tests."""
    return " ".join([type(request).__name__, *map(str, request[:2])])[:40]


NOTHING_PROVEN = Evidence()
REVOKED_EVIDENCE = NOTHING_PROVEN.revoke()
ALWAYS: tuple[Request, ...] = (
    Open(LV),
    Open(LOOP),
    Open(SELECTOR),
    Move(LV_REGULATOR, 0.0),
    Move(LOOP_REGULATOR, 0.0),
    Move(LV_REGULATOR, 0.3),
    Move(LOOP_REGULATOR, 0.5),
    Ask(confirm(PREPARATION[0], "nothing", 60.0)),
    Wait(),
    WithholdHeartbeat(),
)
GUARDED: tuple[Close | Move, ...] = (
    Close(LV),
    Close(LOOP),
    Close(SELECTOR),
    Move(LV_REGULATOR, 1.0),
    Move(LOOP_REGULATOR, 1.0),
)
ALL_MET: Mapping[str, tuple[Permissive, ...]] = dict.fromkeys(PERMISSIVES, ())


@pytest.fixture(name="paper")
def _paper() -> Paper:
    """Return a stand on paper with both contactors closed and both regulators half up."""
    paper = Paper()
    for output, to in ((LV, 1.0), (LOOP, 1.0), (LV_REGULATOR, 0.5), (LOOP_REGULATOR, 0.5)):
        paper.tell(output, to)
    return paper


@pytest.mark.parametrize("evidence", [NOTHING_PROVEN, REVOKED_EVIDENCE], ids=["new", "revoked"])
@pytest.mark.parametrize("request_", ALWAYS, ids=named)
def test_what_makes_the_stand_safer_or_asks_nothing_of_it_always_passes(
    paper: Paper, request_: Request, evidence: Evidence
) -> None:
    # With the guard open, the emergency stop in and nothing read: an opening waits for nothing.
    scan = paper.scan(dict.fromkeys((GUARD, EMERGENCY_STOP), 0.0))
    assert gate(request_, scan, evidence, paper.expected) == (request_, ())


@pytest.mark.parametrize("request_", GUARDED, ids=named)
def test_a_closing_or_raise_with_nothing_proven_is_refused_in_words(
    paper: Paper, request_: Close | Move
) -> None:
    passage = gate(request_, paper.scan({GUARD: 0.0}), NOTHING_PROVEN, paper.expected)
    assert passage.request is None
    assert passage.shortfall


@pytest.mark.parametrize("request_", GUARDED, ids=named)
def test_what_was_revoked_meets_nothing_even_where_no_permissive_is_unmet(
    paper: Paper, request_: Close | Move
) -> None:
    scan = paper.scan()
    assert gate(request_, scan, NOTHING_PROVEN, paper.expected, ALL_MET).request == request_
    refused = gate(request_, scan, REVOKED_EVIDENCE, paper.expected, ALL_MET)
    assert refused == (None, (REVOKED,))


def test_a_move_to_where_the_regulator_was_told_to_be_is_no_raise(paper: Paper) -> None:
    scan = paper.scan()
    assert not is_raise(Move(LV_REGULATOR, 0.5), scan)
    assert is_raise(Move(LV_REGULATOR, 0.5001), scan)


def test_a_raise_is_judged_against_the_last_command_and_not_against_the_position() -> None:
    paper = Paper()
    paper.tell(LV_REGULATOR, 0.9, moving=True)
    scan = paper.scan({LV_REGULATOR: 0.1})
    assert not is_raise(Move(LV_REGULATOR, 0.8), scan)


def test_the_shortfall_names_every_unmet_permissive_in_the_order_of_the_table(
    paper: Paper,
) -> None:
    paper.tell(LV_REGULATOR, 0.0)
    shortfall = gate(Close(LV), paper.scan(), NOTHING_PROVEN, paper.expected).shortfall
    words = [p.words for p in PERMISSIVES[LV]]
    met = {"emergency circuit closed", "LV regulator at zero", "resistance selector open"}
    assert list(shortfall) == [p.words for p in PERMISSIVES[LV] if p.name not in met]
    assert sorted(shortfall, key=words.index) == list(shortfall)


def test_one_unmet_permissive_is_enough_to_refuse(paper: Paper) -> None:
    never = Permissive("never", LOOP, "none", lambda _at: False, "never met")
    always = never._replace(name="always", met=lambda _at: True)
    scan = paper.scan()
    for rows, refused in (((always, never, always), True), ((always, always), False)):
        passage = gate(Close(LOOP), scan, NOTHING_PROVEN, paper.expected, {LOOP: rows})
        assert passage.shortfall == (("never met",) if refused else ())
        assert (passage.request is None) is refused


def test_an_output_that_no_permissive_guards_is_not_closed(paper: Paper) -> None:
    with pytest.raises(KeyError):
        gate(Close("another"), paper.scan(), NOTHING_PROVEN, paper.expected)


def test_every_permissive_has_its_own_words_and_says_against_what_it_stands() -> None:
    for output, rows in PERMISSIVES.items():
        assert len({p.words for p in rows}) == len({p.name for p in rows}) == len(rows)
        assert all(p.output == output and p.hazard for p in rows)


@pytest.mark.parametrize("output", [LV, LOOP, SELECTOR])
def test_the_intent_has_to_be_of_this_closing(output: str) -> None:
    paper = Paper()
    words = next(p.words for p in PERMISSIVES[output] if p.name == "intent committed")
    other = LOOP if output == LV else LV
    for intent, met in ((output, True), (other, False), (None, False)):
        scan = paper.scan(intent=intent)
        shortfall = gate(Close(output), scan, NOTHING_PROVEN, paper.expected).shortfall
        assert (words not in shortfall) is met


def shortfall(paper: Paper, request: Close | Move, evidence: Evidence) -> tuple[str, ...]:
    """Return what is missing for a request in the next scan."""
    return gate(request, paper.scan(), evidence, paper.expected).shortfall


def words_of(output: str, name: str) -> str:
    """Return the words of one permissive."""
    return next(p.words for p in PERMISSIVES[output] if p.name == name)


class TestMoving:
    """A reading from before the last command says nothing of where an output is now."""

    @pytest.mark.parametrize(
        ("output", "regulator", "name"),
        [
            (LV, LV_REGULATOR, "LV regulator at zero"),
            (LOOP, LOOP_REGULATOR, "loop regulator at zero"),
            (LOOP, LV_REGULATOR, "LV low, or opposed at rated"),
        ],
    )
    def test_a_regulator_on_its_way_is_not_yet_there(
        self, output: str, regulator: str, name: str
    ) -> None:
        paper = Paper()
        assert words_of(output, name) not in shortfall(paper, Close(output), NOTHING_PROVEN)
        paper.tell(regulator, 0.0, moving=True)
        assert words_of(output, name) in shortfall(paper, Close(output), NOTHING_PROVEN)

    def test_a_selector_told_to_close_is_not_open_though_its_contact_still_says_so(self) -> None:
        paper = Paper()
        words = words_of(LV, "resistance selector open")
        assert words not in shortfall(paper, Close(LV), NOTHING_PROVEN)
        paper.tell(SELECTOR, 1.0, moving=True)
        assert words in shortfall(paper, Close(LV), NOTHING_PROVEN)


class TestLvCap:
    """LV is raised to no more than 1.1 of rated: its promise less the drop that it has shown."""

    PROVEN = NOTHING_PROVEN._replace(proof_complete=1)
    WORDS = words_of(LV_REGULATOR, "LV within 1.1 of rated")

    @pytest.mark.parametrize(
        ("shown_v", "most_v"),
        # At 368 V promised: no drop, one of 30 V, the most that a supply may have, one larger.
        [(368.0, 440.0), (338.0, 470.0), (294.5, 513.5), (294.3, 440.0), (0.0, 440.0), (390, 440)],
    )
    def test_a_drop_counts_up_to_a_fifth_and_a_larger_one_is_none(
        self, shown_v: float, most_v: float
    ) -> None:
        plate = replace(shipped().lv_regulator, full_voltage_v=920.0)
        paper = Paper(replace(shipped(), lv_regulator=plate))
        paper.tell(LV_REGULATOR, 0.4)
        shown = self.PROVEN._replace(lv_followed=Rest(0.4, shown_v))
        for to_v, refused in ((most_v - 1.0, False), (most_v + 1.0, True)):
            missing = shortfall(paper, Move(LV_REGULATOR, to_v / 920.0), shown)
            assert (self.WORDS in missing) is refused

    def test_a_drop_that_is_only_read_counts_for_nothing(self) -> None:
        """A voltmeter that died or stuck reads low as well."""
        plate = replace(shipped().lv_regulator, full_voltage_v=920.0)
        paper = Paper(replace(shipped(), lv_regulator=plate))
        paper.tell(LV_REGULATOR, 0.4)
        paper.values[LV_VOLTAGE] = 300.0
        shown = self.PROVEN._replace(lv_followed=Rest(0.39, 0.39 * 920.0))
        for to_v, refused in ((439.0, False), (441.0, True)):
            missing = shortfall(paper, Move(LV_REGULATOR, to_v / 920.0), shown)
            assert (self.WORDS in missing) is refused


class TestAge:
    """A reading older than its channel may be meets nothing: whoever polls may have died."""

    @pytest.mark.parametrize(
        ("output", "channel", "name"),
        [
            (LV, GUARD, "guard shut"),
            (LV, EMERGENCY_STOP, "emergency circuit closed"),
            (LV, LV_REGULATOR, "LV regulator at zero"),
            (LV, SELECTOR, "resistance selector open"),
            (LOOP, LOOP_REGULATOR, "loop regulator at zero"),
            (LOOP, LV, "LV contactor closed"),
            (LOOP, LV_REGULATOR, "LV low, or opposed at rated"),
            (SELECTOR, LOOP, "main contactors open"),
            (SELECTOR, "series.voltage.1", "voltages gone"),
        ],
    )
    def test_of_contacts_positions_and_voltages(self, output: str, channel: str, name: str) -> None:
        paper = Paper()
        if output == LOOP:
            paper.tell(LV, 1.0)
        evidence = NOTHING_PROVEN._replace(guard_shut=1)
        permissive = next(p for p in PERMISSIVES[output] if p.name == name)

        def unmet(unread: tuple[str, ...]) -> bool:
            scan = paper.scan(unread=unread)
            passage = gate(Close(output), scan, evidence, paper.expected)
            return permissive.words in passage.shortfall

        assert not unmet(())
        seconds = round(paper.expected.channels[channel].stale_after_s)
        for _ in range(seconds - 1):
            assert not unmet((channel,))
        assert unmet((channel,))
