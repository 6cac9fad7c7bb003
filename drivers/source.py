"""A programmable a.c. source that serves as a regulator, driven in lines of text."""

from contextlib import suppress

from drivers.description import TextDescription
from drivers.link import BadAnswer, InstrumentFault, TextLink
from drivers.replies import UnreadableReply, read_numbers
from drivers.text_opening import identify, send
from drivers.wiring import Regulator, SourceWiring

# Of what a source was set to; it may round what it is told.
READ_BACK_SHARE = 0.001


class Source:
    """A source on a link that nobody else has; position 1 is its full voltage.

    It travels by itself at the slew rate that it was set up with, so that nothing rises any further
    than it was told where the program stands still. Raises ValueError for a description without
    `drive`.
    """

    def __init__(
        self,
        output: str,
        wired: Regulator,
        source: SourceWiring,
        description: TextDescription,
        link: TextLink,
    ) -> None:
        messages = description.drive
        if messages is None:
            raise ValueError(f"{source.description} doesn't say how it is driven")
        self._output = output
        self._full_v = wired.full_voltage_v
        self._timeout_s = source.timeout_s
        self._identity = description.identity
        self._messages = messages
        self._link = link
        self._is_set_up = False
        self._set_up = [
            message.replace("{hertz}", _number(source.frequency_hz)).replace(
                "{slew}", _number(wired.rate_per_s * wired.full_voltage_v)
            )
            for message in messages.set_up
        ]

    def reopen(self) -> None:
        """Open the link and make sure who answers. Raises InstrumentFault."""
        self._is_set_up = False
        self._link.reopen()
        identify(self._link, self._output, self._identity, self._timeout_s)

    def to(self, position: float) -> None:
        """Set its voltage, and before the first time all else that it needs.

        Raises InstrumentFault, also where it reads back another voltage.
        """
        if not self._is_set_up:
            send(self._link, self._output, self._set_up, self._timeout_s)
            self._is_set_up = True
        volts = position * self._full_v
        told = self._messages.level.replace("{volts}", _number(volts))
        self._link.write(told, self._timeout_s)
        ask = self._messages.read_back
        answer = self._link.query(ask, self._timeout_s)
        try:
            (set_to,) = read_numbers(answer, 1)
        except UnreadableReply as error:
            raise BadAnswer(self._output, ask, str(error)) from error
        if not abs(set_to - volts) <= READ_BACK_SHARE * self._full_v:
            raise BadAnswer(self._output, told, f"it is set to {answer[:80]}")

    def close(self) -> None:
        """Let go of the source and close its link for good."""
        if self._is_set_up:
            with suppress(InstrumentFault):
                send(self._link, self._output, self._messages.let_go, self._timeout_s)
        self._link.close()


def _number(value: float) -> str:
    """A number as every source reads it: no exponent (IEEE 488.2, 7.7.2)."""
    return f"{value:.6f}".rstrip("0").rstrip(".")
