"""What people are asked, in which order."""

from sequences.prompt import MAKING_SAFE


def test_nothing_may_be_touched_before_it_is_locked_out_dead_and_earthed() -> None:
    """EN 50110-1, from memory: isolate, secure, prove dead, earth; then work."""
    asked = [row[1] for row in MAKING_SAFE]
    for words, question in zip(
        ("isolated and locked", "proven dead", "earthed"), asked, strict=True
    ):
        assert [words in q for q in asked] == [q is question for q in asked]
    assert ["touched" in row[3] for row in MAKING_SAFE] == [False, False, True]
