"""A stand is left alone only where its file declares all that takes."""

from dataclasses import replace

import pytest

from acquire.configuration import load_scenario
from acquire.unattended import DECLARED, MayNotBeLeft, refuse_to_leave, undeclared
from drivers.description import Channel, Instrument, Stand, Unattended

WORDS = dict.fromkeys(DECLARED, "relay F1, wired to both coils")


def stand_with(unattended: Unattended | None) -> Stand:
    """Return the shipped stand, a second thermometer in each unit on an instrument of its own."""
    stand = load_scenario("distribution_pair", "loss_test").stand
    second = Instrument(
        name="second_thermometer",
        description="temperature_scanner",
        resource="registers:second",
        period_s=5.0,
        timeout_s=0.5,
        channel=(
            Channel(field="input_1", name="a.case", unit="°C", stale_after_s=30.0),
            Channel(field="input_2", name="b.case", unit="°C", stale_after_s=30.0),
        ),
    )
    return replace(stand, instrument=(*stand.instrument, second), unattended=unattended)


def declared(**changes: object) -> Unattended:
    given = {
        **WORDS,
        "temperatures_a": ("a.top_liquid", "a.case"),
        "temperatures_b": ("b.top_liquid", "b.case"),
        **changes,
    }
    return Unattended(**given)  # type: ignore[arg-type]  # texts and lists by name


def test_a_stand_that_declares_everything_may_be_left() -> None:
    refuse_to_leave(stand_with(declared()))


@pytest.mark.parametrize("key", DECLARED)
def test_each_declaration_that_is_missing_is_named_and_refused(key: str) -> None:
    for empty in ("", "   "):
        stand = stand_with(declared(**{key: empty}))
        assert list(undeclared(stand)) == [f"{key}, {DECLARED[key]}"]
        with pytest.raises(MayNotBeLeft, match=key) as refused:
            refuse_to_leave(stand)
        assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    "names",
    [
        (),
        ("a.top_liquid",),
        ("a.top_liquid", "a.top_liquid"),
        ("a.top_liquid", "a.bottom_liquid"),
        ("a.top_liquid", "b.case"),
        ("a.top_liquid", "lv.voltage.1"),
        ("a.top_liquid", "a.nothing"),
    ],
    ids=["none", "one", "twice", "one instrument", "the other unit", "volts", "unknown"],
)
def test_two_temperatures_that_one_fault_takes_are_one(names: tuple[str, ...]) -> None:
    missing = list(undeclared(stand_with(declared(temperatures_a=names))))
    assert len(missing) == 1
    assert missing[0].startswith("temperatures_a")


def test_without_the_table_everything_is_missing() -> None:
    assert len(list(undeclared(stand_with(None)))) == len(DECLARED) + 2
