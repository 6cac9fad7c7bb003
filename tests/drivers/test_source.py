"""A source as a regulator: what is said to it, and what it must say back."""

from dataclasses import replace

import pytest

from drivers.description import TextDescription
from drivers.link import BadAnswer, InstrumentFault, NoAnswer, Refused
from drivers.source import Source
from tests.drivers.simulated.scenario import SHIPPED, descriptions, stand_file

WIRED = stand_file(SHIPPED / "bench_pair").outputs.lv_regulator
DESCRIPTION = descriptions()["ac_source"]


class Bench:
    """The link to a source that takes what it is told; `rounds` is what it makes of a voltage."""

    def __init__(self) -> None:
        self.said: list[str] = []
        self.identity = "INVENTED,AC SOURCE,1,1.0"
        self.error = '0,"No error"'
        self.volts = "0"
        self.silent = False
        self.factor = 1.0

    def query(self, message: str, timeout_s: float) -> str:
        assert timeout_s > 0
        self.said.append(message)
        if self.silent:
            raise NoAnswer("lv_regulator", message, "no answer")
        return {"*IDN?": self.identity, "SYST:ERR?": self.error, "VOLT?": self.volts}[message]

    def write(self, message: str, timeout_s: float) -> None:
        assert timeout_s > 0
        self.said.append(message)
        if message.startswith("VOLT "):
            self.volts = str(self.factor * float(message.split()[1]))

    def reopen(self) -> None:
        self.said.append("reopen")

    def close(self) -> None:
        self.said.append("close")


@pytest.fixture(name="bench")
def _bench() -> Bench:
    return Bench()


@pytest.fixture(name="source")
def _source(bench: Bench) -> Source:
    assert isinstance(DESCRIPTION, TextDescription)
    assert WIRED.source is not None
    return Source("lv_regulator", WIRED, WIRED.source, DESCRIPTION, bench)


def test_to_open_it_asks_its_name_and_says_nothing_else(source: Source, bench: Bench) -> None:
    """Whoever only checks a stand changes nothing on it."""
    source.reopen()
    source.close()
    assert bench.said == ["reopen", "*IDN?", "close"]


def test_another_instrument_is_not_driven(source: Source, bench: Bench) -> None:
    """A source is known by its name before it is told anything."""
    bench.identity = "INVENTED,LOAD,1,1.0"
    with pytest.raises(BadAnswer, match="AC SOURCE"):
        source.reopen()


def test_it_is_set_up_once_at_zero_with_its_rate(source: Source, bench: Bench) -> None:
    """0.04 of 260 V a second, and rated frequency, before its output is on; then its errors."""
    source.reopen()
    source.to(0.0)
    source.to(0.5)
    assert bench.said[2:] == [
        "*CLS",
        "VOLT 0",
        "VOLT:SLEW 10.4",
        "FREQ 50",
        "OUTP ON",
        "SYST:ERR?",
        "VOLT 0",
        "VOLT?",
        "VOLT 130",
        "VOLT?",
    ]


def test_opened_anew_it_is_set_up_anew(source: Source, bench: Bench) -> None:
    """It may have been switched off meanwhile."""
    source.reopen()
    source.to(0.0)
    bench.said.clear()
    source.reopen()
    source.to(0.0)
    assert bench.said[:4] == ["reopen", "*IDN?", "*CLS", "VOLT 0"]


def test_a_source_that_does_not_know_its_rate_is_refused(source: Source, bench: Bench) -> None:
    """It would jump where it has to travel."""
    bench.error = '-113,"Undefined header"'
    source.reopen()
    with pytest.raises(Refused, match=r"VOLT:SLEW 10\.4"):
        source.to(0.0)


@pytest.mark.parametrize("factor", [0.99, 1.01, float("nan")])
def test_it_has_to_read_back_what_it_was_told(source: Source, bench: Bench, factor: float) -> None:
    """A limit in the source, or its neighbour's setting, is a fault."""
    source.reopen()
    source.to(0.0)
    bench.factor = factor
    with pytest.raises(BadAnswer):
        source.to(0.5)


def test_its_own_rounding_is_none(source: Source, bench: Bench) -> None:
    """A tenth of a volt in 260."""
    source.reopen()
    source.to(0.0)
    bench.factor = 0.9995
    source.to(0.5)


def test_it_is_let_go_at_zero_and_off(source: Source, bench: Bench) -> None:
    """In the end, whatever it says to that."""
    source.reopen()
    source.to(0.0)
    bench.said.clear()
    bench.silent = True
    source.close()
    assert bench.said == ["VOLT 0", "OUTP OFF", "SYST:ERR?", "close"]


def test_silence_is_a_fault(source: Source, bench: Bench) -> None:
    """A voltage that nobody has confirmed counts as not taken."""
    source.reopen()
    source.to(0.0)
    bench.silent = True
    with pytest.raises(InstrumentFault):
        source.to(0.1)


def test_a_description_has_to_say_how_it_is_driven(bench: Bench) -> None:
    """One that is only read can't be a regulator."""
    assert isinstance(DESCRIPTION, TextDescription)
    assert WIRED.source is not None
    with pytest.raises(ValueError, match="driven"):
        Source("lv_regulator", WIRED, WIRED.source, replace(DESCRIPTION, drive=None), bench)
