"""What `twinload describe` does: a description checked, and asked of an instrument."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from rich import box
from rich.table import Table
from rich.text import Text

from acquire.checking import to_do
from acquire.clock import S, WallClock
from acquire.configuration import load_description
from acquire.terminal import ABNORMAL, FINE, FOUND_WRONG, Terminal, print_json
from acquire.wires import register_link, text_link
from drivers.description import (
    Description,
    RegisterDescription,
    SunSpecDescription,
    TextDescription,
)
from drivers.link import InstrumentFault, RegisterLink, TextLink
from drivers.registers import plan_reads
from drivers.replies import UnreadableReply, read_numbers
from drivers.sunspec import located
from drivers.text_opening import named

TIMEOUT_S = 3.0


class Exchange(NamedTuple):
    """A question, what came back raw, the values in it, how long it took (s), what is wrong."""

    asked: str
    raw: str = ""
    values: tuple[tuple[str, float], ...] = ()
    took_s: float = 0.0
    wrong: str = ""


def described(file: Path, resource: str, as_json: bool) -> int:
    """Check a description and, where there is a resource, ask it; return the exit code.

    Raises ConfigurationError for a file that is no description.
    """
    description = load_description(file)
    exchanges = asked(description, resource) if resource else asks(description)
    if as_json:
        print_json({"description": str(file), "exchanges": [_plain(e) for e in exchanges]})
    else:
        Terminal().print(_table(exchanges, answered=bool(resource)))
        for e in exchanges:
            if e.wrong:
                Terminal().print(Text(e.wrong, ABNORMAL))
    return FOUND_WRONG if any(e.wrong for e in exchanges) else FINE


def asks(description: Description) -> list[Exchange]:
    """Return what a description would ask, unanswered."""
    if isinstance(description, TextDescription):
        queries = [Exchange(q.ask, ", ".join(q.fields)) for q in description.query]
        return [Exchange("*IDN?", f"names {description.identity}"), *queries]
    if isinstance(description, SunSpecDescription):
        models = " or ".join(map(str, description.models))
        return [
            Exchange("SunS", f"a map with model {models}"),
            Exchange("these hold", _names(description)),
        ]
    plan = plan_reads(description)
    fields = ", ".join(f.field for f in description.value)
    reads = [Exchange(f"registers {b.address} to {b.address + b.count - 1}") for b in plan.blocks]
    return [*reads, Exchange("these hold", fields)]


def asked(description: Description, resource: str) -> list[Exchange]:
    """Ask an instrument all that its description asks; after a fault no further."""
    clock = WallClock()
    if isinstance(description, TextDescription):
        return _ask_text(description, text_link(resource, resource), clock)
    return _ask_registers(description, register_link(resource, resource), clock)


def _ask_text(description: TextDescription, link: TextLink, clock: WallClock) -> list[Exchange]:
    questions = [("*IDN?", ()), *((q.ask, q.fields) for q in description.query)]
    exchanges: list[Exchange] = []
    try:
        if (failed := _failed("open", link.reopen)) is not None:
            return [failed]
        for question, fields in questions:
            began = clock.now()
            try:
                reply = link.query(question, TIMEOUT_S)
            except InstrumentFault as fault:
                return [*exchanges, _fault(question, fault)]
            took_s = (clock.now() - began) / S
            exchange = Exchange(question, reply, (), took_s)
            exchanges.append(_read(exchange, fields, description.identity))
    finally:
        link.close()
    return exchanges


def _read(exchange: Exchange, fields: tuple[str, ...], identity: str) -> Exchange:
    if not fields:
        if named(identity, exchange.raw):
            return exchange
        return exchange._replace(wrong=f"it doesn't name {identity!r}")
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
            question = f"registers {block.address} to {block.address + block.count - 1}"
            began = clock.now()
            try:
                got = link.read(block, TIMEOUT_S)
            except InstrumentFault as fault:
                return [*exchanges, _fault(question, fault)]
            took_s = (clock.now() - began) / S
            registers += got
            exchanges.append(Exchange(question, " ".join(f"{r:04x}" for r in got), (), took_s))
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
        values = "\n".join(f"{name} {value:.6g}" for name, value in e.values)
        took = f"{1000 * e.took_s:.1f} ms" if e.took_s else ""
        table.add_row(e.asked, e.raw, values, took)
    return table


def _plain(e: Exchange) -> dict[str, Any]:
    values = {name: value if abs(value) < float("inf") else None for name, value in e.values}
    return {
        "asked": e.asked,
        "raw": e.raw,
        "values": values,
        "took_s": e.took_s,
        "wrong": e.wrong or None,
    }
