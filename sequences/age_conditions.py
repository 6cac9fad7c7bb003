"""What is held against time: readings that are overdue or stale, a regulator that is late.

Time passes also while a link or this program hangs; what nobody has looked at it shows nothing of.
"""

from collections.abc import Callable

from drivers.reading import OVER_RANGE
from sequences.conditions import Exceeded, View, any_closed, loop_closed
from sequences.scan import S


def overdue(at: View, channel: str) -> bool:
    """The answer after a channel's newest is not there in time: its link or this program hangs.

    What the newest showed may be over by now, and until it is stale the next one has to tell.
    """
    reading = at.scan.image[channel]
    if reading.value is None and reading.reason != OVER_RANGE:
        return True
    return at.scan.now - reading.began > at.expected.next_answer_ns(channel)


def unread(at: View, channel: str) -> bool:
    """A channel is older than it may be, so that nobody waits for its next answer any more."""
    return at.scan.now - at.scan.alive[channel] > at.expected.channels[channel].stale_after_s * S


def late(output: str) -> Exceeded:
    """The regulator is not at rest 3 s after its travel time, as its position still reads.

    A position that is not read shows nothing: one that is critical is a stale channel.
    """

    def late_(_value: float, at: View) -> bool:
        state = at.scan.outputs[output]
        if state.at_rest_since is not None or at.scan.now <= state.due + 3 * S:
            return False
        if not overdue(at, output):
            return True
        return unread(at, output) and not at.expected.channels[output].critical

    return late_


def late_words(output: str) -> Callable[[View], str]:
    """Return the words for a regulator that does not follow, or of which nobody can tell."""

    def words(at: View) -> str:
        if unread(at, output):
            age_s = (at.scan.now - at.scan.alive[output]) / S
            return f"{output} was told to move and its position is unread for {age_s:.1f} s"
        return f"{output} was told to move and its position does not follow"

    return words


def stale_channels(at: View) -> list[str]:
    """Return the critical channels that are older than they may be while their contactor is on."""
    scan = at.scan
    stale = []
    for name, limit in at.expected.critical_ns:
        if scan.now - scan.alive[name] <= limit:
            continue
        if loop_closed(at) if name.startswith("hv.") else any_closed(at):
            stale.append(name)
    return stale


def something_stale(_value: float, at: View) -> bool:
    """A critical channel is stale."""
    return bool(stale_channels(at))


def stale_words(at: View) -> str:
    """Which channels are stale, and what the first of them said last."""
    stale = stale_channels(at)
    reasons = [at.scan.image[name].reason for name in stale]
    said = next((f"; {reason}" for reason in reasons if reason), "")
    return f"no good reading in time from {', '.join(stale)}{said}"
