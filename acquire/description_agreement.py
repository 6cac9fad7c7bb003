"""What a description of an instrument must agree on in itself, beyond being well formed."""

from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

from acquire.agreement import Disagreement
from acquire.places import Key
from drivers.description import Description, RegisterDescription, RegisterField, TextDescription
from drivers.link import Block
from drivers.registers import WIDTHS, plan_reads


class _Span(NamedTuple):
    """Registers that hold a value, or its factor: where the file says so, and how they are read."""

    path: tuple[Key, ...]
    registers: Block
    read_as: tuple[str, ...]


def description_disagreements(description: Description) -> Iterator[Disagreement]:
    """Yield what doesn't fit within a description."""
    yield from _repeated_fields(description)
    if isinstance(description, TextDescription) and not description.identity.strip():
        yield Disagreement(("identity",), "a part of the answer to *IDN? that tells it from others")
    if isinstance(description, RegisterDescription):
        try:
            plan_reads(description)
        except ValueError as error:
            yield Disagreement(("value",), f"values that can be read; {error}")
        yield from _overlaps(description)


def _repeated_fields(description: Description) -> Iterator[Disagreement]:
    named: list[tuple[tuple[Key, ...], str]] = []
    if isinstance(description, TextDescription):
        for i, query in enumerate(description.query):
            named += [(("query", i, "fields", j), field) for j, field in enumerate(query.fields)]
    else:
        fields = [value.field for value in description.value]
        named = [(("value", i, "field"), field) for i, field in enumerate(fields)]
    seen: set[str] = set()
    for path, field in named:
        if field in seen:
            yield Disagreement(path, "a name of its own; another field has this one")
        seen.add(field)


def _overlaps(description: RegisterDescription) -> Iterator[Disagreement]:
    """A register belongs to one value, or to several that read the same ones in the same way."""
    spans = [span for i, field in enumerate(description.value) for span in _spans(field, i)]
    for one, other in combinations(spans, 2):
        if _meet(one.registers, other.registers) and one[1:] != other[1:]:
            expected = (
                f"registers of its own: it takes {other.registers}, and {_named(one, description)}"
                f" {one.registers}"
            )
            yield Disagreement(other.path, expected)


def _spans(field: RegisterField, i: int) -> Iterator[_Span]:
    read_as = (field.type, field.word_order if WIDTHS[field.type] > 1 else "")
    block = Block(field.address, WIDTHS[field.type], field.table)
    yield _Span(("value", i, "address"), block, read_as)
    if field.factor_at is not None:
        yield _Span(
            ("value", i, "factor_at"), Block(field.factor_at, 1, field.table), ("int16", "")
        )


def _meet(one: Block, other: Block) -> bool:
    if one.table != other.table:
        return False
    return one.address < other.address + other.count and other.address < one.address + one.count


def _named(span: _Span, description: RegisterDescription) -> str:
    _, i, key = span.path
    field = description.value[int(i)].field
    return f"the factor of {field}" if key == "factor_at" else field
