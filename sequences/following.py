"""Whether a supply's voltage comes up with its regulator, and where it last did.

A voltmeter that died or stuck reads as low as a supply that drops. What tells them apart is that
the one follows a raise and the other does not.
"""

from collections.abc import Mapping
from typing import NamedTuple

from drivers.outputs import LOOP_REGULATOR, LV_REGULATOR
from sequences.expected import Expected
from sequences.scan import HV_VOLTAGE, LV_VOLTAGE, Scan

SUPPLIES = ((LV_REGULATOR, LV_VOLTAGE), (LOOP_REGULATOR, HV_VOLTAGE))
NOTICEABLE = 0.02  # of full voltage: a raise that has to show
FOLLOWED = 0.25  # of what a raise promises: less has not followed it


class Rest(NamedTuple):
    """A regulator at rest: its position, and the voltage that its supply then read, V."""

    position: float
    voltage_v: float


NOTHING_RAISED = Rest(0.0, 0.0)
Rests = Mapping[str, tuple[Rest | None, Rest]]


def rests(known: Rests, scan: Scan, expected: Expected) -> Rests:
    """Return, for each regulator that shows one, its newest rest and the rest before."""
    found: dict[str, tuple[Rest | None, Rest]] = {}
    for output, channel in SUPPLIES:
        state = scan.outputs[output]
        reading = scan.image[channel]
        if state.at_rest_since is None or reading.value is None:
            continue
        if reading.began < state.at_rest_since + expected.averaging_ns:
            continue
        last = known.get(output)
        if last is None or last[1].position != state.commanded:
            before = last[1] if last else None
            found[output] = (before, Rest(state.commanded, reading.value))
        elif last[1].voltage_v != reading.value:
            found[output] = (last[0], Rest(state.commanded, reading.value))
    return found


def has_followed(expected: Expected, output: str, was: Rest, now: Rest) -> bool | None:
    """Return whether a supply's voltage came up with a raise; None: too small to tell, or none."""
    asked = expected.promised_v(output, now.position - was.position)
    if asked <= NOTICEABLE * expected.regulator(output).full_voltage_v:
        return None
    return now.voltage_v - was.voltage_v >= FOLLOWED * asked


def lv_followed(expected: Expected, was: Rest, now: Rest) -> Rest:
    """Return where the LV voltage last came up with a raise, after one more rest.

    Raises too small to show anything count together. Lowered, a supply drops less than before.
    """
    asked = expected.promised_v(LV_REGULATOR, now.position - was.position)
    if asked < 0:
        return Rest(now.position, max(now.voltage_v, was.voltage_v + asked))
    return now if has_followed(expected, LV_REGULATOR, was, now) else was
