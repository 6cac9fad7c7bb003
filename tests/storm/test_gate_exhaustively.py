"""The gate by enumeration: in no state does a closing or raise pass that endangers."""

import ast
from functools import cache
from pathlib import Path

import pytest

from sequences.gate import gate
from sequences.permissives import PERMISSIVES, Permissive
from sequences.scan import Move
from tests.storm.abstract import PAPER, State, count, states
from tests.storm.hazards import Act, dangers
from tests.storm.requests import ASKED, Asked
from tests.storm.soundness import SOUND

Rows = tuple[Permissive, ...]


def act(asked: Asked) -> Act:
    """Return what a request asks of the true stand."""
    request, expected = asked.request, PAPER.expected
    volts = expected.promised_v(request.output, request.to) if isinstance(request, Move) else 0.0
    return Act(volts, expected)


@cache
def near(asked: Asked) -> tuple[tuple[State, tuple[str, ...]], ...]:
    """Return all states in which a request passes or lacks one thing, each with what it lacks."""
    kept = []
    for state in states(asked.conditions):
        lacking = gate(asked.request, state.scan, state.evidence, PAPER.expected).shortfall
        if len(lacking) <= 1:
            kept.append((state, lacking))
    return tuple(kept)


def endangering(asked: Asked, lacking: tuple[str, ...]) -> list[tuple[State, tuple[str, ...]]]:
    """Return the states that lack just this, and what would be dangerous in one of their truths."""
    what = act(asked)
    found = []
    for state, missing in near(asked):
        if missing != lacking:
            continue
        dangerous = {d for t in state.truths() for d in dangers(asked.request.output, t, what)}
        if dangerous:
            found.append((state, tuple(sorted(dangerous))))
    return found


def test_no_state_passes_a_closing_or_raise_that_endangers() -> None:
    total = true = passed = 0
    for asked in ASKED:
        seen, with_truths = count(asked.conditions)
        passing = [s for s, lacking in near(asked) if not lacking]
        total, true, passed = total + seen, true + with_truths, passed + len(passing)
        print(f"{asked.name}: {seen} states, {with_truths} with their truths, {len(passing)} pass")
        dangerous = endangering(asked, ())
        assert not dangerous, f"{asked.name}: {dangerous[0][1]} in {dangerous[0][0]}"
    print(f"{len(ASKED)} requests, {total} states, {true} with their truths, {passed} pass")
    assert total > 400_000


@pytest.mark.parametrize("asked", ASKED, ids=[a.name for a in ASKED])
def test_every_request_passes_somewhere(asked: Asked) -> None:
    """An enumeration in which nothing passes would prove nothing."""
    assert any(not lacking for _, lacking in near(asked))


@pytest.mark.parametrize(
    "row",
    [row for rows in PERMISSIVES.values() for row in rows],
    ids=lambda row: f"{row.output}: {row.name}",
)
def test_without_any_one_permissive_something_that_endangers_passes(row: Permissive) -> None:
    rest = {o: tuple(r for r in rows if r is not row) for o, rows in PERMISSIVES.items()}
    found = [
        (asked, state)
        for asked in ASKED
        if asked.request.output == row.output
        for state, _ in endangering(asked, (row.words,))
    ]
    assert found
    for asked, state in found[:: max(1, len(found) // 20)]:
        passage = gate(asked.request, state.scan, state.evidence, PAPER.expected, rest)
        assert passage.request == asked.request


def names_in(path: Path) -> set[str]:
    """Return the names of the tests of a file, those of a class behind its name."""
    names = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef):
            names.add(node.name)
        elif isinstance(node, ast.ClassDef):
            names |= {f"{node.name}.{f.name}" for f in node.body if isinstance(f, ast.FunctionDef)}
    return names


@pytest.mark.parametrize("assumed", SOUND)
def test_every_assumption_is_held_by_a_test_that_exists(assumed: str) -> None:
    root = Path(__file__).parents[2]
    assert SOUND[assumed]
    for path, name in SOUND[assumed]:
        assert name in names_in(root / path)
