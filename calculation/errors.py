"""What the calculation refuses: one root, one refusal that carries its facts."""

from collections.abc import Mapping
from typing import Any


class TwinloadError(Exception):
    """The root of every error that this program raises on purpose."""


class ImpossibleReading(TwinloadError):
    """Readings that physics forbids, or that can't give the result asked for.

    `values` maps the name of each reading concerned to its value; `why` says what is wrong.
    """

    def __init__(self, values: Mapping[str, Any], why: str) -> None:
        self.values = dict(values)
        self.why = why
        listed = ", ".join(f"{name} = {_shown(value)}" for name, value in values.items())
        super().__init__(f"{listed}: {why}" if listed else why)


def _shown(value: Any) -> str:
    if getattr(value, "ndim", 0):
        return f"{value.min():.6g}…{value.max():.6g}"
    return "missing" if value is None else f"{nominal(value):.6g}"


def nominal(value: Any) -> Any:
    """What is compared: the estimate of an uncertain number, anything else as it is."""
    return getattr(value, "nominal_value", value)


def everywhere(condition: Any) -> bool:
    """Whether a comparison holds: a bool as it is, an array of them only if all do."""
    return bool(condition.all()) if hasattr(condition, "all") else bool(condition)


def refuse_unless_positive(readings: Mapping[str, Any]) -> None:
    """Refuse any reading that is not a finite number above zero, by name.

    Raises:
        ImpossibleReading: for the first such reading.
    """
    for name, reading in readings.items():
        value = nominal(reading)
        if value is None or not everywhere((value > 0) & (value < float("inf"))):
            raise ImpossibleReading({name: value}, "must be a finite number above zero")


def refuse_unless_finite(readings: Mapping[str, Any]) -> None:
    """Refuse any reading that is missing, infinite or not a number; its sign is its own affair.

    Raises:
        ImpossibleReading: for the first such reading.
    """
    bound = float("inf")
    for name, reading in readings.items():
        value = nominal(reading)
        if value is None or not everywhere((value > -bound) & (value < bound)):
            raise ImpossibleReading({name: value}, "must be a finite number")
