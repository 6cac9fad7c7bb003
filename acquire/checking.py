"""What `twinload check` does: every instrument of a stand opened, every channel read once."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import NamedTuple

from acquire.check_table import plain, shown
from acquire.clock import S, WallClock
from acquire.configuration import load_stand
from acquire.local import slow_scan
from acquire.terminal import FINE, FOUND_WRONG, Terminal, print_json
from acquire.wires import Links, Wires, polled, sources
from drivers.description import Description, Instrument, Stand
from drivers.link import BadAnswer, Block, ConnectionLost, InstrumentFault, NoAnswer, Refused
from drivers.reading import OVER_RANGE, Quality, Reading

# What to do about each kind of fault.
TO_DO = {
    NoAnswer: "is it switched on, at this address, and is its time-out long enough?",
    BadAnswer: "is this the right instrument, and does the description fit it?",
    ConnectionLost: "does the address lead to it, and does no other program have its connection?",
    Refused: "does the description ask what it knows, and does no other program hold it?",
}


class Checked(NamedTuple):
    """An instrument as found: its readings, how long a poll took (s), what is wrong, what to do.

    `ended` is the stand time at which it had answered, ns; `identity` what it says it is.
    """

    instrument: Instrument
    readings: tuple[Reading, ...]
    latency_s: float
    ended: int
    wrong: str = ""
    to_do: str = ""
    identity: str = ""


def checked(stand: str, as_json: bool, connect: Callable[[Stand], Links] = Wires) -> int:
    """Check a stand and tell of it; return the exit code. Raises Refusal for a bad file."""
    found, descriptions = load_stand(stand)
    links = connect(found)
    clock = WallClock()

    def check(instrument: Instrument) -> Checked:
        return checked_instrument(instrument, descriptions[instrument.description], links, clock)

    with ThreadPoolExecutor(max_workers=len(found.instrument)) as pool:
        checks = list(pool.map(check, found.instrument))
    outputs = checked_outputs(found, descriptions, links)
    slow = slow_scan(found)
    if as_json:
        print_json(plain(found, checks, outputs, slow))
    else:
        for part in shown(checks, outputs, slow):
            Terminal().print(part)
    return FOUND_WRONG if slow or outputs or any(c.wrong for c in checks) else FINE


def checked_instrument(
    instrument: Instrument, description: Description, links: Links, clock: WallClock
) -> Checked:
    """Open an instrument, prove its identity, and read all its channels once."""
    driver = polled(instrument, description, links, clock)
    try:
        driver.open()
        identity = driver.identity()
    except InstrumentFault as fault:
        return Checked(instrument, (), 0.0, clock.now(), fault.without_name, to_do(fault))
    began = clock.now()
    readings = driver.poll()
    ended = clock.now()
    wrong, what = _judged(instrument, readings, driver.fault, (ended - began) / S)
    return Checked(instrument, readings, (ended - began) / S, ended, wrong, what, identity)


def checked_outputs(stand: Stand, descriptions: dict[str, Description], links: Links) -> str:
    """Return what is wrong with the outputs' unit, or a source, writing nothing to any of them."""
    fault = _fault_of_unit(stand, links)
    wrong = [_where(fault, stand.outputs.resource)] if fault else []
    regulators = stand.outputs.regulators()
    for output, source in sources(stand, descriptions, links).items():
        wired = regulators[output].source
        assert wired is not None, output
        try:
            source.reopen()
        except InstrumentFault as fault:
            wrong.append(_where(fault, wired.resource))
        finally:
            source.close()
    return "\n".join(wrong)


def _where(fault: InstrumentFault, resource: str) -> str:
    return f"{fault.instrument} at {resource}: {fault.without_name}; {to_do(fault)}"


def _fault_of_unit(stand: Stand, links: Links) -> InstrumentFault | None:
    link = links.outputs()
    try:
        link.reopen()
        with suppress(Refused):  # it is there; some units can only be written
            link.read(Block(stand.outputs.heartbeat, 1), stand.outputs.timeout_s)
    except InstrumentFault as fault:
        return fault
    finally:
        link.close()
    return None


def to_do(fault: InstrumentFault) -> str:
    """Return what to look at for a fault."""
    return next((words for kind, words in TO_DO.items() if isinstance(fault, kind)), "")


def _judged(
    instrument: Instrument,
    readings: tuple[Reading, ...],
    fault: InstrumentFault | None,
    latency_s: float,
) -> tuple[str, str]:
    """Return what is wrong with a poll's answer, and what to do; nothing is two empty texts."""
    if fault is not None:
        return fault.without_name, to_do(fault)
    units = {c.name: c.unit for c in instrument.channel}
    # A resistance meter on no winding has nothing to read and says so.
    bad = [
        r
        for r in readings
        if r.quality is Quality.BAD and not (r.reason == OVER_RANGE and units[r.channel] == "Ω")
    ]
    if bad:
        words = "; ".join(f"{r.channel}: {r.reason}" for r in bad)
        return words, "sensor, leads and range of each"
    if latency_s > instrument.period_s:
        words = f"takes {latency_s:.3g} s, its period is {instrument.period_s:g} s"
        return words, "a longer period, or fewer queries in its description"
    return "", ""
