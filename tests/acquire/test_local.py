"""Which addresses are of this computer."""

import os
import pty
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from acquire.configuration import load_scenario
from acquire.local import NotLocal, is_local, refuse_slow_scan, refuse_speed
from drivers.description import Stand
from drivers.wiring import SourceWiring


@pytest.mark.parametrize(
    ("resource", "local"),
    [
        ("TCPIP::127.0.0.1::5025::SOCKET", True),
        ("TCPIP0::localhost::5025::SOCKET", True),
        ("modbus-tcp:127.0.0.1:502/1", True),
        ("TCPIP::127.0.0.2::5025::SOCKET", True),
        ("modbus-tcp:[::1]:502/1", True),
        ("TCPIP::127.0.0.1,1024::inst0::INSTR", True),
        ("TCPIP::localhost::hislip0::INSTR", True),
        ("TCPIP::192.168.1.5::INSTR", False),
        ("TCPIP::192.168.1.5::5025::SOCKET", False),
        ("TCPIP::127.0.0.1.example.org::5025::SOCKET", False),
        ("modbus-tcp:10.0.0.2:502/1", False),
        ("modbus-tcp:localhost.example.org:502/1", False),
        ("modbus-rtu:/dev/ttyUSB0,19200/3", False),
        ("ASRL/dev/ttyS0::INSTR", False),
        ("USB0::1::2::3::INSTR", False),
        ("registers:outputs", False),
    ],
)
def test_an_address_is_of_this_computer_or_not(resource: str, local: bool) -> None:
    assert is_local(resource) is local


def test_a_pseudo_terminal_is_also_by_another_name(tmp_path: Path) -> None:
    far, near = pty.openpty()
    other = tmp_path / "line"
    other.symlink_to(os.ttyname(near))
    assert is_local(f"modbus-rtu:{os.ttyname(near)},19200/1")
    assert is_local(f"modbus-rtu:{other},19200/1")
    assert is_local(f"ASRL{other}::INSTR")
    assert is_local(f"ASRL{other}::INSTR,9600,N")
    os.close(far)
    os.close(near)


def _stand(**changed: Any) -> Stand:
    """Return a stand of this computer alone, but for what is changed."""
    stand = load_scenario("distribution_pair", "loss_test").stand
    instruments = tuple(
        replace(i, resource=f"TCPIP::127.0.0.1::{5000 + k}::SOCKET")
        for k, i in enumerate(stand.instrument)
    )
    outputs = replace(stand.outputs, resource="modbus-tcp:127.0.0.1:502/1")
    return replace(replace(stand, instrument=instruments, outputs=outputs), **changed)


def _elsewhere() -> list[Stand]:
    """Return stands of which an instrument, the outputs or a source may be real."""
    here = _stand()
    away = replace(here.instrument[-1], resource="TCPIP::192.0.2.7::5025::SOCKET")
    source = SourceWiring("ac_source", "TCPIP::192.0.2.7::5025::SOCKET", 1.0, 50.0)
    driven = replace(here.outputs.loop_regulator, address=None, source=source)
    return [
        replace(here, instrument=(*here.instrument[:-1], away)),
        replace(here, outputs=replace(here.outputs, resource="modbus-tcp:192.0.2.7:502/1")),
        replace(here, outputs=replace(here.outputs, loop_regulator=driven)),
    ]


def test_time_runs_faster_only_where_every_address_is_local() -> None:
    refuse_speed(_stand(), 20.0)
    for there in _elsewhere():
        refuse_speed(there, 1.0)
        with pytest.raises(NotLocal, match=r"192\.0\.2\.7"):
            refuse_speed(there, 2.0)


def test_what_may_be_real_is_scanned_five_times_a_second() -> None:
    """A simulated stand may be scanned once a second, to be quick."""
    refuse_slow_scan(_stand(scan_period_s=1.0))
    for there in _elsewhere():
        refuse_slow_scan(replace(there, scan_period_s=0.2))
        with pytest.raises(NotLocal, match=r"scan_period_s = 0\.25: .* at most 0\.2 s.*192\.0"):
            refuse_slow_scan(replace(there, scan_period_s=0.25))
