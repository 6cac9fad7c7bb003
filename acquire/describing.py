"""What `twinload describe` does: a description checked, and asked of an instrument."""

from collections.abc import Callable, Iterator
from math import isfinite, isnan
from pathlib import Path
from typing import Any, NamedTuple

from rich import box
from rich.table import Table
from rich.text import Text

from acquire.checking import to_do
from acquire.clock import S, WallClock
from acquire.configuration import load_description
from acquire.refusal import Refusal
from acquire.terminal import ABNORMAL, FINE, FOUND_WRONG, Terminal, print_json
from acquire.wires import register_link, text_link
from drivers.description import (
    Description,
    RegisterDescription,
    SunSpecDescription,
    TextDescription,
)
from drivers.link import InstrumentFault, RegisterLink, TextLink
from drivers.reading import OVER_RANGE
from drivers.registers import plan_reads
from drivers.replies import UnreadableReply, read_numbers
from drivers.resource import MODBUS_FORMS, TEXT_FORMS, is_text, register_unit
from drivers.sunspec import located
from drivers.text_opening import ERROR_QUERY, named, send

TIMEOUT_S = 3.0
NO_VALUE = "no value"


class WrongAddress(Refusal):
    """An address where nothing can be that this description is of."""


class Exchange(NamedTuple):
    """A question, what came back raw, the values in it, how long it took (s), what is wrong."""

    asked: str
    raw: str = ""
    values: tuple[tuple[str, float], ...] = ()
    took_s: float = 0.0
    wrong: str = ""


def described(file: Path, resource: str, as_json: bool) -> int:
    """Check a description and, where there is a resource, ask it; return the exit code.

    Raises ConfigurationError for a file that is no description, WrongAddress for a resource that
    is none, or one of the other kind.
    """
    description = load_description(file)
    if resource:
        _refuse_address(description, resource, file)
    exchanges = asked(description, resource) if resource else asks(description)
    if as_json:
        print_json({"description": str(file), "exchanges": [_plain(e) for e in exchanges]})
    else:
        Terminal().print(_table(exchanges, answered=bool(resource)))
        for e in exchanges:
            if e.wrong:
                Terminal().print(Text(e.wrong, ABNORMAL))
    return FOUND_WRONG if any(e.wrong for e in exchanges) else FINE


def _refuse_address(description: Description, resource: str, file: Path) -> None:
    if isinstance(description, TextDescription):
        fits, kind, forms = is_text(resource), "is asked in lines of text", TEXT_FORMS
    else:
        fits, kind, forms = register_unit(resource) is not None, "is of registers", MODBUS_FORMS
    if not fits:
        raise WrongAddress(f"--resource {resource!r}: {file} {kind}, expected {forms}")


def asks(description: Description) -> list[Exchange]:
    """Return what a description would ask, unanswered."""
    if isinstance(description, TextDescription):
        return _asks_text(description)
    if isinstance(description, SunSpecDescription):
        models = " or ".join(map(str, description.models))
        return [
            Exchange("SunS", f"a map with model {models}"),
            Exchange("these hold", _names(description)),
        ]
    fields = ", ".join(f.field for f in description.value)
    reads = [Exchange(str(block)) for block in plan_reads(description).blocks]
    return [*reads, Exchange("these hold", fields)]


def _asks_text(description: TextDescription) -> list[Exchange]:
    exchanges = [Exchange("*IDN?", f"names {description.identity}")]
    if description.set_up:
        exchanges += [Exchange(message, "sent at every opening") for message in description.set_up]
        exchanges.append(Exchange(ERROR_QUERY, "0"))
    exchanges += [Exchange(q.ask, ", ".join(q.fields)) for q in description.query]
    if (drive := description.drive) is not None:
        parts = {"set_up": drive.set_up, "level": (drive.level,), "let_go": drive.let_go}
        exchanges += [
            Exchange(message, f"drive.{part}, not sent from here")
            for part, messages in parts.items()
            for message in messages
        ]
        exchanges.append(Exchange(drive.read_back, "drive.read_back, not asked from here"))
    return exchanges


def asked(description: Description, resource: str) -> list[Exchange]:
    """Ask an instrument all that its description asks; after a fault no further."""
    clock = WallClock()
    if not isinstance(description, TextDescription):
        return _ask_registers(description, register_link(resource, resource), clock)
    link = text_link(resource, resource)
    try:
        if (failed := _failed("open", link.reopen)) is not None:
            return [failed]
        return list(_ask_text(description, link, resource, clock))
    finally:
        link.close()


def _ask_text(
    description: TextDescription, link: TextLink, resource: str, clock: WallClock
) -> Iterator[Exchange]:
    """Open it as a run does: nobody but the right instrument is told what sets it up."""
    who = _query(link, "*IDN?", clock)
    if not who.wrong and not named(description.identity, who.raw):
        who = who._replace(wrong=f"it doesn't name {description.identity!r}: no more was asked")
    yield who
    if who.wrong:
        return
    if messages := description.set_up:
        try:
            error = send(link, resource, messages, TIMEOUT_S)
        except InstrumentFault as fault:
            yield _fault("; ".join(messages), fault)
            return
        yield from (Exchange(message, "sent") for message in messages)
        yield Exchange(ERROR_QUERY, error)
    for query in description.query:
        exchange = _query(link, query.ask, clock)
        yield exchange if exchange.wrong else _read(exchange, query.fields)
        if exchange.wrong:
            return


def _query(link: TextLink, question: str, clock: WallClock) -> Exchange:
    began = clock.now()
    try:
        reply = link.query(question, TIMEOUT_S)
    except InstrumentFault as fault:
        return _fault(question, fault)
    return Exchange(question, reply, (), (clock.now() - began) / S)


def _read(exchange: Exchange, fields: tuple[str, ...]) -> Exchange:
    try:
        numbers = read_numbers(exchange.raw, len(fields))
    except UnreadableReply as error:
        return exchange._replace(wrong=str(error))
    return exchange._replace(values=tuple(zip(fields, numbers, strict=True)))


def _names(description: SunSpecDescription) -> str:
    return ", ".join(value.field for value in description.value)


def _ask_registers(
    description: RegisterDescription | SunSpecDescription, link: RegisterLink, clock: WallClock
) -> list[Exchange]:
    registers: tuple[int, ...] = ()
    exchanges: list[Exchange] = []
    try:
        if (failed := _failed("open", link.reopen)) is not None:
            return [failed]
        if isinstance(description, SunSpecDescription):
            try:
                description = located(
                    description, lambda block: link.read(block, TIMEOUT_S), "this unit"
                )
            except InstrumentFault as fault:
                return [_fault("SunS", fault)]
            exchanges.append(Exchange("SunS", "model found"))
        plan = plan_reads(description)
        for block in plan.blocks:
            began = clock.now()
            try:
                got = link.read(block, TIMEOUT_S)
            except InstrumentFault as fault:
                return [*exchanges, _fault(str(block), fault)]
            took_s = (clock.now() - began) / S
            registers += got
            exchanges.append(Exchange(str(block), " ".join(f"{r:04x}" for r in got), (), took_s))
    finally:
        link.close()
    wrong = [at for at, register in plan.identity if registers[at] != register]
    names = [f.field for f in description.value]
    values = tuple(zip(names, plan.values(registers), strict=True))
    words = "its identity registers differ: another unit, or an address off by one"
    exchanges.append(Exchange("these hold", "", values, 0.0, words if wrong else ""))
    return exchanges


def _failed(question: str, call: Callable[[], None]) -> Exchange | None:
    try:
        call()
    except InstrumentFault as fault:
        return _fault(question, fault)
    return None


def _fault(question: str, fault: InstrumentFault) -> Exchange:
    return Exchange(question, wrong=f"{fault}; {to_do(fault)}")


def _table(exchanges: list[Exchange], *, answered: bool) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("Asked", overflow="fold")
    table.add_column("Came back, raw" if answered else "Expected", overflow="fold")
    if answered:
        table.add_column("Read as", overflow="fold")
        table.add_column("Time", justify="right")
    for e in exchanges:
        if not answered:
            table.add_row(e.asked, e.raw)
            continue
        values = "\n".join(f"{name} {_value(value)}" for name, value in e.values)
        took = f"{1000 * e.took_s:.1f} ms" if e.took_s else ""
        table.add_row(e.asked, e.raw, values, took)
    return table


def _value(value: float) -> str:
    return f"{value:.6g}" if isfinite(value) else _none(value)


def _none(value: float) -> str:
    return NO_VALUE if isnan(value) else OVER_RANGE


def _plain(e: Exchange) -> dict[str, Any]:
    return {
        "asked": e.asked,
        "raw": e.raw,
        "values": {name: value if isfinite(value) else None for name, value in e.values},
        "without_value": {name: _none(value) for name, value in e.values if not isfinite(value)},
        "took_s": e.took_s,
        "wrong": e.wrong or None,
    }
