"""What is said to a text instrument once its link is open: who are you, and be set up so."""

from collections.abc import Sequence

from drivers.link import BadAnswer, Refused, TextLink


def named(identity: str, answer: str) -> bool:
    """Whether one of the parts of an answer to `*IDN?` is this (IEEE 488.2, 10.14)."""
    parts = ",".join(part.strip() for part in answer.split(","))
    return f",{identity}," in f",{parts},"


def identify(link: TextLink, name: str, identity: str, timeout_s: float) -> None:
    """Make sure who answers. Raises BadAnswer for somebody else, and InstrumentFault."""
    answer = link.query("*IDN?", timeout_s)
    if not named(identity, answer):
        raise BadAnswer(name, "*IDN?", f"{answer[:80]!r} is not {identity!r}")


def send(link: TextLink, name: str, messages: Sequence[str], timeout_s: float) -> None:
    """Send what sets an instrument up. Raises Refused where it understood any of it wrong.

    `SYST:ERR?` has to be 0 afterwards (SCPI-99 volume 1, 21.8).
    """
    for message in messages:
        link.write(message, timeout_s)
    if messages:
        error = link.query("SYST:ERR?", timeout_s)
        if error.partition(",")[0].strip() not in ("0", "+0"):
            raise Refused(name, "; ".join(messages), error[:80])
