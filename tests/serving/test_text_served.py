"""Text instruments on their sockets and pseudo-terminals, asked by clients that know nothing."""

import os
import socket
import threading

import pytest

from calculation.nameplate import Pair
from drivers.description import TextDescription
from tests.serving.conftest import Serve
from tests.serving.serving import PATIENCE_S, Bench, asked, waited_for

TEXTS = ("lv_analyser", "hv_analyser", "series_voltmeter", "resistance_meter")


@pytest.mark.parametrize("name", TEXTS)
def test_every_text_instrument_answers_on_its_socket(stand: Bench, name: str) -> None:
    """It says who it is, answers its queries with as many numbers as they list, and no more."""
    instrument = next(i for i in stand.scenario.stand.instrument if i.name == name)
    description = stand.scenario.descriptions[instrument.description]
    assert isinstance(description, TextDescription)
    identity, unknown, *answers = asked(
        stand.port(name), "*IDN?", "WHAT?", *[q.ask for q in description.query]
    )
    assert f",{description.identity}," in identity
    assert unknown == "ERROR"
    for query, answer in zip(description.query, answers, strict=True):
        assert len([float(number) for number in answer.split(",")]) == len(query.fields)


def test_what_is_read_is_the_plant(serve: Serve) -> None:
    """Frequency is that of the plant, and follows it."""
    bench = serve()
    at = bench.scenario.stand.instrument[0].channel[4]
    assert at.name == "frequency"
    before = float(asked(bench.port("lv_analyser"), "FETC?")[0].split(",")[4])
    bench.do("fault frequency_off")
    after = float(asked(bench.port("lv_analyser"), "FETC?")[0].split(",")[4])
    assert after / before == pytest.approx(0.98, abs=0.001)


def test_several_clients_get_their_own_answers(stand: Bench) -> None:
    """Four at once on one instrument, and none reads what another asked for."""
    port, mixed = stand.port("series_voltmeter"), []

    def client(number: int) -> None:
        message, begin = [("*IDN?", "INVENTED"), ("WHAT?", "ERROR")][number % 2]
        if not all(a.startswith(begin) for a in asked(port, *[message] * 20)):
            mixed.append(number)

    clients = [threading.Thread(target=client, args=(n,)) for n in range(4)]
    for each in clients:
        each.start()
    for each in clients:
        each.join()
    assert mixed == []


def test_a_line_without_end_is_forgotten(stand: Bench) -> None:
    """A flood that never ends a line costs nobody else an answer, and not even the flooder."""
    port = stand.port("hv_analyser")
    with socket.create_connection(("127.0.0.1", port), PATIENCE_S) as flood:
        flood.sendall(b"\xff" * 300_000)
        assert asked(port, "*IDN?")[0].startswith("INVENTED")
        flood.sendall(b"\n*IDN?\r\n")
        heard = b""
        while b"INVENTED,POWER ANALYSER" not in heard:
            heard += flood.recv(1000)


@pytest.mark.parametrize("name", TEXTS)
def test_every_text_instrument_answers_on_a_pseudo_terminal(stand: Bench, name: str) -> None:
    """Opened as a file, without a word of any serial library."""
    line = os.open(stand.line(name), os.O_RDWR | os.O_NOCTTY)
    try:
        os.write(line, b"*IDN?\n")
        heard = b""
        while not heard.endswith(b"\n"):
            heard += os.read(line, 1000)
    finally:
        os.close(line)
    assert heard.startswith(b"INVENTED,")


class TestFaults:
    def test_silent(self, serve: Serve) -> None:
        """It accepts a client and says nothing, until it is cleared."""
        bench = serve()
        bench.do("fault lv_analyser_silent")
        with socket.create_connection(("127.0.0.1", bench.port("lv_analyser")), PATIENCE_S) as s:
            s.sendall(b"*IDN?\n")
            # Its neighbour's answer is the proof that time has passed for it too.
            assert asked(bench.port("hv_analyser"), "*IDN?") != [""]
            s.settimeout(0.2)
            with pytest.raises(TimeoutError):
                s.recv(100)
        bench.do("clear lv_analyser_silent")
        assert asked(bench.port("lv_analyser"), "*IDN?")[0].startswith("INVENTED")

    def test_what_becomes_of_an_answer(self, serve: Serve) -> None:
        """Each acts while it is there: marks, half an answer, the same one for ever, rubbish."""
        bench = serve()
        port = bench.port("lv_analyser")

        def fetched_with(how: str) -> str:
            bench.do(f"fault lv_analyser_{how}")
            said = asked(port, "FETC?")[0]
            bench.do(f"clear lv_analyser_{how}")
            return said

        whole = asked(port, "FETC?")[0]
        assert fetched_with("not_a_number") == ",".join(["9.91E+37"] * 5)
        assert fetched_with("over_range") == ",".join(["9.9E+37"] * 5)
        assert whole.startswith(fetched_with("truncated")[:6])
        assert len(fetched_with("truncated")) < len(whole)
        assert "," not in fetched_with("garbage")
        assert len(asked(port, "FETC?")[0].split(",")) == 5

    def test_another_instrument_hangs_up_and_comes_back_as_another(self, serve: Serve) -> None:
        """The connection is lost; whoever opens it again meets another identity."""
        bench = serve()
        port = bench.port("lv_analyser")
        with socket.create_connection(("127.0.0.1", port), PATIENCE_S) as s:
            s.sendall(b"*IDN?\n")
            assert s.recv(1000).startswith(b"INVENTED")
            bench.do("fault lv_analyser_identity_changed")
            s.sendall(b"*IDN?\n")
            assert s.recv(1000) == b""
        assert asked(port, "*IDN?")[0].startswith("NOBODY")

    def test_late_comes_after_its_time_out_and_before_the_next(self, serve: Serve) -> None:
        """A client that asks on regardless reads the answer to its question before."""
        bench = serve("series_voltmeter_late", speed=10)
        with socket.create_connection(("127.0.0.1", bench.port("series_voltmeter"))) as s:
            s.settimeout(0.01)
            s.sendall(b"*IDN?\n")
            with pytest.raises(TimeoutError):
                s.recv(100)
            s.settimeout(PATIENCE_S)
            s.sendall(b"WHAT?\n")
            with s.makefile() as lines:
                assert lines.readline().startswith("INVENTED")
                assert lines.readline() == "ERROR\n"

    def test_for_a_while(self, serve: Serve) -> None:
        """A fault given for some seconds of the stand's clock ends by itself."""
        bench = serve("series_voltmeter_silent@1:2", speed=20)
        assert waited_for(lambda: ("series_voltmeter_silent", "ends") in bench.told)
        assert [happening for _, happening in bench.told] == ["begins", "ends"]


def test_pair_is_only_read(stand: Bench) -> None:
    """The stand that is shared by these tests is as it was shipped."""
    assert isinstance(stand.scenario.pair, Pair)
    assert stand.ask(lambda: stand.site.faults.now_held) == ()
