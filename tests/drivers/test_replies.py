"""Replies in text: what is a number, and what never is."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.replies import UnreadableReply, read_numbers

MEASURABLE = st.floats(-9e37, 9e37)


@pytest.mark.parametrize(
    ("reply", "value"),
    [
        ("0", 0.0),
        ("-12", -12.0),
        ("+7", 7.0),
        ("230.15", 230.15),
        ("-.5", -0.5),
        ("5.", 5.0),
        ("+1.2345E+02", 123.45),
        ("1.0e-3", 0.001),
        ("4E2", 400.0),
        (" 17.5\t", 17.5),
    ],
)
def test_numeric_forms_are_numbers(reply: str, value: float) -> None:
    """NR1, NR2 and NR3, and the spellings of them that instruments use, are their values."""
    assert read_numbers(reply, 1) == [value]


@given(st.lists(MEASURABLE, min_size=1, max_size=12), st.sampled_from(["{:.17g}", "{:+.16E}"]))
def test_every_list_comes_back(values: list[float], form: str) -> None:
    """What an instrument writes in full is read back exactly, in order."""
    reply = ",".join(form.format(v) for v in values)
    assert read_numbers(reply, len(values)) == values


@pytest.mark.parametrize(
    "reply",
    [
        "",
        " ",
        "ERROR",
        "nan",
        "NAN",
        "inf",
        "-inf",
        "Infinity",
        "0x10",
        "#H10",
        "1_000",
        "1 000",
        "1..2",
        "1e",
        "E5",
        "+-1",
        "--1",
        "- 1",
        "1.5.2",
        "12V",
        "１２",  # digits of another script
        "−5",  # a typographer's minus
        "1\n2",
        "1;2",
        "1e999",
        "9.95E37",
        "1e38",
        '"1.0"',
    ],
)
def test_anything_else_is_no_number(reply: str) -> None:
    """Empty, cut off, garbled or beyond what an instrument can measure: refused, never a value."""
    with pytest.raises(UnreadableReply):
        read_numbers(reply, 1)


@pytest.mark.parametrize("reply", ["1", "1,2,3", "1,2,", ",1,2", "1,,2", ",", "1,2\n3"])
def test_a_wrong_count_is_refused_whole(reply: str) -> None:
    """One value missing or too much makes the whole answer unreadable: it may be another's."""
    with pytest.raises(UnreadableReply):
        read_numbers(reply, 2)


@given(st.text(max_size=30))
def test_no_text_raises_anything_else(reply: str) -> None:
    """Whatever comes, it is one finite number, a mark, or refused."""
    try:
        (value,) = read_numbers(reply, 1)
    except UnreadableReply:
        return
    assert isinstance(value, float)
    assert set(reply) <= set("+-.0123456789eE \t")


@given(st.lists(MEASURABLE, min_size=2, max_size=6), st.data())
def test_a_cut_list_is_refused(values: list[float], data: st.DataObject) -> None:
    """An answer cut off before its last value is refused."""
    reply = ",".join(f"{v:+.6E}" for v in values)
    cut = data.draw(st.integers(0, reply.rindex(",")))
    with pytest.raises(UnreadableReply):
        read_numbers(reply[:cut], len(values))
