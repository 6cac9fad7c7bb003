"""Register units over TCP and RTU, asked by pymodbus's own clients."""

import socket
import time
from collections.abc import Callable, Iterator

import pytest
from pymodbus import FramerType
from pymodbus.client import ModbusSerialClient, ModbusTcpClient

from drivers.description import RegisterDescription
from drivers.registers import plan_reads
from drivers.simulated.served.modbus import QUIET_S
from tests.serving.conftest import Serve
from tests.serving.serving import PATIENCE_S, Bench, waited_for

UNITS = ("contacts", "temperatures")
Client = ModbusTcpClient | ModbusSerialClient
Connect = Callable[..., Client]


@pytest.fixture(name="client")
def _client() -> Iterator[Connect]:
    """Return what opens a client of a unit of a stand, over TCP or RTU."""
    clients: list[Client] = []

    def client(bench: Bench, name: str, over: str = "tcp") -> Client:
        new: Client
        if over == "tcp":
            new = ModbusTcpClient("127.0.0.1", port=bench.port(name), timeout=PATIENCE_S, retries=0)
        else:
            new = ModbusSerialClient(
                bench.line(name), framer=FramerType.RTU, timeout=PATIENCE_S, retries=0
            )
        assert new.connect()
        clients.append(new)
        return new

    yield client
    for each in clients:
        each.close()  # type: ignore[no-untyped-call]  # pymodbus types all but this


@pytest.mark.parametrize("over", ["tcp", "rtu"])
@pytest.mark.parametrize("name", UNITS)
def test_every_polled_unit_is_read(stand: Bench, client: Connect, name: str, over: str) -> None:
    """Its registers hold its identity and values that decode to what the plant shows."""
    instrument = next(i for i in stand.scenario.stand.instrument if i.name == name)
    description = stand.scenario.descriptions[instrument.description]
    assert isinstance(description, RegisterDescription)
    plan = plan_reads(description)
    # On the line that they share the units are numbered in their order.
    number = 1 if over == "tcp" else 1 + UNITS.index(name)
    (block,) = plan.blocks
    unit = client(stand, name, over)
    for read in (unit.read_holding_registers, unit.read_input_registers):
        answer = read(block.address, count=block.count, device_id=number)
        assert not answer.isError()
        registers = tuple(answer.registers)
        assert [registers[at] for at, _ in plan.identity] == [r for _, r in plan.identity]
        values = plan.values(registers)
        shown = {f.field: v for f, v in zip(description.value, values, strict=True)}
        if name == "contacts":
            assert shown["guard"] == shown["protection_contact"] == 1.0
            assert shown["lv_contactor"] == shown["watchdog"] == 0.0
        else:
            assert 15 < shown["input_1"] < 30


def test_what_is_not_there_is_refused(stand: Bench, client: Connect) -> None:
    """Illegal addresses, functions and units are answered as the protocol has it (1.1b3, 7)."""
    contacts = client(stand, "contacts")
    assert contacts.read_holding_registers(0, count=40, device_id=1).exception_code == 2
    assert contacts.write_register(2, 0, device_id=1).exception_code == 2
    assert contacts.mask_write_register(address=2, device_id=1).exception_code == 1
    assert contacts.read_holding_registers(0, count=1, device_id=9).exception_code == 11
    outputs = client(stand, "outputs")
    assert outputs.write_register(77, 0, device_id=1).exception_code == 2


def test_a_malformed_request_is_answered_or_hung_up(stand: Bench) -> None:
    """Too many registers: illegal value. What is no Modbus at all: the connection is closed."""
    port = stand.port("contacts")
    with socket.create_connection(("127.0.0.1", port), PATIENCE_S) as s:
        s.sendall(bytes.fromhex("0007 0000 0006 01 03 0000 00C8"))
        assert s.recv(100).hex() == "000700000003018303"
        s.sendall(b"GET / HTTP/1.1\r\n\r\n")
        assert s.recv(100) == b""


def test_two_questions_in_one_packet_get_two_answers(stand: Bench) -> None:
    """Each under its own transaction number (Modbus messaging on TCP/IP 1.0b, 4.2)."""
    with socket.create_connection(("127.0.0.1", stand.port("contacts")), PATIENCE_S) as s:
        question = "0000 0006 01 03 0000 0001"
        s.sendall(bytes.fromhex(f"0001 {question} 0002 {question}"))
        heard = b""
        while len(heard) < 22:
            heard += s.recv(100)
    assert (heard[:2], heard[11:13]) == (b"\0\1", b"\0\2")


def test_rubbish_on_a_serial_line_costs_no_later_frame(stand: Bench, client: Connect) -> None:
    """Half a frame, then quiet, then a whole one."""
    with open(stand.line("contacts"), "wb", buffering=0) as rubbish:
        rubbish.write(bytes.fromhex("010300"))
    time.sleep(5 * QUIET_S)
    line = client(stand, "contacts", "rtu")
    assert not line.read_holding_registers(0, count=2, device_id=1).isError()


@pytest.mark.parametrize("over", ["tcp", "rtu"])
def test_outputs_are_driven_and_the_watchdog_drops_them(
    serve: Serve, client: Connect, over: str
) -> None:
    """While the heartbeat toggles the contactor closes; after it, the watchdog opens it in time.

    Instants are the plant's own: however busy the computer, it drops that long after the last beat.
    """
    bench = serve(speed=4, rtu=over == "rtu")
    wired, plant = bench.scenario.stand.outputs, bench.plant
    outputs = client(bench, "outputs", over)
    beats: list[int] = []
    opened: list[int] = []

    def look() -> None:
        if beats and plant.lv_contactor.closed is False and was_closed and not opened:
            opened.append(plant.t)

    was_closed: list[int] = []
    bench.ask(lambda: setattr(plant, "moved", look))
    bench.ask(
        lambda: setattr(
            plant, "written", lambda o, _: beats.append(plant.t) if o == "heartbeat" else None
        )
    )
    beat = 0

    def closed() -> bool:
        nonlocal beat
        beat ^= 1
        assert not outputs.write_register(wired.heartbeat, beat, device_id=1).isError()
        if beat and not was_closed:
            assert not outputs.write_register(wired.lv_contactor.address, 1, device_id=1).isError()
        return bench.ask(lambda: plant.lv_contactor.closed)

    assert waited_for(closed)
    was_closed.append(1)
    assert waited_for(lambda: bench.ask(lambda: bool(opened)))
    drop_ns = round(1e9 * (bench.scenario.stand.watchdog.drop_s + plant.truth.contactor_open_s))
    assert opened[0] - beats[-1] == drop_ns
    assert bench.ask(lambda: plant.upstream_breaker.closed) is False


def test_a_regulator_goes_where_it_is_sent(serve: Serve, client: Connect) -> None:
    """Several registers in one write; the position comes back over the contacts' unit."""
    bench = serve(speed=50)
    outputs, contacts = client(bench, "outputs"), client(bench, "contacts")
    address = bench.scenario.stand.outputs.lv_regulator.address
    assert address is not None
    assert not outputs.write_registers(address, [2500, 5000], device_id=1).isError()
    assert waited_for(
        lambda: contacts.read_holding_registers(10, count=2, device_id=1).registers == [2500, 5000]
    )
    back = outputs.read_holding_registers(address, count=2, device_id=1)
    assert back.registers == [2500, 5000]


def test_outputs_are_coils_as_well(serve: Serve, client: Connect) -> None:
    """What a coil is told the contactor is told; contacts read as discrete inputs."""
    bench = serve()
    wired, outputs = bench.scenario.stand.outputs, client(bench, "outputs")
    assert not outputs.write_coil(wired.lv_contactor.address, True, device_id=1).isError()
    assert bench.ask(lambda: bench.plant.lv_contactor.commanded) is True
    at = wired.lv_contactor.address
    assert not outputs.write_coils(at, [False, True], device_id=1).isError()
    assert bench.ask(
        lambda: (bench.plant.lv_contactor.commanded, bench.plant.loop_contactor.commanded)
    ) == (False, True)
    assert outputs.read_coils(at, count=2, device_id=1).bits[:2] == [False, True]
    contacts = client(bench, "contacts")
    read = contacts.read_discrete_inputs(2, count=4, device_id=1)
    assert read.bits[:4] == [True, True, True, False]


@pytest.mark.parametrize("speed", [0.5, 20.0])
def test_its_clock_runs_so_many_times_as_fast(serve: Serve, speed: float) -> None:
    """Between two looks the stand's time is the wall's, measured from outside, times the speed."""
    bench = serve(speed=speed)
    a = time.monotonic_ns()
    first = bench.ask(lambda: bench.plant.t)
    b = time.monotonic_ns()
    time.sleep(0.1)
    c = time.monotonic_ns()
    last = bench.ask(lambda: bench.plant.t)
    d = time.monotonic_ns()
    assert (c - b) * speed - 1 <= last - first <= (d - a) * speed + 1


class TestFaults:
    def test_silent(self, serve: Serve) -> None:
        """A write to silent outputs gets no answer and changes nothing."""
        bench = serve("outputs_silent")
        with socket.create_connection(("127.0.0.1", bench.port("outputs")), PATIENCE_S) as s:
            s.settimeout(0.2)
            s.sendall(bytes.fromhex("0001 0000 0006 01 06 0001 0001"))
            with pytest.raises(TimeoutError):
                s.recv(100)
        assert bench.ask(lambda: bench.plant.lv_contactor.commanded) is False

    def test_another_identity(self, serve: Serve, client: Connect) -> None:
        """Its identity registers are another's."""
        bench = serve()
        contacts = client(bench, "contacts")
        before = contacts.read_holding_registers(0, count=2, device_id=1).registers
        bench.do("fault contacts_identity_changed")
        assert contacts.read_holding_registers(0, count=2, device_id=1).registers != before

    def test_truncated(self, serve: Serve) -> None:
        """Half of the registers come, in a frame that is whole."""
        bench = serve("contacts_truncated")
        with socket.create_connection(("127.0.0.1", bench.port("contacts")), PATIENCE_S) as s:
            s.sendall(bytes.fromhex("0001 0000 0006 01 03 0000 0004"))
            assert s.recv(100).hex() == "0001 0000 0007 01 03 04 5443 0001".replace(" ", "")

    def test_late(self, serve: Serve) -> None:
        """The answer comes after the time-out, under the number of its own question."""
        bench = serve("contacts_late")
        with socket.create_connection(("127.0.0.1", bench.port("contacts")), PATIENCE_S) as s:
            timeout_s = next(
                i.timeout_s for i in bench.scenario.stand.instrument if i.name == "contacts"
            )
            begun = time.monotonic()
            s.sendall(bytes.fromhex("0009 0000 0006 01 03 0000 0001"))
            assert s.recv(100)[:2] == b"\0\x09"
            # Not sooner than that, whatever the computer does: a late answer is late.
            assert time.monotonic() - begun > timeout_s

    def test_on_the_plant(self, serve: Serve, client: Connect) -> None:
        """A fault of the stand shows in its contacts, and is gone when it is cleared."""
        bench = serve()
        contacts = client(bench, "contacts")
        bench.do("fault emergency_stop_pressed")
        assert contacts.read_holding_registers(3, count=1, device_id=1).registers == [0]
        bench.do("clear emergency_stop_pressed")
        assert contacts.read_holding_registers(3, count=1, device_id=1).registers == [1]
