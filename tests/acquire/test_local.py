"""Which addresses are of this computer."""

import os
import pty
from dataclasses import replace
from pathlib import Path

import pytest

from acquire.configuration import load_scenario
from acquire.local import NotLocal, is_local, refuse_speed


@pytest.mark.parametrize(
    ("resource", "local"),
    [
        ("TCPIP::127.0.0.1::5025::SOCKET", True),
        ("TCPIP0::localhost::5025::SOCKET", True),
        ("modbus-tcp:127.0.0.1:502/1", True),
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
    os.close(far)
    os.close(near)


def test_time_runs_faster_only_where_every_address_is_local() -> None:
    stand = load_scenario("distribution_pair", "loss_test").stand
    instruments = tuple(
        replace(i, resource=f"TCPIP::127.0.0.1::{5000 + k}::SOCKET")
        for k, i in enumerate(stand.instrument)
    )
    outputs = replace(stand.outputs, resource="modbus-tcp:127.0.0.1:502/1")
    here = replace(stand, instrument=instruments, outputs=outputs)
    refuse_speed(here, 20.0)
    away = replace(instruments[-1], resource="TCPIP::192.0.2.7::5025::SOCKET")
    there = replace(here, instrument=(*instruments[:-1], away))
    refuse_speed(there, 1.0)
    with pytest.raises(NotLocal, match=r"192\.0\.2\.7"):
        refuse_speed(there, 2.0)
    with pytest.raises(NotLocal, match=r"192\.0\.2\.8"):
        refuse_speed(
            replace(here, outputs=replace(outputs, resource="modbus-tcp:192.0.2.8:502/1")), 2.0
        )
