"""What is said to a text instrument once its link is open: who are you, and be set up so."""

from collections.abc import Sequence

from drivers.link import BadAnswer, Refused, TextLink

ERROR_QUERY = "SYST:ERR?"


def named(identity: str, answer: str) -> bool:
    """Whether one of the parts of an answer to `*IDN?` is this (IEEE 488.2, 10.14)."""
    parts = ",".join(part.strip() for part in answer.split(","))
    return f",{identity}," in f",{parts},"


def identify(link: TextLink, name: str, identity: str, timeout_s: float) -> str:
    """Return what an instrument says it is. Raises BadAnswer for another, and InstrumentFault."""
    answer = link.query("*IDN?", timeout_s)
    if not named(identity, answer):
        raise BadAnswer(name, "*IDN?", f"{answer[:80]!r} is not {identity!r}")
    return answer


def send(link: TextLink, name: str, messages: Sequence[str], timeout_s: float) -> str:
    """Send what sets an instrument up; return its error, which is none.

    `SYST:ERR?` has to be 0 afterwards (SCPI-99 volume 1, 21.8). Raises Refused where it understood
    any of it wrong. Where there is nothing to send, nothing is asked.
    """
    if not messages:
        return ""
    for message in messages:
        link.write(message, timeout_s)
    error = link.query(ERROR_QUERY, timeout_s)
    if error.partition(",")[0].strip() not in ("0", "+0"):
        raise Refused(name, "; ".join(messages), error[:80])
    return error
