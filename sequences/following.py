"""Whether a supply's voltage comes up with its regulator, and where it last did.

A voltmeter that died or stuck reads as low as a supply that drops. What tells them apart is that
the one follows a raise and the other does not.
"""

from typing import NamedTuple

from drivers.outputs import LV_REGULATOR
from sequences.expected import Expected

NOTICEABLE = 0.02  # of full voltage: a raise that has to show
FOLLOWED = 0.25  # of what a raise promises: less has not followed it


class Rest(NamedTuple):
    """A regulator at rest: its position, and the voltage that its supply then read, V."""

    position: float
    voltage_v: float


NOTHING_RAISED = Rest(0.0, 0.0)


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
